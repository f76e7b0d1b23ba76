"""A cellar whose files were cut, bent, separated or put where they cannot be written: told truly, and nothing lost."""

from __future__ import annotations

import logging
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from ingest.errors import StoreDamaged, StoreError
from ingest.store.store import Store
from ingest.store.write_ahead_log import examine

if sys.platform == "win32":
    pytest.skip("kills, modes of files, limits", allow_module_level=True)

KILLED = """
import os, signal, sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from ingest.model import Report
from ingest.store.store import Store

store = Store.open(Path(sys.argv[1]))
T = datetime(2026, 3, 1, tzinfo=UTC)
for number in range(60):
    times = [T + timedelta(seconds=200 * number + n) for n in range(200)]
    store.keep([Report(device_id="d", measured_at=t, received_at=t, gravity_sg=1.05) for t in times])
    if number == 29:
        store._file.read("CHECKPOINT")
os.kill(os.getpid(), signal.SIGKILL)
"""
ALL = 12_000
IN_DATABASE = 6_000


@pytest.fixture(scope="module")
def killed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("killed") / "data"
    done = subprocess.run([sys.executable, "-c", KILLED, str(folder)], capture_output=True, check=False)
    assert done.returncode == -signal.SIGKILL, done.stderr
    return folder


@pytest.fixture
def cellar(killed: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(killed, tmp_path / "data"))


def log_of(folder: Path) -> Path:
    return folder / "tunroom.duckdb.wal"


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def flip(file: Path, at: int) -> None:
    data = bytearray(file.read_bytes())
    data[at] ^= 0xFF
    file.write_bytes(data)


def refused(folder: Path) -> str:
    before = contents(folder)
    with pytest.raises(StoreDamaged) as error:
        Store.open(folder)
    assert contents(folder) == before, "nothing may be touched"
    return str(error.value)


def test_a_killed_writers_log_is_kept_taken_in_and_its_form_is_known(cellar, caplog):
    written = log_of(cellar).read_bytes()
    state = examine(log_of(cellar), cellar / "tunroom.duckdb")
    assert (state.transactions, state.torn, state.damage) == (30, 0, None)
    with caplog.at_level(logging.WARNING), Store.open(cellar) as store:
        assert store.counts()["readings"] == ALL
    [kept] = cellar.glob("tunroom.duckdb.wal.kept-*")
    assert kept.read_bytes() == written
    assert kept.name in caplog.text
    assert kept.stat().st_mode & 0o777 == 0o600


def test_of_kept_logs_the_newest_few_stay_after_a_run_that_stopped_in_order(cellar):
    with Store.open(cellar):
        pass
    for n in range(8):
        (cellar / f"tunroom.duckdb.wal.kept-2026010{n}T000000Z").write_bytes(b"old")
    with Store.open(cellar):
        pass
    kept = sorted(p.name for p in cellar.glob("*.kept-*"))
    assert len(kept) == 5
    assert not any("20260103" in name for name in kept)


def test_a_log_without_its_database_is_refused_and_left_alone(cellar):
    (cellar / "tunroom.duckdb").unlink()
    said = refused(cellar)
    assert "tunroom.duckdb.wal is the log of a cellar whose database, tunroom.duckdb, is not there" in said


def test_a_log_beside_an_empty_database_is_refused_and_left_alone(cellar):
    (cellar / "tunroom.duckdb").write_bytes(b"")
    assert "is empty" in refused(cellar)


@pytest.mark.parametrize("share", [0.0, 0.00003, 0.25, 0.5, 0.999999])
def test_a_wrong_byte_in_the_log_is_not_blamed_on_the_database(cellar, share):
    size = log_of(cellar).stat().st_size
    flip(log_of(cellar), int(share * size))
    said = refused(cellar)
    assert "tunroom.duckdb.wal is damaged" in said
    assert "tunroom.duckdb, is not to blame" in said


