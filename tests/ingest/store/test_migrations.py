from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from analysis.display_units import DisplayUnits
from ingest.errors import StoreError
from ingest.model import BatchRecord, Device, EventRecord, Preferences, Report, Vessel
from ingest.store import duckdb_file, migrations
from ingest.store.migrations import MIGRATIONS, Migration
from ingest.store.report_rows import STORED
from ingest.store.row_mapping import TABLES, to_row
from ingest.store.store import Store

T = datetime(2026, 3, 1, 10, tzinfo=UTC)


def columns(store: Store, table: str) -> list[str]:
    return [
        row[0]
        for row in store._file.read(
            "SELECT column_name FROM duckdb_columns() WHERE table_name = ? ORDER BY column_index", [table]
        )
    ]


@pytest.mark.parametrize("cls", TABLES, ids=lambda c: c.__name__)
def test_each_table_has_the_fields_of_its_class(cls):
    with Store.in_memory() as store:
        assert columns(store, TABLES[cls].name) == [c.name for c in TABLES[cls].columns]


@pytest.mark.parametrize("table", ["report_new", "report_old", "report"])
def test_the_tables_of_reports_have_the_columns_that_are_written(table):
    with Store.in_memory() as store:
        assert columns(store, table) == STORED.names()


def test_migrations_are_numbered_upwards_and_each_has_a_sentence():
    numbers = [m.number for m in MIGRATIONS]
    assert numbers == sorted(set(numbers))
    assert numbers[0] == 1
    assert all(m.sentence.endswith(".") and " " in m.sentence for m in MIGRATIONS)
    assert numbers[-1] == migrations.NEWEST


def test_existing_batches_keep_the_dry_hop_that_they_were_planned_with(tmp_path):
    plans = {"ale": {}, "lager": {"destination": "keg"}, "stout": {"dry_hops": 0}, "cider": {}}
    [step] = [each for each in MIGRATIONS if "dry hop" in each.sentence]
    with Store.open(tmp_path) as store:
        for name, plan in plans.items():
            vessel = store.save(Vessel(name=name))
            drink = "ale" if name == "stout" else name
            store.save(BatchRecord(name=name, vessel_id=vessel.vessel_id, drink=drink, pitched_at=T, plan=plan))
        with store._file.writing() as cursor:
            cursor.execute(step.sql)
    with Store.open(tmp_path) as store:
        kept = {record.name: record.plan for record in store.all(BatchRecord)}
    assert kept == {
        "ale": {"dry_hops": 1},
        "lager": {"destination": "keg", "dry_hops": 1},
        "stout": {"dry_hops": 0},
        "cider": {},
    }


@pytest.fixture
def next_version(monkeypatch):
    def become(sql: str) -> None:
        step = Migration(migrations.NEWEST + 1, "Notes the colour of each vessel.", sql)
        monkeypatch.setattr(duckdb_file, "MIGRATIONS", (*MIGRATIONS, step))
        monkeypatch.setattr(duckdb_file, "NEWEST", step.number)

    return become


def test_an_older_cellar_is_brought_up_with_its_data(tmp_path, next_version):
    with Store.open(tmp_path) as store:
        store.save(Device(device_id="f", kind="float"))
        store.keep([Report(device_id="f", measured_at=T, received_at=T, gravity_sg=1.05)])
    next_version("ALTER TABLE vessel ADD COLUMN colour VARCHAR DEFAULT 'grey'")
    with Store.open(tmp_path) as store:
        assert columns(store, "vessel")[-1] == "colour"
        assert [d.device_id for d in store.all(Device)] == ["f"]
        assert store.counts()["readings"] == 1
        done = store._file.read("SELECT number, sentence FROM schema_version ORDER BY number")
        assert done[-1] == (migrations.NEWEST + 1, "Notes the colour of each vessel.")
    with Store.open(tmp_path) as store:  # once only
        assert len(store._file.read("FROM schema_version")) == len(MIGRATIONS) + 1


def test_events_of_before_additions_were_told_apart_are_kept(tmp_path, monkeypatch):
    with monkeypatch.context() as older:
        older.setattr(duckdb_file, "MIGRATIONS", MIGRATIONS[:1])
        older.setattr(duckdb_file, "NEWEST", 1)
        file = duckdb_file.StoreFile(tmp_path / "tunroom.duckdb")
        with file.writing() as cursor:
            cursor.execute(
                "INSERT INTO event VALUES ('e', 'b', 'feed', TIMESTAMP '2026-03-01 10:00:00', 1.03, 400.0, 'honey')"
            )
        file.close()
    with Store.open(tmp_path) as store:
        [event] = store.all(EventRecord)
    assert (event.gravity_sg, event.amount_g, event.note) == (1.03, 400.0, "honey")
    assert (event.added, event.amount_l, event.addition) == (None, None, None)


