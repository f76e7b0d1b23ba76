from __future__ import annotations

import hashlib
import shutil
import stat
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import duckdb  # noqa: TID251 - looks into a backup as a stranger would
import pytest

from ingest.backup import back_up, restore
from ingest.backup import backup as module
from ingest.errors import EntryError, StoreDamaged, StoreError, StoreTooNew
from ingest.model import BatchRecord, Device, Placement, Report, Vessel
from ingest.store import NEWEST, Store
from ingest.transfer import export_cellar

T = datetime(2026, 3, 1, 10, tzinfo=UTC)


def report(number: int) -> Report:
    at = T + timedelta(minutes=number)
    return Report(device_id="float-1", measured_at=at, received_at=at, gravity_sg=1.05 - number / 1e5)


@pytest.fixture
def cellar(tmp_path: Path):
    with Store.open(tmp_path / "cellar" / "tunroom.duckdb") as store:
        store.save(Vessel(vessel_id="v", name="Jug 1"))
        store.save(Device(device_id="float-1", kind="float", first_seen_at=T))
        store.save(BatchRecord(batch_id="b", name="Perry", vessel_id="v", drink="cider", pitched_at=T))
        store.save(Placement(placement_id="p", device_id="float-1", vessel_id="v", from_at=T))
        store.keep([report(n) for n in range(500)])
        yield store


def everything(store: Store, directory: Path) -> dict[str, bytes]:
    """Every table as text, but for the manifest's own time."""
    export_cellar(store, directory)
    return {path.name: path.read_bytes() for path in sorted(directory.glob("*.csv"))}


def test_a_machine_is_lost_and_everything_comes_back(cellar, tmp_path):
    before = everything(cellar, tmp_path / "before")
    told = back_up(cellar, tmp_path / "share.duckdb")
    assert told.readings == 500
    cellar.close()
    shutil.rmtree(tmp_path / "cellar")
    back = restore(tmp_path / "share.duckdb", tmp_path / "new" / "tunroom.duckdb")
    assert (back.readings, back.checksum, back.tables) == (500, "as written", told.tables)
    with Store.open(tmp_path / "new" / "tunroom.duckdb") as again:
        assert everything(again, tmp_path / "after") == before
        assert again.undo() is not None  # the journal too
        again.keep([report(900)])


def test_readings_that_come_in_meanwhile_are_kept_and_the_backup_is_of_one_moment(cellar, tmp_path):
    stop, sent = threading.Event(), [500]

    def send() -> None:
        while not stop.is_set():
            cellar.keep([report(sent[0])])
            sent[0] += 1

    sender = threading.Thread(target=send)
    sender.start()
    try:
        backups = [back_up(cellar, tmp_path / f"{n}.duckdb") for n in range(3)]
    finally:
        stop.set()
        sender.join()
    assert cellar.counts()["readings"] == sent[0] > 500
    for told in backups:
        with duckdb.connect(told.file, read_only=True) as copy:
            seconds = copy.execute("SELECT count(*), count(DISTINCT (measured_s, measured_us)) FROM report").fetchall()
        assert seconds == [(told.readings, told.readings)]
        assert 500 <= told.readings <= sent[0]


def test_the_checksum_is_that_of_the_file_and_only_its_owner_may_read_it(cellar, tmp_path):
    told = back_up(cellar, tmp_path / "a b.duckdb")
    assert hashlib.sha256((tmp_path / "a b.duckdb").read_bytes()).hexdigest() == told.sha256
    assert (tmp_path / "a b.duckdb.sha256").read_text() == f"{told.sha256}  a b.duckdb\n"
    modes = [stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("a b.duckdb", "a b.duckdb.sha256")]
    assert modes == [0o600, 0o600]


def test_an_earlier_backup_is_never_replaced_and_a_wrong_place_is_said(cellar, tmp_path):
    (tmp_path / "old.duckdb").write_text("mine")
    with pytest.raises(EntryError, match=r"old\.duckdb is there already"):
        back_up(cellar, tmp_path / "old.duckdb")
    assert (tmp_path / "old.duckdb").read_text() == "mine"
    with pytest.raises(EntryError, match="there is no directory"):
        back_up(cellar, tmp_path / "unmounted" / "x.duckdb")


