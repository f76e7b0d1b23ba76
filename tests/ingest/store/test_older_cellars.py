"""Every version of the tables since the first opens, and all that was kept is there.

The files were written by the code of their time. A version between two of them is made by bringing the older one up to
it: nobody released it, but a backup may have it.
"""

from __future__ import annotations

import gzip
from datetime import timedelta
from pathlib import Path

import pytest

from analysis import assess
from ingest.errors import StoreTooNew
from ingest.model import (
    BatchRecord,
    CalibrationRecord,
    Device,
    EventRecord,
    HandSample,
    Placement,
    Vessel,
    Yeast,
)
from ingest.store import duckdb_file
from ingest.store.migrations import MIGRATIONS, NEWEST
from ingest.store.store import Store
from ingest.tastings import Tasting, TastingAnswer
from ingest.trial_records import TrialRecord
from tests.older import write

OLDER = {int(p.name.split("-")[1].split(".")[0]): p for p in Path(write.__file__).parent.glob("tables-*.duckdb.gz")}


@pytest.fixture
def cellar_of(tmp_path, monkeypatch):
    def make(version: int) -> Path:
        before = max(number for number in OLDER if number <= version)
        database = tmp_path / "tunroom.duckdb"
        database.write_bytes(gzip.decompress(OLDER[before].read_bytes()))
        if before != version:
            with monkeypatch.context() as then:
                then.setattr(duckdb_file, "MIGRATIONS", tuple(m for m in MIGRATIONS if m.number <= version))
                then.setattr(duckdb_file, "NEWEST", version)
                duckdb_file.StoreFile(database).close()
        return tmp_path

    return make


def test_the_first_version_and_the_last_of_each_change_are_there():
    assert min(OLDER) == MIGRATIONS[0].number
    assert set(OLDER) < {m.number for m in MIGRATIONS}


@pytest.mark.parametrize("version", [m.number for m in MIGRATIONS])
def test_a_cellar_of_every_version_opens_with_all_it_had(cellar_of, version):
    with Store.open(cellar_of(version)) as store:
        assert store._file.read("SELECT max(number) FROM schema_version") == [(NEWEST,)]
        preferences = store.preferences()
        assert (preferences.cellar_name, preferences.gravity_unit, preferences.mass_unit) == (
            "The old cellar", "°P", "g",
        )  # fmt: skip
        assert [d.name for d in store.all(Device)] == ["Heron", ""]
        vessel = store.get(Vessel, "v")
        assert (vessel.name, vessel.volume_l, vessel.temperature_high_c) == ("Vessel 1", 25.0, 22.0)
        assert [(y.name, y.attenuation_high) for y in store.all(Yeast)] == [("House ale", 0.8)]
        batch = store.get(BatchRecord, "b")
        assert (batch.name, batch.pitched_at, batch.original_gravity_sg) == ("Saison", write.T, 1.052)
        assert batch.plan["destination"] == "bottle"
        assert batch.plan.get("dry_hops") == (1 if version < 3 else None)
        assert [p.device_id for p in store.all(Placement)] == ["float-1"]
        assert [c.points for c in store.all(CalibrationRecord)] == [((1.05, 1.051),)]
        assert [(e.kind, e.amount_g, e.added) for e in store.all(EventRecord)] == [("feed", 400.0, None)]
        assert [(h.value, h.temperature_c) for h in store.all(HandSample)] == [(1.013, 20.0)]
        assert [r.payload for r in store.rejections()] == [b"{"]
        assert store.get_note("a note") == "kept"
        [said] = store.assessments("b")
        assert (said.phase, said.packaging_day, said.program_version) == ("falling", "2026-03-14", None)
        assert [change.undone for change in store.changes(2)] == [True, False]
        sent = store.readings_as_sent("float-1")
        assert sent["gravity_sg"].to_list() == [write.gravity(n) for n in range(write.READINGS)]
        now = write.T + timedelta(hours=120)
        assert assess(store.readings_of("b"), store.batch("b"), now=now).gravity_sg is not None
        if version >= 11:
            [trial], [tasting], [answer] = store.all(TrialRecord), store.all(Tasting), store.all(TastingAnswer)
            assert (trial.name, trial.arms) == ("Two woods", (("Oak", "b"), ("Ash", "b2")))
            assert (tasting.trial_id, tasting.ended_at) == ("t", write.T + write.HOUR)
            assert (answer.score, answer.aromas) == (62.5, ("pear",))
        assert preferences.altitude_m is None
        assert store.undo() is not None  # the journal still fits the tables


def test_a_cellar_of_a_later_version_is_refused_politely_and_left_as_it_is(cellar_of):
    folder = cellar_of(NEWEST)
    with duckdb_file.duckdb.connect(str(folder / "tunroom.duckdb")) as later:
        later.execute("INSERT INTO schema_version VALUES (?, 'Of a later day.', now()::TIMESTAMP)", [NEWEST + 1])
    before = (folder / "tunroom.duckdb").read_bytes()
    with pytest.raises(StoreTooNew, match=r"written by a later version of tunroom.*Upgrade tunroom"):
        Store.open(folder)
    assert (folder / "tunroom.duckdb").read_bytes() == before
