from __future__ import annotations

import json
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from ingest import transfer
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
def store():
    with Store.in_memory() as opened:
        yield opened


def log(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


SMALL = """measured_at,gravity_sg,temperature_c
2026-03-01T10:00:00Z,1.0502,19.5
2026-03-01T10:15:00Z,1.0498,
2026-03-01T10:30:00Z,,19.75
2026-03-01T10:45:00Z,,
"""


# -- logs


def test_a_log_comes_in_once_however_often_it_is_given(store, tmp_path):
    path = log(tmp_path / "log.csv", SMALL)
    told = transfer.import_log(store, path, device_id="float-1")
    assert (told.rows, told.new, told.repeated, told.without_values, told.conflicts) == (4, 3, 0, 1, 0)
    assert (told.first_at, told.last_at) == ("2026-03-01T10:00:00Z", "2026-03-01T10:30:00Z")
    assert told.time_zone_assumed is None
    again = transfer.import_log(store, path, device_id="float-1")
    assert (again.new, again.repeated) == (0, 3)
    rows = store.readings_as_sent("float-1")
    assert rows["measured_at"].to_list() == [T, T + HOUR / 4, T + HOUR / 2]
    assert rows["gravity_sg"].to_list() == [1.0502, 1.0498, None]
    assert rows["temperature_c"].to_list() == [19.5, None, 19.75]
    assert store.last_words()[0].temperature_c == 19.75


@pytest.mark.parametrize("suffix", ["csv", "tsv", "parquet", "jsonl", "ndjson"])
def test_every_kind_of_file_says_the_same(store, tmp_path, suffix):
    frame = pl.DataFrame(
        {"measured_at": ["2026-03-01T10:00:00Z", "2026-03-01T11:00:00Z"], "gravity_sg": [1.05, 1.0412]}
    )
    path = tmp_path / f"log.{suffix}"
    match suffix:
        case "csv":
            frame.write_csv(path)
        case "tsv":
            frame.write_csv(path, separator="\t")
        case "parquet":
            frame.write_parquet(path)
        case _:
            frame.write_ndjson(path)
    assert transfer.import_log(store, path, device_id="f").new == 2
    assert store.readings_as_sent("f")["gravity_sg"].to_list() == [1.05, 1.0412]


@pytest.mark.parametrize(
    "written",
    [
        "2026-03-01T10:00:00Z",
        "2026-03-01T10:00:00.000+00:00",
        "2026-03-01 11:00:00+01:00",
        "2026-03-01 11:00+0100",
        "2026-03-01T10:00Z",
        "1772359200",
        "1772359200.0",
        "1772359200000",
    ],
)
def test_an_instant_may_be_written_in_many_ways(store, tmp_path, written):
    path = log(tmp_path / "log.csv", f"measured_at,gravity_sg\n{written},1.05\n")
    assert transfer.import_log(store, path, device_id="f").time_zone_assumed is None
    assert store.readings_as_sent("f")["measured_at"].to_list() == [T]


def test_times_without_a_zone_are_in_the_cellars_and_it_is_said(store, tmp_path):
    store.save(Preferences(time_zone="Europe/Oslo"))
    path = log(tmp_path / "log.csv", "measured_at,gravity_sg\n2026-03-01 11:00:00,1.05\n2026-07-01T12:00:00,1.04\n")
    assert transfer.import_log(store, path, device_id="f").time_zone_assumed == "Europe/Oslo"
    summer = datetime(2026, 7, 1, 10, tzinfo=UTC)
    assert store.readings_as_sent("f")["measured_at"].to_list() == [T, summer]


def test_columns_are_mapped_and_units_converted(store, tmp_path):
    path = log(
        tmp_path / "log.csv",
        "When,Extract,Warmth,Cell,Who\n2026-03-01T10:00:00Z,12.0,68,3900,a\n2026-03-01T10:00:00Z,11.0,59,3800,b\n",
    )
    columns = {
        "measured_at": "When",
        "extract_plato": "Extract",
        "temperature_f": "Warmth",
        "battery_mv": "Cell",
        "device_id": "Who",
    }
    told = transfer.import_log(store, path, columns=columns)
    assert told.devices == ("a", "b")
    [row] = store.readings_as_sent("a").to_dicts()
    assert row["gravity_sg"] == pytest.approx(1.04838, abs=5e-5)  # 12 °P: ASBC extract table (from memory)
    assert (row["temperature_c"], row["battery_v"]) == (pytest.approx(20.0), pytest.approx(3.9))


def test_missing_columns_are_asked_for(tmp_path):
    path = log(tmp_path / "log.csv", "Zeit,Dichte,Rest\n1772359200,1.05,x\n")
    asked = []

    def ask(question: str, choices: list[str]) -> str | None:
        asked.append((question, choices))
        return {"Which column says when it was measured?": "Zeit", "Which column is the gravity in SG?": "Dichte"}.get(
            question
        )

    assert transfer.mapping(path, {}, ask) == {"measured_at": "Zeit", "gravity_sg": "Dichte"}
    assert asked[0] == ("Which column says when it was measured?", ["Zeit", "Dichte", "Rest"])
    assert ("Which column is the temperature in °C?", ["Rest"]) in asked


@pytest.mark.parametrize(
    ("name", "text", "columns", "sentence"),
    [
        ("log.csv", "when,gravity_sg\n1,1\n", {}, r"columns: none says when it was measured \(when, gravity_sg\)"),
        ("log.csv", "measured_at,sg\n1,1\n", {}, r"columns: none is a quantity"),
        ("log.csv", SMALL, {"gravity_sg": "SG"}, r"column 'SG': it is not in the file"),
        ("log.csv", SMALL, {"colour": "gravity_sg"}, r"--column colour: there is no such quantity"),
        ("log.csv", "measured_at,gravity_sg\nyesterday,1.05\n", {}, r"row 1, column 'measured_at': 'yesterday' is not"),
        ("log.csv", "measured_at,gravity_sg\n86400,1.05\n", {}, r"row 1, column 'measured_at': .* is not a likely"),
        ("log.csv", SMALL + "2026-03-01T11:00:00Z,1.05,warm\n", {}, r"row 5, column 'temperature_c': 'warm' is not"),
        ("log.csv", SMALL + "2026-03-01T11:00:00Z,1050,\n2026-03-01T12:00:00Z,1049,\n", {},
         r"row 5, column 'gravity_sg': '1050' is outside 0\.9 to 1\.3 SG \(and 1 more rows\)"),
        ("log.csv", "measured_at,gravity_sg\n", {}, r"rows: there are none"),
        ("log.csv", "measured_at,gravity_sg\n2026-03-01T10:00:00Z,\n", {}, r"rows: none has a value"),
        ("log.parquet", SMALL, {}, r"it cannot be read"),
        ("log.doc", SMALL, {}, r"\.doc is not a known kind of log\. Known: \.csv"),
    ],
)  # fmt: skip
def test_a_log_that_cannot_be_taken_in_says_where_and_keeps_nothing(store, tmp_path, name, text, columns, sentence):
    with pytest.raises(ImportFileError, match=sentence):
        transfer.import_log(store, log(tmp_path / name, text), device_id="f", columns=columns)
    assert store.counts()["readings"] == 0


def test_a_log_without_device_asks_for_one(store, tmp_path):
    with pytest.raises(ImportFileError, match="--device ID"):
        transfer.import_log(store, log(tmp_path / "log.csv", SMALL))


def test_rows_of_one_instant_complete_each_other_or_are_kept_as_conflicts(store, tmp_path):
    at = "2026-03-01T10:00:00Z"
    path = log(tmp_path / "log.csv", f"measured_at,gravity_sg,temperature_c\n{at},1.05,\n{at},,20\n{at},1.06,\n")
    told = transfer.import_log(store, path, device_id="f")
    assert (told.new, told.completed, told.conflicts) == (1, 1, 1)
    [row] = store.readings_as_sent("f").to_dicts()
    assert (row["gravity_sg"], row["temperature_c"]) == (1.05, 20.0)
    [conflict] = store.rejections()
    assert conflict.topic == "import of log.csv"
    assert json.loads(conflict.payload)["gravity_sg"] == 1.06


def test_a_log_with_dates_alone_keeps_one_reading_a_day_and_the_rest_as_conflicts(store, tmp_path):
    rows = "".join(f"2026-03-0{1 + n % 3}T00:00:00Z,{1.05 - n / 10_000:.4f}\n" for n in range(300))
    told = transfer.import_log(store, log(tmp_path / "log.csv", "measured_at,gravity_sg\n" + rows), device_id="f")
    assert (told.new, told.conflicts) == (3, 297)


def test_a_log_can_be_put_into_a_batch(store, tmp_path):
    store.save(Vessel(vessel_id="v", name="V"))
    store.save(BatchRecord(batch_id="b", name="B", vessel_id="v", pitched_at=T - HOUR))
    path = log(tmp_path / "log.csv", SMALL)
    for _ in range(2):
        transfer.import_log(store, path, device_id="float-1", batch_id="b")
    assert store.readings_of("b").height == 3
    assert store.get(Device, "float-1").kind == "float"
    assert len(store.all(Placement)) == 1
    assert store.undo() == "Taken back: Imported log.csv into B"
    assert store.readings_of("b").is_empty()
    with pytest.raises(EntryError, match="no batch 'b9'"):
        transfer.import_log(store, path, device_id="float-1", batch_id="b9")


# -- the cellar


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
        assert other.undo() == "Taken back: Added hand sample 1.05 SG of B"
        cellar.undo()
        assert contents(other).keys() == contents(cellar).keys()


def test_an_export_taken_in_twice_changes_nothing(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out")
    before = contents(cellar)
    taken = transfer.import_cellar(cellar, tmp_path / "out")
    assert (taken.readings_new, taken.entries_new, taken.assessments_new, taken.rejected_new) == (0, 0, 0, 0)
    assert contents(cellar) == before


def test_into_a_cellar_that_lives_an_export_is_one_change_to_undo(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out")
    with Store.in_memory() as other:
        other.save(Vessel(vessel_id="mine", name="Mine"))
        transfer.import_cellar(other, tmp_path / "out")
        assert len(other.all(Vessel)) == 2
        assert other.undo() == "Taken back: Imported the cellar in out"
        assert [v.name for v in other.all(Vessel)] == ["Mine"]


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
    log(tmp_path / "diary.txt", "mine")
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