def test_a_wrong_size_in_the_middle_of_the_log_does_not_pass_for_its_end(cellar):
    state = examine(log_of(cellar), cellar / "tunroom.duckdb")
    half = log_of(cellar).read_bytes()[: state.size // 2]
    log_of(cellar).with_name("half").write_bytes(half)
    at = examine(log_of(cellar).with_name("half"), cellar / "tunroom.duckdb").good
    log_of(cellar).with_name("half").unlink()
    flip(log_of(cellar), at + 6)  # the size of the next entry
    said = refused(cellar)
    assert "impossible size" in said
    readable = examine(log_of(cellar), cellar / "tunroom.duckdb")
    assert readable.transactions + readable.lost == 30
    assert f"first {readable.good:,} bytes" in said
    os.truncate(log_of(cellar), readable.good)  # the advice
    with Store.open(cellar) as store:
        assert store.counts()["readings"] == IN_DATABASE + 200 * readable.transactions


def test_a_log_that_was_cut_opens_with_a_warning_and_all_of_it_is_kept(cellar, caplog):
    os.truncate(log_of(cellar), log_of(cellar).stat().st_size // 2)
    cut = log_of(cellar).read_bytes()
    state = examine(log_of(cellar), cellar / "tunroom.duckdb")
    with caplog.at_level(logging.WARNING), Store.open(cellar) as store:
        assert store.counts()["readings"] == IN_DATABASE + 200 * state.transactions
    assert "not written to its end" in caplog.text
    [kept] = cellar.glob("tunroom.duckdb.wal.kept-*")
    assert kept.read_bytes() == cut


def test_the_log_of_another_database_is_refused(cellar, tmp_path):
    with Store.open(tmp_path / "other"):
        pass
    shutil.copy(tmp_path / "other" / "tunroom.duckdb", cellar / "tunroom.duckdb")
    assert "another database" in refused(cellar)


@pytest.mark.parametrize("length", [6_000, 20_000, 300_000])
def test_a_database_that_was_cut_is_damaged_and_no_full_disk(cellar, length):
    with Store.open(cellar):
        pass
    os.truncate(cellar / "tunroom.duckdb", length)
    said = refused(cellar)
    assert "is damaged" in said
    assert "tunroom.duckdb and tunroom.duckdb.wal" in said
    assert "disk is full" not in said


def test_a_directory_in_the_place_of_the_file_is_called_one(tmp_path):
    (tmp_path / "tunroom.duckdb").mkdir()
    with pytest.raises(StoreError, match="is a directory or device"):
        Store.open(tmp_path)


def test_an_empty_file_from_a_full_disk_becomes_a_cellar(tmp_path):
    (tmp_path / "tunroom.duckdb").write_bytes(b"")
    with Store.open(tmp_path) as store:
        assert store.counts()["readings"] == 0


FULL = """
import resource, signal, sys
from pathlib import Path
from ingest.errors import StoreFull
from ingest.store.store import Store
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), resource.RLIM_INFINITY))
try:
    Store.open(Path(sys.argv[1]))
except StoreFull as error:
    print(error)
"""


@pytest.mark.parametrize("room", [0, 4096, 100_000])
def test_a_full_disk_at_the_first_start_is_said_and_leaves_no_half_database(tmp_path, room):
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(tmp_path / "data"), str(room)], capture_output=True, text=True, check=True
    )
    assert "The disk is full" in done.stdout
    assert list((tmp_path / "data").iterdir()) == []
    with Store.open(tmp_path / "data") as store:
        assert store.counts()["readings"] == 0


def test_a_wrong_byte_in_a_block_that_is_read_later_is_a_sentence(cellar):
    with Store.open(cellar) as store:
        store._file.read("CHECKPOINT")
    database = cellar / "tunroom.duckdb"
    for at in range(3 * 4096 + 1000, database.stat().st_size, 4096):
        flip(database, at)
    with pytest.raises(StoreDamaged, match=r"tunroom\.duckdb and tunroom\.duckdb\.wal"), Store.open(cellar) as store:
        store.readings_as_sent("d")


def test_a_place_that_may_not_be_written_is_called_so(cellar, monkeypatch):
    def read_only(*_: object) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("ingest.store.refusals._write_a_little", read_only)
    before = contents(cellar)
    with pytest.raises(StoreError, match="mounted read-only"):
        Store.open(cellar)
    assert contents(cellar) == before


def test_what_is_made_is_its_owners_alone_whatever_the_umask(tmp_path):
    code = "import os, sys; os.umask(0o022); from pathlib import Path; from ingest.store.store import Store\n"
    subprocess.run(
        [sys.executable, "-c", f"{code}Store.open(Path(sys.argv[1])).close()", str(tmp_path / "a")], check=True
    )
    assert (tmp_path / "a").stat().st_mode & 0o777 == 0o700
    assert [p.stat().st_mode & 0o777 for p in (tmp_path / "a").iterdir()] == [0o600]


def test_files_of_an_earlier_version_that_others_could_read_are_closed_and_it_is_said(tmp_path, caplog):
    with Store.open(tmp_path):
        pass
    (tmp_path / "tunroom.duckdb").chmod(0o644)
    with caplog.at_level(logging.INFO), Store.open(tmp_path):
        pass
    assert (tmp_path / "tunroom.duckdb").stat().st_mode & 0o777 == 0o600
    assert "now they cannot" in caplog.text
