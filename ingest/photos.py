"""Photos of a batch: re-encoded before they are kept, small, few, without what a camera writes beside the picture."""

from __future__ import annotations

import io
import warnings
from typing import Final

from PIL import Image, ImageOps, UnidentifiedImageError

from ingest.errors import EntryError

MOST_UPLOAD_BYTES: Final = 25_000_000
"""Bytes of a file that is looked into: cameras of telephones make 2 to 15 MB (common practice)."""

MOST_PIXELS: Final = 60_000_000
"""Pixels that are decoded: the largest telephones' have about 50 million; 60 million take 180 MB while they are
read. A small file may claim far more, to fill the memory of whoever opens it."""

LONGEST_PX: Final = 1600
"""Longer side of what is kept: more than a desktop's column shows."""

MOST_KEPT_BYTES: Final = 600_000
"""Bytes of a kept picture: 1600 px at quality 80 take 200 to 500 KB (common practice)."""

MOST_PHOTOS: Final = 12
"""Photos of one batch: thirty batches with all of theirs take 0.2 GB."""

_QUALITIES: Final = (82, 70, 55, 40)
_FORMATS: Final = ("JPEG", "PNG", "WEBP")
_JPEG: Final = b"\xff\xd8\xff"


def re_encoded(data: bytes) -> tuple[bytes, int, int]:
    """A picture as JPEG, upright, no larger than it is shown, with nothing beside the pixels.

    Position, time, camera and thumbnails stand in blocks beside the pixels (EXIF, XMP, IPTC); only pixels are carried
    over.

    Returns
    -------
    tuple
        The bytes, the width and the height in pixels.

    Raises
    ------
    EntryError
        If it is no picture of a kind that is read, damaged, or too large.
    """
    if len(data) > MOST_UPLOAD_BYTES:
        said = f"the file has {len(data) / 1e6:.0f} MB"
        raise EntryError("photo", said, f"At most {MOST_UPLOAD_BYTES / 1e6:.0f} MB are taken.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(data), formats=_FORMATS) as opened:
                _check_size(opened)
                opened.draft("RGB", (LONGEST_PX, LONGEST_PX))
                picture = ImageOps.exif_transpose(opened)
                picture.thumbnail((LONGEST_PX, LONGEST_PX))
                return _written(_on_white(picture))
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise _too_many() from error
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, MemoryError) as error:
        raise EntryError(
            "photo",
            "this is no picture that can be read",
            "Take a JPEG, PNG or WebP that opens elsewhere.",
        ) from error


def _check_size(opened: Image.Image) -> None:
    if opened.width * opened.height > MOST_PIXELS:
        raise _too_many()


def _too_many() -> EntryError:
    return EntryError(
        "photo",
        "the picture has too many pixels",
        f"At most {MOST_PIXELS / 1e6:.0f} million are read.",
    )


def _on_white(picture: Image.Image) -> Image.Image:
    """Without transparency, which a JPEG cannot have."""
    if picture.mode in ("RGBA", "LA", "P", "PA"):
        clear = picture.convert("RGBA")
        ground = Image.new("RGB", clear.size, "white")
        ground.paste(clear, mask=clear.getchannel("A"))
        return ground
    return picture.convert("RGB")


def _written(picture: Image.Image) -> tuple[bytes, int, int]:
    bare = Image.new("RGB", picture.size)
    bare.paste(picture)  # a new image has no blocks beside its pixels
    for quality in _QUALITIES:
        to = io.BytesIO()
        bare.save(to, "JPEG", quality=quality, optimize=True)
        if to.tell() <= MOST_KEPT_BYTES:
            break
    return to.getvalue(), bare.width, bare.height


def is_kept_picture(data: bytes) -> bool:
    """Whether bytes can be a picture that we wrote: JPEG, and no larger than we write."""
    return data.startswith(_JPEG) and len(data) <= 4 * MOST_KEPT_BYTES
