"""A damaged cellar is read into a new one: what can be is there, what cannot is counted, the files stay as they are."""

from __future__ import annotations

import errno
import os
import shutil
import signal
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from ingest.errors import EntryError, StoreDamaged, StoreInUse
from ingest.model import BatchRecord, Device, Placement, Vessel
from ingest.store import duckdb_file
from ingest.store.repair import repair
from ingest.store.store import Store
from ingest.store.write_ahead_log import examine, rows_added

if sys.platform == "win32":
    pytest.skip("kills", allow_module_level=True)

DATABASE = "tunroom.duckdb"
BLOCKS = 3 * 4096
T = datetime(2026, 3, 1, tzinfo=UTC)
MANY = 130_000
LATER = 40

MADE = """
import os, signal, sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
import polars as pl
from ingest.model import Device, Report, Vessel
from ingest.store.store import Store

store = Store.open(Path(sys.argv[1]))
T, many, later = datetime(2026, 3, 1, tzinfo=UTC), int(sys.argv[2]), int(sys.argv[3])
store.save(Vessel(name="Vessel 1"))
store.save(Device(device_id="float-1", kind="float"))
values = [1 + (n * 7919 % 100_003) / 1e6 for n in range(many)]
times = pl.datetime_range(T, T + timedelta(seconds=60 * (many - 1)), "60s", eager=True, time_zone="UTC")
store.keep_frame(pl.DataFrame({"device_id": ["float-1"] * many, "measured_at": times, "gravity_sg": values}), topic="t")
store._file.read("CHECKPOINT")
for n in range(later):
    at = T + timedelta(minutes=n)
    store.keep([Report(device_id="probe-1", measured_at=at, received_at=at, temperature_c=float(n))])
store.save(Vessel(name="Vessel 2"))
os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made") / "data"
    arguments = [sys.executable, "-c", MADE, str(folder), str(MANY), str(LATER)]
    done = subprocess.run(arguments, capture_output=True, check=False)
    assert done.returncode == -signal.SIGKILL, done.stderr
    return folder


@pytest.fixture
def cellar(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "data"))


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir() if ".kept-" not in p.name}


def block_of(database: Path, column: str) -> int:
    """Where in the file a block begins that holds nothing but values of this column."""
    with duckdb_file.duckdb.connect(str(database), read_only=True) as connection:
        [(number,)] = connection.execute(
            "SELECT block_id FROM pragma_storage_info('report_new') WHERE block_id >= 0 GROUP BY block_id "
            "HAVING bool_and(column_name = ? AND segment_type = 'DOUBLE') ORDER BY block_id LIMIT 1",
            [column],
        ).fetchall()
    return BLOCKS + int(number) * 262_144


def repaired(cellar: Path):
    """Repair it; whatever comes of it, the original and the copies are as the original was."""
    before, new = contents(cellar), cellar.with_name("new")
    try:
        return repair(cellar / DATABASE, new)
    finally:
        assert contents(cellar) == before
        assert contents(new / "damaged") == before
        assert {p.name for p in new.iterdir()} <= {"damaged", DATABASE}


def flip(file: Path, at: int) -> None:
    with file.open("r+b") as data:
        data.seek(at)
        [byte] = data.read(1)
        data.seek(at)
        data.write(bytes([byte ^ 0xFF]))


def cut(file: Path, size: int) -> None:
    os.truncate(file, size)


def test_of_a_sound_cellar_everything_is_read_and_nothing_is_missing(cellar):
    done = repaired(cellar)
    assert (done.readings, done.missing) == (MANY + LATER, ())
    with Store.open(cellar.with_name("new")) as store:
        assert [v.name for v in store.all(Vessel)] == ["Vessel 1", "Vessel 2"]
        assert store.counts()["readings"] == MANY + LATER


def test_a_wrong_byte_in_values_costs_the_values_of_its_block_and_no_reading(cellar):
    flip(cellar / DATABASE, block_of(cellar / DATABASE, "gravity_sg") + 9_000)
    done = repaired(cellar)
    assert done.readings == MANY + LATER
    [said] = done.missing
    assert said.startswith("readings: of ")
    assert said.endswith("the value gravity_sg could not be read; they are kept without it.")
    with Store.open(cellar.with_name("new")) as store:
        kept = store.readings_as_sent("float-1")
    blank = kept["gravity_sg"].null_count()
    assert f"{blank:,} rows" in said
    assert 2_048 <= blank <= 122_880
    whole = pl.Series([1 + (n * 7919 % 100_003) / 1e6 for n in range(MANY)])
    assert kept["measured_at"].to_list() == [T + timedelta(minutes=n) for n in range(MANY)]
    assert (kept["gravity_sg"].is_null() | (kept["gravity_sg"] == whole)).all()


def test_a_wrong_byte_in_the_log_costs_the_change_it_stands_in(cellar):
    log = cellar / f"{DATABASE}.wal"
    state = examine(log, cellar / DATABASE)
    flip(log, log.stat().st_size // 2)
    bent = examine(log, cellar / DATABASE)
    assert bent.lost > 0
    done = repaired(cellar)
    assert state.transactions == bent.transactions + bent.lost
    assert done.readings == MANY + LATER - 1
    [said] = done.missing
    assert f"from byte {bent.good:,} on only rows that were added" in said
    assert "In it 1 place could not be read" in said
    with Store.open(cellar.with_name("new")) as store:
        assert [v.name for v in store.all(Vessel)] == ["Vessel 1", "Vessel 2"]


def test_an_impossible_size_in_the_log_loses_no_change_behind_it(cellar):
    log = cellar / f"{DATABASE}.wal"
    half = cellar.with_name("half")
    half.write_bytes(log.read_bytes()[: log.stat().st_size // 2])
    flip(log, examine(half, cellar / DATABASE).good + 6)
    assert repaired(cellar).readings >= MANY + LATER - 1


def test_a_log_that_was_cut_gives_what_it_holds(cellar):
    log = cellar / f"{DATABASE}.wal"
    cut(log, log.stat().st_size // 2)
    left = rows_added(log, 0).rows["report_new"]
    assert 0 < left < LATER
    assert repaired(cellar).readings == MANY + left


def test_a_log_alone_gives_the_rows_that_it_added(cellar):
    (cellar / DATABASE).unlink()
    done = repaired(cellar)
    assert done.readings == LATER
    assert "tunroom.duckdb is not there" in done.missing[0]
    with Store.open(cellar.with_name("new")) as store:
        assert store.device_ids() == ["probe-1"]
        assert [v.name for v in store.all(Vessel)] == ["Vessel 2"]
        assert store.readings_as_sent("probe-1")["temperature_c"].to_list() == [float(n) for n in range(LATER)]


@pytest.mark.parametrize("share", [0.0, 0.7])
def test_of_a_database_that_was_cut_the_log_is_left(cellar, share):
    cut(cellar / DATABASE, int(share * (cellar / DATABASE).stat().st_size))
    done = repaired(cellar)
    assert done.readings >= LATER
    assert "nothing in it can be read" in done.missing[0] or "rows were read" in done.missing[0]


def test_where_nothing_can_be_read_the_copies_stay_and_no_cellar_is_made(cellar):
    (cellar / f"{DATABASE}.wal").unlink()
    cut(cellar / DATABASE, 20_000)
    with pytest.raises(StoreDamaged, match=r"Nothing could be read.*tunroom restore"):
        repaired(cellar)
    assert [p.name for p in cellar.with_name("new").iterdir()] == ["damaged"]


def test_readings_outlive_the_ids_of_their_devices(cellar):
    with Store.open(cellar) as store, store._file.writing() as cursor:
        cursor.execute("DELETE FROM device_key WHERE device_id = 'float-1'")
    done = repaired(cellar)
    assert "ids of 1 device could" in done.missing[0]
    with Store.open(cellar.with_name("new")) as store:
        assert len(store.readings_as_sent("unknown-1")) == MANY


def test_pieces_that_the_disk_does_not_give_are_zeros_and_counted(cellar, monkeypatch):
    given = os.pread
    bad = block_of(cellar / DATABASE, "gravity_sg") + 3 * 4096

    def reads(file: int, length: int, at: int) -> bytes:
        if at < bad + 4096 and at + length > bad and os.fstat(file).st_size > 1_000_000:
            raise OSError(errno.EIO, "Input/output error")
        return given(file, length, at)

    monkeypatch.setattr(os, "pread", reads)
    before, new = contents(cellar), cellar.with_name("new")
    done = repair(cellar / DATABASE, new)
    assert contents(cellar) == before
    assert done.readings == MANY + LATER
    assert "the disk gave no answer for 4,096 of" in done.missing[0]


def test_a_cellar_in_use_is_refused(cellar):
    holds = "import sys; from pathlib import Path; from ingest.store.store import Store\n"
    holds += "store = Store.open(Path(sys.argv[1])); print('open', flush=True); sys.stdin.read()"
    with subprocess.Popen(
        [sys.executable, "-c", holds, str(cellar)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "open\n"
        with pytest.raises(StoreInUse):
            repair(cellar / DATABASE, cellar.with_name("new"))
        holder.communicate("")
    assert not cellar.with_name("new").exists()


def test_only_an_empty_directory_is_filled(cellar):
    with pytest.raises(EntryError, match="no empty directory"):
        repair(cellar / DATABASE, cellar)
    with pytest.raises(EntryError, match="no cellar"):
        repair(cellar.with_name("none") / DATABASE, cellar.with_name("new"))


def test_entries_whose_others_are_gone_do_not_keep_the_cellar_shut(cellar):
    with Store.open(cellar) as store:
        [vessel, _] = store.all(Vessel)
        store.save(BatchRecord(name="Saison", vessel_id=vessel.vessel_id, drink="ale", pitched_at=T))
        store.save(Placement(device_id="float-1", vessel_id=vessel.vessel_id, from_at=T))
        with store._file.writing() as cursor:
            cursor.execute("DELETE FROM vessel")
            cursor.execute("DELETE FROM device")
    repaired(cellar)
    with Store.open(cellar.with_name("new")) as store:
        [batch] = store.active_batches()
        assert (batch.name, store.readings_of(batch.batch_id).height) == ("Saison", 0)
        store.save(Device(device_id="float-1", kind="float"))  # entered again
        assert store.readings_of(batch.batch_id).height == MANY
