"""SIGKILL amid everything that changes a cellar: is it whole afterwards, and all that was acknowledged there?

    python -m tests.benchmarks.kills [--kills 20] [--only sorting,import,undo,backup,export,migration,repair] [--seed 1]

Each deed runs in a process of its own, first undisturbed, to see how long it takes, and then again and again from the
same beginning, killed at a random moment of that time. After each kill the cellar is opened and asked; the deed is then
done once more to its end, as a person would.
"""

from __future__ import annotations

import argparse
import gzip
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from ingest.model import Vessel
from ingest.store import Store, look_into

T = datetime(2026, 3, 1, tzinfo=UTC)
DATABASE = "tunroom.duckdb"
ROWS = 40_000
ENTRIES = 300
PIECE = 500
OLDER = Path(__file__).parents[1] / "older"

HEAD = """
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from ingest.model import Report, Vessel
from ingest.store import Store
place, T = Path(sys.argv[1]), datetime(2026, 3, 1, tzinfo=UTC)
def go(): print("go", flush=True)
"""

DEEDS = {
    "sorting": """
from ingest.store import upsert
upsert.SETTLE_AT = 3_000
store = Store.open(place / "data")
go()
for n in range(40):
    times = [T + timedelta(seconds=500 * n + k) for k in range(500)]
    store.keep([Report(device_id="d", measured_at=t, received_at=t, gravity_sg=1.05) for t in times])
    print(n, flush=True)
store.close()
""",
    "import": """
from ingest import transfer
store = Store.open(place / "data")
go()
transfer.import_log(store, place / "log.csv", device_id="d")
store.close()
""",
    "undo": """
store = Store.open(place / "data")
go()
store.undo()
store.close()
""",
    "backup": """
from ingest.backup import back_up
store = Store.open(place / "data")
go()
back_up(store, place / "backup.duckdb")
store.close()
""",
    "export": """
from ingest import transfer
store = Store.open(place / "data")
go()
transfer.export_cellar(store, place / "out")
store.close()
""",
    "migration": """
go()
Store.open(place / "data").close()
""",
    "repair": """
from ingest.store.repair import repair
go()
repair(place / "data" / "tunroom.duckdb", place / "new")
""",
}


def began(folder: Path, deed: str) -> None:
    """The place as it is before the deed."""
    data = folder / "data"
    data.mkdir()
    if deed == "migration":
        (data / DATABASE).write_bytes(gzip.decompress((OLDER / "tables-1.duckdb.gz").read_bytes()))
        return
    lines = [f"{(T + timedelta(seconds=n)).isoformat()},{1.05 - n * 1e-6:.6f}" for n in range(ROWS)]
    (folder / "log.csv").write_text("\n".join(("measured_at,gravity_sg", *lines)))
    with Store.open(data) as store:
        if deed in ("backup", "export", "repair"):
            from ingest import transfer

            transfer.import_log(store, folder / "log.csv", device_id="d")
        if deed == "undo":
            store.save_many([Vessel(name=f"Vessel {n}") for n in range(ENTRIES)], "Entered many")


def readings(data: Path) -> int:
    """The readings of a cellar, each of them its own."""
    with Store.open(data) as store:
        [(rows, different)] = store._file.read(
            "SELECT count(*), count(DISTINCT (device_key, measured_s, measured_us)) FROM report"
        )
    if rows != different:
        raise AssertionError(f"{rows} rows of {different} readings")
    return int(rows)


def sorting(folder: Path, said: list[str]) -> None:
    acknowledged = PIECE * sum(line.strip().isdigit() for line in said)
    kept = readings(folder / "data")
    if not acknowledged <= kept <= acknowledged + PIECE:
        raise AssertionError(f"{kept} kept of {acknowledged} acknowledged")


def after_import(folder: Path, _said: list[str]) -> None:
    kept = readings(folder / "data")
    if not 0 <= kept <= ROWS:
        raise AssertionError(f"{kept} kept")
    run(folder, "import")
    if readings(folder / "data") != ROWS:
        raise AssertionError("the second import did not bring it all")