def test_a_copy_that_does_not_hold_what_was_written_gets_no_name(cellar, tmp_path, monkeypatch):
    monkeypatch.setattr(module, "look_into", lambda _path: (NEWEST, {"report_new": 3}))
    with pytest.raises(StoreError, match="does not hold what was written"):
        back_up(cellar, tmp_path / "x.duckdb")
    assert [p.name for p in tmp_path.iterdir()] == ["cellar"]


@pytest.mark.parametrize("at", [0.2, 0.5, 0.9])
@pytest.mark.parametrize("with_checksum", [True, False])
def test_a_flipped_byte_is_found_before_anything_stands_in_the_directory(cellar, tmp_path, at, with_checksum):
    cellar.keep([report(n) for n in range(1000, 40_000)])
    told = back_up(cellar, tmp_path / "x.duckdb")
    if not with_checksum:
        (tmp_path / "x.duckdb.sha256").unlink()
    with (tmp_path / "x.duckdb").open("r+b") as file:
        file.seek(int(told.bytes * at))
        old = file.read(64)
        file.seek(int(told.bytes * at))
        file.write(bytes(255 - byte for byte in old))
    if with_checksum:
        with pytest.raises(StoreError, match=r"is not what was written: its SHA-256 is"):
            restore(tmp_path / "x.duckdb", tmp_path / "new" / "tunroom.duckdb")
    else:
        try:
            back = restore(tmp_path / "x.duckdb", tmp_path / "new" / "tunroom.duckdb")
        except StoreDamaged:
            pass
        else:  # the byte lay in a block that holds nothing
            assert back.tables == told.tables
            assert back.checksum.startswith("no x.duckdb.sha256 beside it")
            return
    assert list((tmp_path / "new").iterdir()) == []


@pytest.mark.parametrize("there", ["tunroom.duckdb", "tunroom.duckdb.wal", "tunroom.duckdb.wal.kept-20260301T000000Z"])
def test_a_cellar_that_is_there_is_never_replaced(cellar, tmp_path, there):
    back_up(cellar, tmp_path / "x.duckdb")
    new = tmp_path / "new"
    new.mkdir()
    (new / there).write_text("mine")
    with pytest.raises(EntryError, match="is there already"):
        restore(tmp_path / "x.duckdb", new / "tunroom.duckdb")
    assert [(p.name, p.read_text()) for p in new.iterdir()] == [(there, "mine")]


def test_what_is_no_backup_is_refused(tmp_path):
    target = tmp_path / "new" / "tunroom.duckdb"
    with pytest.raises(EntryError, match="there is no file"):
        restore(tmp_path / "x.duckdb", target)
    (tmp_path / "x.duckdb").write_bytes(b"\0" * 5000)
    with pytest.raises(StoreDamaged):
        restore(tmp_path / "x.duckdb", target)
    duckdb.connect(str(tmp_path / "other.duckdb")).execute("CREATE TABLE t (i INTEGER)").close()
    with pytest.raises(StoreError, match="no cellar of tunroom"):
        restore(tmp_path / "other.duckdb", target)
    assert list((tmp_path / "new").iterdir()) == []


def test_a_backup_of_a_later_version_is_refused_politely(cellar, tmp_path):
    back_up(cellar, tmp_path / "x.duckdb")
    (tmp_path / "x.duckdb.sha256").unlink()
    with duckdb.connect(str(tmp_path / "x.duckdb")) as later:
        later.execute("INSERT INTO schema_version VALUES (?, 'later', now()::TIMESTAMP)", [NEWEST + 1])
    with pytest.raises(StoreTooNew, match="later version of tunroom"):
        restore(tmp_path / "x.duckdb", tmp_path / "new" / "tunroom.duckdb")
