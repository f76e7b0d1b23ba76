from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from analysis.display_units import DisplayUnits
from analysis.wording import Voice
from dashboard.screens.set_up import import_log, import_preview
from ingest import transfer
from ingest.decoding import rules
from ingest.errors import EntryError, ImportFileError
from ingest.model import BatchRecord, Device, Placement, Vessel, Yeast
from ingest.store.store import Store
from tests.dashboard.conftest import says_until_saved

LOG = "timestamp,SG,temp\n" + "".join(f"2026-03-0{d}T10:00:00Z,{1.052 - 0.004 * d:.3f},19.{d}\n" for d in range(1, 9))


@pytest.fixture
def log(tmp_path):
    path = tmp_path / "spring ale.csv"
    path.write_text(LOG)
    return path


def test_columns_are_guessed_by_their_names(log):
    head = import_preview.head(log)
    assert import_preview.columns(head) == {"measured_at": "timestamp", "gravity_sg": "SG", "temperature_c": "temp"}
    assert import_preview.device_id(log) == "spring-ale"


def test_the_unit_of_a_column_is_guessed_from_its_values():
    head = pl.DataFrame({"when": ["2026-03-01"], "extract": [12.1], "temp_f": [67.0], "gravity": [12.1]})
    assert import_preview.columns(head) == {
        "measured_at": "when",
        "extract_plato": "gravity",
        "temperature_f": "temp_f",
    }


# ASBC table of extract (from memory): 1.0480 is 11.9 °P; the Fahrenheit scale by definition.
@pytest.mark.parametrize(
    ("units", "says"),
    [
        (DisplayUnits(), "Its first values will be read as 1.048 and 19.1\u202f°C."),
        (DisplayUnits("°P", "°F"), "Its first values will be read as 11.9\u202f°P and 66.4\u202f°F."),
    ],
)
def test_what_the_first_values_will_be_is_said_in_the_persons_units(log, units, says):
    head = import_preview.head(log)
    assert import_preview.read_as(head, import_preview.columns(head), units) == says


def test_a_wrong_unit_of_a_column_is_seen_at_once(log):
    head = import_preview.head(log)
    told = import_preview.read_as(head, {"extract_plato": "SG", "temperature_f": "temp"}, DisplayUnits())
    assert told == "Its first values will be read as 1.004 and −7.2\u202f°C."
    assert import_preview.read_as(head, {"measured_at": "timestamp"}, DisplayUnits()) == ""


def test_columns_in_the_persons_own_units_are_asked_for_first():
    for units, own, other in (
        (DisplayUnits(), "gravity_sg", "extract_plato"),
        (DisplayUnits("°Bx"), "extract_plato", "gravity_sg"),
    ):
        names = list(import_preview.labels(units))
        assert names.index(own) < names.index(other)
        assert set(names) == set(import_preview.LABELS)


def test_columns_that_bear_our_names_are_taken_as_they_are():
    head = pl.DataFrame({"measured_at": ["x"], "inclination_deg": [41.0], "device_id": ["kelp-1"], "mood": ["good"]})
    assert import_preview.columns(head) == {
        "measured_at": "measured_at",
        "inclination_deg": "inclination_deg",
        "device_id": "device_id",
    }


@pytest.mark.parametrize(("name", "content"), [("a.parquet", b"no parquet"), ("a.jsonl", b"{not json"), ("a.csv", b"")])
def test_a_file_that_cannot_be_read_is_said_so(tmp_path, name, content):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(ImportFileError, match="it cannot be read"):
        import_preview.head(path)


def facts(**changes: Any) -> dict[str, Any]:
    made: dict[str, Any] = {
        "name": "Spring ale",
        "drink": "ale",
        "yeast": "Marrow",
        "original_gravity_sg": 1.052,
        "pitched_at": None,
        "ended_at": None,
        "vessel": None,
    }
    return made | changes


def take_in(store, log, **changes):
    columns = import_preview.columns(import_preview.head(log))
    done = transfer.import_log(store, log, device_id="spring-ale", columns=columns)
    first, last = (datetime.fromisoformat(t) for t in (done.first_at, done.last_at))
    import_log._save_earlier(store, done.devices, first, last, facts(**changes), columns)
    return done