def undo(folder: Path, _said: list[str]) -> None:
    with Store.open(folder / "data") as store:
        there = len(store.all(Vessel))
        if there not in (0, ENTRIES):
            raise AssertionError(f"{there} of {ENTRIES} entries")
        if there:
            store.undo()
        if store.all(Vessel):
            raise AssertionError("the second undo left some")


def backup(folder: Path, _said: list[str]) -> None:
    file = folder / "backup.duckdb"
    if file.exists():
        _version, rows = look_into(file)
        if rows["report_old"] + rows["report_new"] != ROWS:
            raise AssertionError("a backup that is not whole has the name of one")
        file.unlink()
    run(folder, "backup")
    if readings(folder / "data") != ROWS or not file.exists():
        raise AssertionError("the cellar or the second backup is not whole")


def export(folder: Path, _said: list[str]) -> None:
    from ingest import transfer

    if not (folder / "out" / "cellar.json").exists():
        shutil.rmtree(folder / "out", ignore_errors=True)
        run(folder, "export")
    with Store.open(folder / "again") as store:
        transfer.import_cellar(store, folder / "out")
    if readings(folder / "again") != ROWS or readings(folder / "data") != ROWS:
        raise AssertionError("the export or the cellar is not whole")


def migration(folder: Path, _said: list[str]) -> None:
    if readings(folder / "data") != 480:
        raise AssertionError("readings are missing")
    if any(p.name.endswith(".part") for p in (folder / "data").iterdir()):
        raise AssertionError("half a copy was left")


def repair(folder: Path, _said: list[str]) -> None:
    if (folder / "new" / DATABASE).exists() and readings(folder / "new") != ROWS:
        raise AssertionError("half a cellar has the name of one")
    shutil.rmtree(folder / "new", ignore_errors=True)
    run(folder, "repair")
    if readings(folder / "new") != ROWS or readings(folder / "data") != ROWS:
        raise AssertionError("the new cellar or the old one is not whole")


CHECKS: dict[str, Callable[[Path, list[str]], None]] = {
    "sorting": sorting, "import": after_import, "undo": undo, "backup": backup, "export": export,
    "migration": migration, "repair": repair,
}  # fmt: skip


@dataclass(frozen=True)
class Ran:
    """A deed that ended or was killed."""

    took_s: float
    killed: bool
    said: list[str]


def run(folder: Path, deed: str, *, kill_after_s: float | None = None) -> Ran:
    """Do it in a process of its own; killed so long after it began in earnest."""
    command = [sys.executable, "-c", HEAD + DEEDS[deed], str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        first = process.stdout.readline()
        start = time.monotonic()
        if kill_after_s is not None:
            threading.Timer(kill_after_s, _kill, (process,)).start()
        said = process.stdout.readlines()
        took_s = time.monotonic() - start
        wrong = process.stderr.read()
        code = process.wait()
    if first != "go\n" or code not in (0, -signal.SIGKILL):
        raise AssertionError(f"{deed}: {wrong[-2000:]}")
    return Ran(took_s, code != 0, said)


def _kill(process: subprocess.Popen[str]) -> None:
    if process.poll() is None:
        os.kill(process.pid, signal.SIGKILL)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=20, help="of each deed")
    parser.add_argument("--only", default=",".join(DEEDS))
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    chance = random.Random(given.seed)
    for deed in given.only.split(","):
        with tempfile.TemporaryDirectory() as made:
            first = Path(made) / "first"
            first.mkdir()
            began(first, deed)
            fresh = Path(shutil.copytree(first, Path(made) / "fresh"))
            lasts_s = run(fresh, deed).took_s
            killed = tries = 0
            while killed < given.kills and tries < 4 * given.kills:
                tries += 1
                folder = Path(shutil.copytree(first, Path(made) / f"try-{tries}"))
                ran = run(folder, deed, kill_after_s=chance.uniform(0, lasts_s))
                CHECKS[deed](folder, ran.said)
                killed += ran.killed
                shutil.rmtree(folder)
        print(f"{deed:<10} {killed} kills in {lasts_s:.2f} s, {tries - killed} came too late: all whole", flush=True)


if __name__ == "__main__":
    main()
