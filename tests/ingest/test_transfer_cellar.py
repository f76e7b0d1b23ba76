from __future__ import annotations

import json
import threading
import zipfile
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from ingest import rules, transfer
from ingest.errors import EntryError, ImportFileError
from ingest.model import (
    AssessmentRecord,
    BatchRecord,
    CalibrationRecord,
    Device,
    EventRecord,
    HandSample,
    Placement,
    Preferences,
    Rejection,
    Report,
    Vessel,
    Yeast,
)
from ingest.records import ENTRIES
from ingest.store import Store

T = datetime(2026, 3, 1, 10, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture
def cellar(store):
    for record in (
        Device(device_id="float-1", kind="float"),
        Device(device_id="probe-1", kind="probe", name="Förde"),
        Vessel(vessel_id="v", name="V", volume_l=20.0),
        Yeast(name="Marrow", attenuation_low=0.7),
        BatchRecord(
            batch_id="b", name="B", vessel_id="v", pitched_at=T, ended_at=T + 20 * HOUR, yeast="Marrow", plan={"a": [1]}
        ),
        Placement(device_id="float-1", vessel_id="v", from_at=T),
        Placement(device_id="probe-1", vessel_id="v", from_at=T, to_at=T + 5 * HOUR),
        CalibrationRecord(device_id="float-1", kind="inclination", points=((25.0, 1.0), (60.0, 1.09))),
        EventRecord(batch_id="b", kind="dry hop", at=T + 9 * HOUR, amount_g=50.0),
        HandSample(batch_id="b", at=T + 3 * HOUR, value=1.05, temperature_c=22.0),
        Preferences(cellar_name="Düne", notify_urls=("json://localhost",), hop_weekdays=(5,)),
    ):
        store.save(record)
    store.undo()
    hours = [T + n * HOUR for n in range(-3, 30)]
    store.keep(
        [
            *(
                Report(
                    device_id="float-1", measured_at=t, received_at=t + timedelta(seconds=90), inclination_deg=45.0,
                    temperature_c=19.0, extra={"firmware": "ä"}, sequence=n,
                )
                for n, t in enumerate(hours)
            ),
            *(Report(device_id="probe-1", measured_at=t, received_at=t, temperature_c=18.5) for t in hours),
            Report(device_id="stranger", measured_at=T, received_at=T, gravity_sg=1.04, time_flag="no clock"),
        ],
        [Rejection(topic="t", payload=b"\x00\xff", received_at=T, faults=("one", "two"))],
    )  # fmt: skip
    store.add_assessment(
        AssessmentRecord(
            batch_id="b", made_at=T, phase="active", finished=False, stalled=False, hold_met=False, finish_p50=T + HOUR
        )
    )
    store.set_note("watcher", '{"a": 1}')
    return store


def contents(store: Store) -> dict[str, object]:
    return {
        **{cls.__name__: sorted(store.all(cls), key=repr) for cls in ENTRIES},
        "assessments": store.assessments("b"),
        "rejections": store.rejections() + store.rejections(resolved=True),
        "notes": store.notes(),
        "changes": store.changes(),
        "words": store.last_words(),
        **{device: store.readings_as_sent(device).to_dicts() for device in store.device_ids()},
    }


def test_an_export_makes_the_same_cellar(cellar, tmp_path):
    told = transfer.export_cellar(cellar, tmp_path / "out")
    assert told.readings == 67
    with Store.in_memory() as other:
        taken = transfer.import_cellar(other, tmp_path / "out")
        assert (taken.readings_new, taken.assessments_new, taken.rejected_new) == (67, 1, 1)
        assert contents(other) == contents(cellar)
        assert other.readings_of("b").equals(cellar.readings_of("b"))
        assert other.undo() == "Taken back: Added hand sample 1.050 SG of B in V"
        cellar.undo()
        assert contents(other).keys() == contents(cellar).keys()


def test_an_export_taken_in_twice_changes_nothing(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out")
    before = contents(cellar)
    taken = transfer.import_cellar(cellar, tmp_path / "out")
    assert (taken.readings_new, taken.entries_new, taken.assessments_new, taken.rejected_new) == (0, 0, 0, 0)
    assert contents(cellar) == before


def test_a_zipped_export_makes_the_same_cellar_and_nothing_else_leaves_the_archive(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out" / "cellar")
    with zipfile.ZipFile(tmp_path / "cellar.zip", "w") as archive:
        for file in (tmp_path / "out" / "cellar").iterdir():
            archive.write(file, f"cellar/{file.name}")
        archive.writestr("../../escaped.parquet", b"no table")
        archive.writestr("notes.txt", b"mine")
    with Store.in_memory() as other:
        transfer.import_zip(other, tmp_path / "cellar.zip")
        assert other.all(BatchRecord) == cellar.all(BatchRecord)
        assert other.counts()["readings"] == cellar.counts()["readings"]
    assert not list(tmp_path.parent.glob("escaped*"))


@pytest.mark.parametrize("content", [b"not a zip", None])
def test_an_archive_that_is_no_export_is_refused(store, tmp_path, content):
    file = tmp_path / "cellar.zip"
    if content is None:
        with zipfile.ZipFile(file, "w") as archive:
            archive.writestr("readme.txt", b"hello")
    else:
        file.write_bytes(content)
    with pytest.raises(ImportFileError, match="cellar"):
        transfer.import_zip(store, file)
    assert store.changes() == []


def test_into_a_cellar_that_lives_an_export_is_one_change_to_undo(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out")
    with Store.in_memory() as other:
        other.save(Vessel(vessel_id="mine", name="Mine"))
        transfer.import_cellar(other, tmp_path / "out")
        assert len(other.all(Vessel)) == 2
        assert other.undo() == "Taken back: Imported the cellar in out"
        assert [v.name for v in other.all(Vessel)] == ["Mine"]


def test_rules_of_an_export_join_those_that_are_here_and_replace_none(cellar, tmp_path):
    def rule(name: str, unit: str) -> rules.Rule:
        return rules.rule_from({"name": name, "topic": "a/{device}", "temperature": {"value": "@", "unit": unit}})

    for each in (rule("both", "°C"), rule("theirs", "°C")):
        rules.save_rule(cellar, each)
    transfer.export_cellar(cellar, tmp_path / "out")
    with Store.in_memory() as other:
        rules.save_rule(other, rule("both", "°F"))
        transfer.import_cellar(other, tmp_path / "out")
        assert [(r.name, r.takes[0].unit) for r in rules.stored_rules(other)] == [("both", "°F"), ("theirs", "°C")]


def test_the_readings_file_has_each_reading_as_sent_and_as_calibrated(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out")
    readings = pl.read_parquet(tmp_path / "out" / "readings.parquet")
    assert readings.height == 67
    in_batch = readings.filter(pl.col("batch_id") == "b", pl.col("device_id") == "float-1")
    assert in_batch.height == 20
    ours = cellar.readings_of("b").filter(pl.col("device_id") == "float-1")
    assert in_batch["calibrated_gravity_sg"].to_list() == ours["gravity_sg"].to_list()
    assert set(in_batch["inclination_deg"]) == {45.0}
    assert set(in_batch["calibrated_temperature_c"][:5]) == {18.5}  # the probe's
    after = readings.filter(pl.col("batch_id").is_null(), pl.col("vessel_id") == "v")
    assert after.height == 10
    assert after["calibrated_gravity_sg"].null_count() == 0
    stranger = readings.filter(pl.col("device_id") == "stranger")
    assert stranger.select("vessel_id", "gravity_sg", "time_flag").rows() == [(None, 1.04, "no clock")]
    text = pl.read_csv(tmp_path / "out" / "readings.csv", infer_schema_length=None)
    assert text.columns == readings.columns
    assert text.height == 67
    assert text["measured_at"][0] == "2026-03-01T07:00:00.000000Z"


def test_a_directory_with_other_things_is_left_alone(cellar, tmp_path):
    (tmp_path / "diary.txt").write_text("mine")
    with pytest.raises(EntryError, match="is not empty"):
        transfer.export_cellar(cellar, tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["diary.txt"]
    transfer.export_cellar(cellar, tmp_path / "out")
    transfer.export_cellar(cellar, tmp_path / "out")  # over an earlier export


def test_what_is_no_export_is_refused(store, tmp_path):
    with pytest.raises(ImportFileError, match="this is no export"):
        transfer.import_cellar(store, tmp_path)


def test_an_export_of_a_later_version_is_refused(cellar, store, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out")
    manifest = tmp_path / "out" / "cellar.json"
    manifest.write_text(json.dumps(json.loads(manifest.read_text()) | {"tables": 999}))
    with Store.in_memory() as other, pytest.raises(ImportFileError, match="later version"):
        transfer.import_cellar(other, tmp_path / "out")


def test_a_damaged_export_is_refused_before_anything_is_kept(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out")
    (tmp_path / "out" / "rejection.parquet").write_bytes(b"PAR1 and no more")
    with Store.in_memory() as other:
        with pytest.raises(ImportFileError, match=r"rejection\.parquet: it cannot be read"):
            transfer.import_cellar(other, tmp_path / "out")
        assert other.all(Vessel) == []


def test_reports_go_on_arriving_during_import_and_export(tmp_path):
    frame = pl.DataFrame({"s": range(300_000)}).select(
        (pl.col("s") * 60 + 1_700_000_000).alias("measured_at"), (1.05 - pl.col("s") / 1e7).alias("gravity_sg")
    )
    frame.write_parquet(tmp_path / "log.parquet")
    stop, sent = threading.Event(), []
    with Store.open(tmp_path / "data") as store:

        def arrive() -> None:
            while not stop.is_set():
                at = T + len(sent) * timedelta(seconds=1)
                sent.append(store.keep([Report(device_id="live", measured_at=at, received_at=at, gravity_sg=1.02)]))

        sender = threading.Thread(target=arrive)
        sender.start()
        steps: list[str] = []
        told = transfer.import_log(store, tmp_path / "log.parquet", device_id="f", progress=steps.append)
        during = len(sent)
        transfer.export_cellar(store, tmp_path / "out", progress=steps.append)
        stop.set()
        sender.join()
        assert told.new == 300_000
        assert during > 3
        assert sum(sent) == len(sent)
        assert store.counts()["readings"] == 300_000 + len(sent)
    assert "300,000 of 300,000 readings (100 %)" in steps
