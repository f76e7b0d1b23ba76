"""Photos are kept small, upright and without what a camera writes beside the pixels; bombs are refused unread."""

from __future__ import annotations

import io
import struct
import zlib
from datetime import UTC, datetime

import pytest
from PIL import Image

from ingest import transfer
from ingest.backup import back_up, restore
from ingest.errors import EntryError
from ingest.model import BatchRecord, Photo, Vessel
from ingest.photos import LONGEST_PX, MOST_KEPT_BYTES, is_kept_picture, re_encoded
from ingest.store.store import Store

T = datetime(2026, 3, 1, 10, tzinfo=UTC)


def jpeg(width=640, height=480, **more):
    to = io.BytesIO()
    Image.new("RGB", (width, height), (200, 120, 40)).save(to, "JPEG", **more)
    return to.getvalue()


def with_position(orientation=1):
    """A photo that says where it was taken: GPS tags of EXIF 2.3, 1 to 4, and the maker's name."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = "A maker"
    exif.get_ifd(0x8825).update({1: "N", 2: (48.0, 51.0, 29.0), 3: "E", 4: (2.0, 17.0, 40.0)})
    return jpeg(exif=exif, comment=b"at home")


def test_position_and_camera_are_gone():
    before = with_position()
    with Image.open(io.BytesIO(before)) as opened:
        assert opened.getexif().get_ifd(0x8825)  # else the test would show nothing
    after, _, _ = re_encoded(before)
    with Image.open(io.BytesIO(after)) as opened:
        assert dict(opened.getexif()) == {}
        assert "comment" not in opened.info
    assert b"A maker" not in after
    assert b"at home" not in after


def test_a_photo_stands_upright_and_is_made_smaller():
    data, width, height = re_encoded(with_position(orientation=6))  # turned by a quarter
    assert (width, height) == (480, 640)
    _, width, height = re_encoded(jpeg(4000, 1000))
    assert (width, height) == (LONGEST_PX, 400)
    assert is_kept_picture(data)


def test_what_is_clear_becomes_white_and_noise_still_fits():
    to = io.BytesIO()
    Image.new("RGBA", (40, 40), (0, 0, 0, 0)).save(to, "PNG")
    data, _, _ = re_encoded(to.getvalue())
    with Image.open(io.BytesIO(data)) as opened:
        assert min(opened.getpixel((20, 20))) > 250
    noise = Image.effect_noise((1600, 1600), 120).convert("RGB")
    to = io.BytesIO()
    noise.save(to, "JPEG", quality=95)
    data, _, _ = re_encoded(to.getvalue())
    assert len(data) < len(to.getvalue())
    assert len(data) <= 4 * MOST_KEPT_BYTES


def png_claiming(width, height):
    """A PNG of a few hundred bytes whose header claims this size (RFC 2083)."""

    def chunk(kind, body):
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    data = zlib.compress(b"\x00" * 10_000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


@pytest.mark.parametrize("size", [(9000, 9000), (12_000, 12_000), (60_000, 60_000)])
def test_a_small_file_that_claims_to_be_huge_is_refused(size):
    with pytest.raises(EntryError, match="too many pixels"):
        re_encoded(png_claiming(*size))


@pytest.mark.parametrize(
    "data", [b"", b"no picture", jpeg()[:200], b"%!PS-Adobe-3.0 EPSF-3.0\n", b"GIF89a" + b"\x00" * 50]
)
def test_what_is_no_picture_of_a_known_kind_is_refused_in_a_sentence(data):
    with pytest.raises(EntryError, match="no picture that can be read"):
        re_encoded(data)


def test_a_file_that_is_far_too_large_is_not_even_looked_into():
    with pytest.raises(EntryError, match="26 MB"):
        re_encoded(jpeg() + b"\x00" * 26_000_000)


@pytest.fixture
def cellar(tmp_path):
    with Store.open(tmp_path / "cellar") as store:
        vessel = store.save(Vessel(name="Jug"))
        store.save(BatchRecord(batch_id="b", name="Harvest", vessel_id=vessel.vessel_id, pitched_at=T))
        data, width, height = re_encoded(jpeg())
        store.keep_photo(
            Photo(photo_id="p", batch_id="b", at=T, caption="foam", width_px=width, height_px=height), data
        )
        yield store


def test_a_removed_photo_can_be_taken_back_with_its_picture(cellar):
    before = cellar.picture_of("p")
    cellar.remove(cellar.get(Photo, "p"))
    assert cellar.pictures() == []
    cellar.undo()
    assert cellar.picture_of("p") == before
    assert [p.photo_id for p in cellar.pictures()] == ["p"]


def test_the_picture_of_a_photo_removed_long_ago_is_forgotten(cellar):
    cellar.remove(cellar.get(Photo, "p"))
    for n in range(201):
        cellar.save(Vessel(vessel_id="w", name=f"Name {n}"))
    cellar.keep_photo(Photo(photo_id="q", batch_id="b", at=T, width_px=1, height_px=1), jpeg())
    assert cellar.picture_of("p") is None
    assert cellar.picture_of("q") is not None


def test_a_photo_of_a_batch_that_is_gone_leaves_nothing(cellar):
    with pytest.raises(EntryError, match="there is no batch"):
        cellar.keep_photo(Photo(photo_id="x", batch_id="gone", at=T, width_px=1, height_px=1), jpeg())
    assert cellar.picture_of("x") is None


def test_photos_go_into_an_export_and_a_backup_and_come_back(cellar, tmp_path):
    before = cellar.picture_of("p")
    transfer.export_cellar(cellar, tmp_path / "export")
    with Store.open(tmp_path / "other") as other:
        transfer.import_cellar(other, tmp_path / "export")
        assert other.picture_of("p") == before
        assert other.get(Photo, "p").caption == "foam"
    back_up(cellar, tmp_path / "copy.duckdb")
    restore(tmp_path / "copy.duckdb", tmp_path / "third" / "tunroom.duckdb")
    with Store.open(tmp_path / "third") as third:
        assert third.picture_of("p") == before