def test_a_migration_that_fails_leaves_the_cellar_as_it_was(tmp_path, next_version, monkeypatch):
    with Store.open(tmp_path) as store:
        store.save(Device(device_id="f", kind="float"))
    next_version("ALTER TABLE vessel ADD COLUMN colour VARCHAR; SELECT no_such_function()")
    with pytest.raises(Exception, match="no_such_function"):
        Store.open(tmp_path)
    monkeypatch.undo()
    with Store.open(tmp_path) as store:
        assert "colour" not in columns(store, "vessel")
        assert [d.device_id for d in store.all(Device)] == ["f"]


def test_before_a_migration_a_copy_of_the_cellar_is_made_and_named(tmp_path, next_version, caplog):
    with Store.open(tmp_path) as store:
        store.save(Device(device_id="f", kind="float"))
    assert list(tmp_path.glob("*.before-*")) == []  # a new cellar has nothing to copy
    next_version("ALTER TABLE vessel ADD COLUMN colour VARCHAR DEFAULT 'grey'")
    with caplog.at_level("INFO"), Store.open(tmp_path):
        pass
    [copy] = tmp_path.glob(f"tunroom.duckdb.before-{migrations.NEWEST}-to-{migrations.NEWEST + 1}-20*")
    assert str(copy) in caplog.text
    with duckdb_file.duckdb.connect(str(copy), read_only=True) as old:
        assert old.execute("SELECT device_id FROM device").fetchall() == [("f",)]
        assert old.execute("SELECT max(number) FROM schema_version").fetchall() == [(migrations.NEWEST,)]
    with Store.open(tmp_path):
        pass
    assert list(tmp_path.glob("*.before-*")) == [copy]


def test_where_the_copy_cannot_be_made_nothing_is_migrated(tmp_path, next_version, monkeypatch):
    with Store.open(tmp_path) as store:
        store.save(Device(device_id="f", kind="float"))
    before = (tmp_path / "tunroom.duckdb").read_bytes()
    next_version("ALTER TABLE vessel ADD COLUMN colour VARCHAR")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("ingest.store.copies.shutil.copyfileobj", full)
    with pytest.raises(StoreError, match=r"No space left.*Nothing was changed"):
        Store.open(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["tunroom.duckdb"]
    assert (tmp_path / "tunroom.duckdb").read_bytes() == before


KILLED = """
import os, signal, sys
from pathlib import Path
from ingest.store import copies, duckdb_file
from ingest.store.migrations import MIGRATIONS, NEWEST, Migration
from ingest.store.store import Store

new = Migration(NEWEST + 1, "Notes the colour.", "ALTER TABLE vessel ADD COLUMN colour VARCHAR; SELECT die()")
duckdb_file.MIGRATIONS, duckdb_file.NEWEST = (*MIGRATIONS, new), new.number
die = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
if sys.argv[2] == "copy":
    copies.shutil.copyfileobj = lambda read, to, size: (to.write(read.read(5000)), to.flush(), die())
else:
    connect = duckdb_file.StoreFile._connect
    def connected(self):
        connection = connect(self)
        connection.create_function("die", lambda: die(), [], int, side_effects=True)
        return connection
    duckdb_file.StoreFile._connect = connected
Store.open(Path(sys.argv[1]))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL")
@pytest.mark.parametrize("during", [pytest.param("copy", marks=pytest.mark.long), "migration"])
def test_a_kill_during_the_copy_or_the_migration_leaves_the_old_cellar(tmp_path, during, next_version):
    with Store.open(tmp_path) as store:
        store.save(Device(device_id="f", kind="float"))
    done = subprocess.run([sys.executable, "-c", KILLED, str(tmp_path), during], capture_output=True, check=False)
    assert done.returncode == -9, done.stderr
    with Store.open(tmp_path) as store:
        assert "colour" not in columns(store, "vessel")
        assert [d.device_id for d in store.all(Device)] == ["f"]
    next_version("ALTER TABLE vessel ADD COLUMN colour VARCHAR")
    with Store.open(tmp_path) as store:
        assert columns(store, "vessel")[-1] == "colour"
    assert not list(tmp_path.glob("*.part"))


def test_who_chose_units_before_there_were_ounces_keeps_them_and_grams(tmp_path, monkeypatch):
    earlier = [m for m in MIGRATIONS if m.number < next(m.number for m in MIGRATIONS if "mass_unit" in m.sql)]
    row = to_row(Preferences(gravity_unit="°P", pressure_unit="psi"))
    for later in ("mass_unit", "altitude_m"):
        row.pop(later)
    with monkeypatch.context() as older:
        older.setattr(duckdb_file, "MIGRATIONS", tuple(earlier))
        older.setattr(duckdb_file, "NEWEST", earlier[-1].number)
        file = duckdb_file.StoreFile(tmp_path / "tunroom.duckdb")
        with file.writing() as cursor:
            marks = ", ".join("?" * len(row))
            cursor.execute(f"INSERT INTO preferences ({', '.join(row)}) VALUES ({marks})", list(row.values()))  # noqa: S608 - names of our own columns
        file.close()
    with Store.open(tmp_path) as store:
        assert store.preferences().units == DisplayUnits("°P", "°C", "psi", "L", "g")
        store.save(replace(store.preferences(), mass_unit="oz"))
    with Store.open(tmp_path) as store:
        assert store.preferences().mass_unit == "oz"
