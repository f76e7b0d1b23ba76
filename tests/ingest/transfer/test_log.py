from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from ingest import transfer
from ingest.errors import EntryError, ImportFileError
from ingest.model import BatchRecord, Device, Placement, Preferences, Vessel

T = datetime(2026, 3, 1, 10, tzinfo=UTC)
HOUR = timedelta(hours=1)


def log(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


SMALL = """measured_at,gravity_sg,temperature_c
2026-03-01T10:00:00Z,1.0502,19.5
2026-03-01T10:15:00Z,1.0498,
2026-03-01T10:30:00Z,,19.75
2026-03-01T10:45:00Z,,
"""


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
    assert store.device_statuses()[0].temperature_c == 19.75


INSTANT = "2026-03-01T10:00:00Z"


@pytest.mark.parametrize(
    ("row", "column", "problem"),
    [
        ("float-1,1e300,1.05,1", "measured_at", "1e+300 is not a time"),
        ("float-1,inf,1.05,1", "measured_at", "inf is not a time"),
        ("float-1,-inf,1.05,1", "measured_at", "-inf is not a time"),
        ("float-1,nan,1.05,1", "measured_at", "nan is not a time"),
        ("float-1,9223372036854775807,1.05,1", "measured_at", "is not a time"),
        (f"float-1,{INSTANT},1.05,1e300", "sequence", "no whole number"),
        (f"float-1,{INSTANT},1.05,-1", "sequence", "no whole number"),
        (f"float-1,{INSTANT},1.05,1.5", "sequence", "no whole number"),
        (f"float-1,{INSTANT},1.05,inf", "sequence", "no whole number"),
        (f"float-1,{INSTANT},1.05,9223372036854775807", "sequence", "no whole number"),  # as a float it is one more
        (f"fl\x00oat,{INSTANT},1.05,1", "device_id", "cannot be a device's id"),
        (f"fl\x1b[31m,{INSTANT},1.05,1", "device_id", "cannot be a device's id"),
        (f'"fl\noat",{INSTANT},1.05,1', "device_id", "cannot be a device's id"),
        (f"{'x' * 5000},{INSTANT},1.05,1", "device_id", "cannot be a device's id"),
        (f"fl\u202etaolf,{INSTANT},1.05,1", "device_id", "cannot be a device's id"),
        (f"a/b,{INSTANT},1.05,1", "device_id", "cannot be a device's id"),
        (f"float-1,{INSTANT},inf,1", "gravity_sg", "outside"),
    ],
)
@pytest.mark.parametrize("suffix", ["csv", "parquet"])
def test_what_a_message_may_not_say_a_log_may_not_either(store, tmp_path, row, column, problem, suffix):
    path = log(tmp_path / "log.csv", f"device_id,measured_at,gravity_sg,sequence\n{row}\n")
    if suffix != "csv":
        frame = pl.read_csv(path, infer_schema=False).with_columns(pl.col("gravity_sg").cast(pl.Float64))
        path = tmp_path / f"log.{suffix}"
        numbers = frame.with_columns(pl.col("measured_at", "sequence").cast(pl.Float64, strict=False))
        frame = numbers if column in ("sequence", "measured_at") else frame
        if column == "sequence":
            frame = frame.with_columns(measured_at=pl.lit(INSTANT))
        frame.write_parquet(path)
    with pytest.raises(ImportFileError) as caught:
        transfer.import_log(store, path)
    assert f"row 1, column '{column}'" in str(caught.value)
    assert problem in str(caught.value)
    assert len(str(caught.value)) < 300
    assert store.device_ids() == []


def test_a_device_named_for_a_whole_log_is_checked_as_one_in_a_message(store, tmp_path):
    with pytest.raises(ImportFileError, match="'a/b' cannot be a device's id"):
        transfer.import_log(store, log(tmp_path / "log.csv", SMALL), device_id="a/b")


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


def test_the_hour_that_clocks_skip_in_spring_goes_on_from_the_one_before(store, tmp_path):
    store.save(Preferences(time_zone="Europe/Vienna"))
    text = (
        "measured_at,gravity_sg\n" + "".join(f"2026-03-29 0{h}:30,1.05\n" for h in (1, 2)) + "2026-03-29 05:30,1.05\n"
    )
    transfer.import_log(store, log(tmp_path / "log.csv", text), device_id="float-1")
    # Central European Time is an hour ahead of UTC until 01:00 UTC on 29 March 2026, then two.
    assert [t.hour for t in store.readings_as_sent("float-1")["measured_at"]] == [0, 1, 3]


QUARTERS = ("00", "15", "30", "45")
DOUBLED = [f"2025-10-26 {h}:{q}" for h in ("01", "02", "02", "03") for q in QUARTERS]


# Central European Summer Time ends at 01:00 UTC on 26 October 2025 (Directive 2000/84/EC, article 3).
@pytest.mark.parametrize("newest_first", [False, True])
def test_the_hour_that_comes_twice_in_autumn_is_told_apart_by_the_order(store, tmp_path, newest_first):
    store.save(Preferences(time_zone="Europe/Vienna"))
    times = DOUBLED[::-1] if newest_first else DOUBLED
    rows = [f"{t},{device},{1.05 - n * 1e-4:.4f}" for n, t in enumerate(times) for device in ("a", "b")]
    told = transfer.import_log(store, log(tmp_path / "log.csv", "\n".join(("measured_at,device_id,gravity_sg", *rows))))
    assert (told.new, told.conflicts) == (32, 0)
    begin = datetime(2025, 10, 25, 23, tzinfo=UTC)
    for device in ("a", "b"):
        kept = store.readings_as_sent(device)
        assert kept["measured_at"].to_list() == [begin + timedelta(minutes=15 * n) for n in range(16)]
        assert kept["gravity_sg"].is_sorted(descending=not newest_first)


def test_where_the_order_does_not_decide_the_doubled_hour_is_the_first(store, tmp_path):
    store.save(Preferences(time_zone="Europe/Vienna"))
    text = "measured_at,gravity_sg\n2025-10-26 02:15,1.05\n2025-10-26 04:15,1.05\n"
    transfer.import_log(store, log(tmp_path / "log.csv", text), device_id="f")
    assert [t.hour for t in store.readings_as_sent("f")["measured_at"]] == [0, 3]


def test_a_clock_that_was_not_put_forward_loses_nothing_in_spring(store, tmp_path):
    store.save(Preferences(time_zone="Europe/Vienna"))
    rows = [f"2025-03-30 {h}:{q},1.05" for h in ("01", "02", "03", "04") for q in QUARTERS]
    rows += ["2025-07-01 12:00,1.01", "2025-12-01 12:00,1.01"]
    told = transfer.import_log(
        store, log(tmp_path / "log.csv", "\n".join(("measured_at,gravity_sg", *rows))), device_id="f"
    )
    assert (told.new, told.conflicts) == (18, 0)
    kept = store.readings_as_sent("f")["measured_at"].to_list()
    begin = datetime(2025, 3, 30, 0, tzinfo=UTC)
    assert kept[:16] == [begin + timedelta(minutes=15 * n) for n in range(16)]
    assert [t.hour for t in kept[16:]] == [11, 11]


def test_a_table_with_semicolons_and_decimal_commas_is_read(store, tmp_path):
    text = "measured_at;gravity_sg;temperature_c\n2026-03-01T10:00:00Z;1,0502;19,5\n2026-03-01T10:15:00Z;1.0498;20\n"
    transfer.import_log(store, log(tmp_path / "log.csv", text), device_id="float-1")
    rows = store.readings_as_sent("float-1")
    assert rows["gravity_sg"].to_list() == [1.0502, 1.0498]
    assert rows["temperature_c"].to_list() == [19.5, 20.0]


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


@pytest.mark.parametrize(
    ("written", "zone", "means"),
    [
        ("01.03.2026", "UTC", "2026-03-01T00:00:00+00:00"),
        ("01.03.2026 10:00", "UTC", "2026-03-01T10:00:00+00:00"),
        ("1.3.2026 9:05", "Europe/Berlin", "2026-03-01T08:05:00+00:00"),
        ("13.12.2025, 10:00:30", "UTC", "2025-12-13T10:00:30+00:00"),
        ("2026-03-01", "UTC", "2026-03-01T00:00:00+00:00"),
    ],
)
def test_a_day_first_date_with_points_is_understood(store, tmp_path, written, zone, means):
    # DIN 5008: a date may be written with the day first, parted by points; it is never the month.
    store.save(Preferences(time_zone=zone))
    told = transfer.import_log(
        store, log(tmp_path / "log.csv", f"measured_at;gravity_sg\n{written};1,05\n"), device_id="f"
    )
    assert told.time_zone_assumed == zone
    [row] = store.readings_as_sent("f").to_dicts()
    assert row["measured_at"] == datetime.fromisoformat(means)


@pytest.mark.parametrize("written", ["31.02.2026 10:00", "3/1/26", "18/01/2026 18:00 PM", "01.03.26", "2026.03.01"])
def test_a_date_that_is_none_or_may_mean_two_days_is_refused(store, tmp_path, written):
    with pytest.raises(ImportFileError, match="is not a time"):
        transfer.import_log(
            store, log(tmp_path / "log.csv", f"measured_at,gravity_sg\n{written},1.05\n"), device_id="f"
        )


SEPTEMBER = datetime(2026, 9, 1, 18, tzinfo=UTC)
JANUARY = datetime(2026, 1, 9, 18, tzinfo=UTC)


@pytest.mark.parametrize(
    ("written", "order", "means"),
    [
        ("01.09.2026 18:00", None, SEPTEMBER),  # with dots the day is first (DIN 5008)
        ("9/1/2026 18:00", "month-first", SEPTEMBER),
        ("9/1/2026 6:00 PM", "month-first", SEPTEMBER),
        ("9/1/2026 12:30 am", "month-first", SEPTEMBER.replace(hour=0, minute=30)),
        ("9/1/2026 12:30 p.m.", "month-first", SEPTEMBER.replace(hour=12, minute=30)),
        ("09-01-2026 18:00:00", "day-first", JANUARY),
        ("09-01-2026", "day-first", JANUARY.replace(hour=0)),
        ("9/1/2026 19:00+01:00", "day-first", JANUARY),
    ],
)
def test_a_date_is_read_in_the_order_that_was_named(store, tmp_path, written, order, means):
    path = log(tmp_path / "log.csv", f"measured_at,gravity_sg\n{written},1.05\n")
    transfer.import_log(store, path, device_id="f", dates=order)
    assert store.readings_as_sent("f")["measured_at"].to_list() == [means]


@pytest.mark.parametrize(("other", "means"), [("13/1/2026 18:00", JANUARY), ("9/13/2026 18:00", SEPTEMBER)])
def test_a_number_above_12_tells_which_is_the_day(store, tmp_path, other, means):
    path = log(tmp_path / "log.csv", f"measured_at,gravity_sg\n9/1/2026 18:00,1.05\n{other},1.04\n")
    transfer.import_log(store, path, device_id="f")
    assert store.readings_as_sent("f")["measured_at"][0] == means


def test_dates_that_may_be_two_days_are_asked_for_and_those_in_both_orders_refused(store, tmp_path):
    path = log(tmp_path / "log.csv", "When,gravity_sg\n9/1/2026 18:00,1.05\n9/2/2026 18:00,1.04\n")
    columns = {"measured_at": "When"}
    with pytest.raises(ImportFileError, match=r"column 'When': '9/1/2026 18:00' may be two days.*--dates") as caught:
        transfer.import_log(store, path, device_id="f", columns=columns)
    assert caught.value.for_screen().field == "dates"
    assert "--" not in str(caught.value.for_screen())
    mixed = log(tmp_path / "mixed.csv", "When,gravity_sg\n9/13/2026 18:00,1.05\n13/9/2026 19:00,1.04\n")
    with pytest.raises(ImportFileError, match="row 1, column 'When': '9/13/2026 18:00' is not a time where dates are"):
        transfer.import_log(store, mixed, device_id="f", columns=columns)
    assert store.counts()["readings"] == 0


# The bytes by the Unicode consortium's mappings of 8859-1 and CP1252: E9 is é, B0 the degree sign, 80 the euro sign.
@pytest.mark.parametrize(
    ("head", "named", "assumed"),
    [
        (b"D\xe9but", "Début", "Windows-1252"),
        (b"\xb0P \x80", "°P €", "Windows-1252"),
        ("Début".encode(), "Début", None),
        (b"\xef\xbb\xbfD\xc3\xa9but", "Début", None),
    ],
)
def test_a_text_of_western_bytes_is_read_and_it_is_said(store, tmp_path, head, named, assumed):
    path = tmp_path / "log.csv"
    path.write_bytes(b"measured_at;" + head + b"\n2026-03-01T10:00:00Z;1,05\n")
    if head.startswith(b"\xef"):
        path.write_bytes(head + b";measured_at\n1,05;2026-03-01T10:00:00Z\n")
    told = transfer.import_log(store, path, device_id="f", columns={"gravity_sg": named})
    assert told.encoding_assumed == assumed
    assert store.readings_as_sent("f")["gravity_sg"].to_list() == [1.05]


def test_a_text_in_utf_16_is_read(store, tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes("measured_at\tgravity_sg\n2026-03-01T10:00:00Z\t1,05\n".encode("utf-16"))
    assert transfer.import_log(store, path, device_id="f").new == 1


def test_a_fault_of_time_names_the_files_own_column(store, tmp_path):
    path = log(tmp_path / "log.csv", "Zeit,gravity_sg\nyesterday,1.05\n")
    with pytest.raises(ImportFileError, match="row 1, column 'Zeit': 'yesterday' is not a time") as caught:
        transfer.import_log(store, path, device_id="f", columns={"measured_at": "Zeit"})
    assert caught.value.for_screen().field == "measured_at"


@pytest.mark.parametrize(("ahead", "taken"), [(timedelta(minutes=4), True), (timedelta(minutes=6), False)])
def test_a_row_dated_in_the_future_is_refused_as_from_a_device(store, tmp_path, ahead, taken):
    """One such row would be the newest reading for as long, and make a hold of the gap before it."""
    dated = (T + ahead).strftime("%Y-%m-%dT%H:%M:%SZ")
    path = log(tmp_path / "log.csv", f"{SMALL.splitlines()[0]}\n2026-03-01T09:00:00Z,1.05,\n{dated},1.049,\n")
    if taken:
        assert transfer.import_log(store, path, device_id="f", now=T).new == 2
        return
    with pytest.raises(ImportFileError, match=rf"row 2, column 'measured_at': '{dated}' lies in the future"):
        transfer.import_log(store, path, device_id="f", now=T)
    assert store.counts()["readings"] == 0


def test_a_row_of_next_year_is_refused_by_the_clock_on_the_wall(store, tmp_path):
    year = datetime.now(UTC).year + 1
    path = log(tmp_path / "log.csv", f"measured_at,gravity_sg\n{year}-03-01T10:00:00Z,1.05\n")
    with pytest.raises(ImportFileError, match=r"lies in the future .* Look at the year"):
        transfer.import_log(store, path, device_id="f")


@pytest.mark.parametrize(
    ("column", "value", "sentence"),
    [
        ("extract_plato", "121", r"'121' is outside −28 to 61 °P. Gravity lies between −5 and 44 °P"),
        ("density_kg_m3", "1.05", r"'1.05' is outside 898 to 1298 kg/m³. Gravity lies between 978 and 1198 kg/m³"),
        ("temperature_f", "300", r"'300' is outside −40 to 230 °F"),
        ("battery_mv", "370000", r"'370000' is outside 0 to 60000 mV"),
    ],
)
def test_what_is_out_of_range_is_told_in_the_unit_in_which_it_was_written(store, tmp_path, column, value, sentence):
    path = log(tmp_path / "log.csv", f"measured_at,{column}\n2026-03-01T10:00:00Z,{value}\n")
    with pytest.raises(ImportFileError, match=sentence) as refused:
        transfer.import_log(store, path, device_id="f")
    assert "SG" not in str(refused.value)


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


def test_a_log_of_an_older_spreadsheet_is_read_and_its_own_columns_are_named(store, tmp_path):
    """ "Gärgefäß 1" in Windows-1252, dates with the day first, decimal commas: what a spreadsheet writes."""
    text = "Zeit;Dichte;Gefäß\n01.09.2026 18:00;1,0502;Gärgefäß 1\n01.09.2026 19:00;1,0498;Gärgefäß 1\n"
    path = tmp_path / "log.csv"
    path.write_bytes(text.encode("cp1252"))
    columns = {"measured_at": "Zeit", "gravity_sg": "Dichte"}
    assert transfer.import_log(store, path, device_id="float-1", columns=columns).new == 2
    assert transfer.scan_text(path).collect()["Gefäß"].to_list() == ["Gärgefäß 1", "Gärgefäß 1"]
    path.write_bytes(text.replace("01.09.2026 19:00", "gestern").encode("cp1252"))
    with pytest.raises(ImportFileError, match="row 2, column 'Zeit': 'gestern' is not a time"):
        transfer.import_log(store, path, device_id="float-1", columns=columns)