def test_an_earlier_batch_comes_with_its_readings_its_yeast_and_a_vessel_of_its_own(service, log):
    store = service.store
    take_in(store, log)
    [record] = store.finished_batches()
    assert (record.pitched_at, record.ended_at) == (
        datetime(2026, 3, 1, 10, tzinfo=UTC),
        datetime(2026, 3, 8, 10, 0, 1, tzinfo=UTC),
    )
    assert [v.name for v in store.all(Vessel)] == ["Log: Spring ale"]
    assert [y.name for y in store.all(Yeast)] == ["Marrow"]
    assert store.get(Device, "spring-ale").kind == "float"
    gravities = store.readings_of(record.batch_id)["gravity_sg"]
    assert gravities.len() == 8
    assert gravities[0] == pytest.approx(1.048, abs=0.001)


def test_one_undo_takes_back_everything_but_the_readings(service, log):
    store = service.store
    take_in(store, log)
    store.undo()
    for cls in (BatchRecord, Vessel, Yeast, Placement, Device):
        assert store.all(cls) == []
    assert store.counts()["readings"] == 8


def test_a_vessel_that_was_taken_then_is_refused_and_the_import_can_be_repeated(service, log):
    store = service.store
    vessel = store.save(Vessel(name="Vessel 1"))
    march = datetime(2026, 3, 5, tzinfo=UTC)
    store.save(BatchRecord(name="Other", vessel_id=vessel.vessel_id, pitched_at=march))
    with pytest.raises(EntryError, match="Vessel 1 is taken by Other"):
        take_in(store, log, vessel=vessel)
    assert store.finished_batches() == []
    again = take_in(store, log)
    assert (again.new, again.repeated) == (0, 8)
    assert [b.name for b in store.finished_batches()] == ["Spring ale"]


def test_a_second_log_of_the_same_name_gets_a_vessel_of_another(service, log):
    take_in(service.store, log)
    assert import_log._free_name(service.store, "Spring ale") == "Log: Spring ale 2"


def test_what_became_of_the_log_is_told_in_whole_sentences(service, log):
    done = take_in(service.store, log)
    said = import_log._said(done, Voice())
    assert said.startswith("8 of 8 rows are new readings. From Sun 1 Mar, 10:00 to Sun 8 Mar, 10:00.")


def test_a_zipped_export_is_taken_in_by_the_browser(service, page, tmp_path):
    with Store.in_memory() as other:
        other.save(Vessel(name="From elsewhere"))
        rules.save_rule(other, rules.rule_from({"topic": "barn/{device}", "temperature": {"value": "@", "unit": "°C"}}))
        transfer.export_cellar(other, tmp_path / "cellar")
    made = shutil.make_archive(str(tmp_path / "export"), "zip", tmp_path / "cellar")
    shown = page("set_up", part="import")
    shown.file_uploader[0].upload("cellar.zip", Path(made).read_bytes(), "application/zip").run()
    assert says_until_saved(shown, "Take the cellar in")
    assert "Not saved yet." in " ".join(str(each.value) for each in shown.get("html"))
    next(each for each in shown.button if each.label == "Take the cellar in").click().run()
    assert not shown.exception
    said, change_id = shown.session_state["said"]
    assert "one entry" in said
    assert change_id is not None
    assert [v.name for v in service.store.all(Vessel)] == ["From elsewhere"]
    assert [rule.topic for rule in service.pipeline.rules] == ["barn/{device}"]


def test_the_browser_asks_for_the_order_of_dates_and_names_no_option_of_the_terminal(service, page):
    shown = page("set_up", part="import")
    text = "Début,SG\n9/1/2026 18:00,1.050\n9/2/2026 18:00,1.048\n".encode("cp1252")
    shown.file_uploader[0].upload("old.csv", text, "text/csv").run()
    assert any("read as Windows-1252" in each.value for each in shown.get("html"))

    def pick(label: str, value: object) -> None:
        next(each for each in shown.selectbox if each.label == label).select(value).run()

    def take_in() -> str:
        next(each for each in shown.button if each.label == "Take it in").click().run()
        assert not shown.exception
        return " ".join(each.value for each in shown.get("html") if 'class="wrong"' in each.value)

    next(each for each in shown.text_input if each.label == "Name of the batch").input("Old").run()
    said = take_in()
    assert "Choose it under Time" in said
    assert "--" not in said
    pick("Time", "Début")
    said = take_in()
    assert "Choose the order of its dates" in said
    assert "Column &#39;Début&#39;" in said
    pick("Dates such as 9/1/2026 begin with", "month-first")
    assert take_in() == ""
    [batch] = service.store.finished_batches()
    assert batch.pitched_at == datetime(2026, 9, 1, 18, tzinfo=UTC)
