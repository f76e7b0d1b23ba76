from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from analysis.calibration import inclination_curve
from dashboard.charts import calibration
from dashboard.wording import voice_of
from ingest.model import BatchRecord, CalibrationRecord, Device, HandSample, Placement, Preferences, Report, Vessel
from tests.dashboard.conftest import says_until_saved

NOW = datetime.now(UTC).replace(microsecond=0)
SOUND = [(25.0, 1.000), (37.5, 1.025), (50.0, 1.050), (75.0, 1.100)]


def html_of(shown):
    return " ".join(str(each.value) for each in shown.get("html"))


@pytest.fixture
def device(service):
    store = service.store
    made = store.save(Device(device_id="kelp-1", kind="float"))
    store.keep([Report(device_id="kelp-1", measured_at=NOW, received_at=NOW, inclination_deg=40.0, temperature_c=0.4)])
    return made


def enter(shown, points, said="Point {}: it says, °", true="Point {}: gravity, SG"):
    for n, (a, b) in enumerate(points, 1):
        next(i for i in shown.number_input if i.label == said.format(n)).set_value(a)
        next(i for i in shown.number_input if i.label == true.format(n)).set_value(b)
    shown.run()
    assert not shown.exception


def save(shown, which):
    [b for b in shown.button if b.label == "Save the calibration"][which].click()
    shown.run()
    assert not shown.exception


def test_points_make_a_curve_with_its_error_and_what_it_says_now(service, device, page):
    shown = page("sensors", device="kelp-1")
    enter(shown, SOUND)
    text = html_of(shown)
    assert "Standard error 0.0000\u202fSG" in text  # the points lie on one line
    assert "At 40.0°, what it says now, the gravity is 1.030." in text
    save(shown, 0)
    [kept] = service.store.all(CalibrationRecord)
    assert kept.kind == "inclination"
    assert kept.points == tuple(SOUND)
    service.store.undo()
    assert service.store.all(CalibrationRecord) == []


def test_points_that_contradict_one_another_are_refused_with_the_reason(service, device, page):
    shown = page("sensors", device="kelp-1")
    enter(shown, [(25.0, 1.000), (37.5, 1.050), (50.0, 1.025), (75.0, 1.100)])
    text = html_of(shown)
    assert "contradict one another" in text
    assert next(b for b in shown.button if b.label == "Save the calibration").disabled
    assert service.store.all(CalibrationRecord) == []


def test_a_half_filled_point_is_asked_to_be_completed(service, device, page):
    shown = page("sensors", device="kelp-1")
    enter(shown, SOUND[:3])
    assert "Not saved yet." in html_of(shown)
    next(i for i in shown.number_input if i.label == "Point 4: it says, °").set_value(75.0)
    shown.run()
    assert "Not saved yet." in html_of(shown)
    assert says_until_saved(shown, "Save the calibration")
    assert "A point is only half filled in." in html_of(shown)
    assert next(b for b in shown.button if b.label == "Save the calibration").disabled


def test_ice_water_and_a_reference_make_a_probes_offset(service, page):
    store = service.store
    store.save(Device(device_id="wall-2", kind="probe"))
    store.keep([Report(device_id="wall-2", measured_at=NOW, received_at=NOW, temperature_c=20.5)])
    shown = page("sensors", device="wall-2")
    said = [i for i in shown.number_input if i.label.endswith("it says, °C")]
    true = [i for i in shown.number_input if i.label.endswith(": true, °C")]
    assert true[0].value == 0.0  # ice water
    said[0].set_value(0.4)
    said[1].set_value(20.5)
    true[1].set_value(20.0)
    shown.run()
    assert "Where it says 20.5\u202f°C it is 20.0\u202f°C." in html_of(shown)
    save(shown, 0)
    [kept] = store.all(CalibrationRecord)
    assert (kept.kind, kept.points) == ("temperature offset", ((0.4, 0.0), (20.5, 20.0)))


def test_a_calibration_can_be_removed_again(service, device, page):
    service.store.save(CalibrationRecord(device_id="kelp-1", kind="inclination", points=tuple(SOUND)))
    shown = page("sensors", device="kelp-1")
    next(b for b in shown.button if b.label == "Remove").click()
    shown.run()
    assert service.store.all(CalibrationRecord) == []


def test_a_hand_sample_can_be_let_go_as_an_anchor(service, device, page):
    store = service.store
    vessel = store.save(Vessel(name="Vessel 1"))
    begun = NOW - timedelta(days=2)
    batch = store.save(BatchRecord(name="Harbour Pale", vessel_id=vessel.vessel_id, pitched_at=begun))
    store.save(Placement(device_id="kelp-1", vessel_id=vessel.vessel_id, from_at=begun))
    sample = store.save(HandSample(batch_id=batch.batch_id, at=NOW - timedelta(hours=3), value=1.03))
    shown = page("sensors", device="kelp-1")
    tick = next(c for c in shown.checkbox if "Harbour Pale: 1.030 SG" in c.label)
    assert tick.value is True
    assert says_until_saved(shown, tick.label)
    tick.uncheck()
    shown.run()
    assert not shown.exception
    assert store.get(HandSample, sample.sample_id).anchors_float is False


def test_the_picture_marks_what_lies_beyond_the_points():
    curve = inclination_curve(SOUND)
    figure = calibration.curve_figure(curve, SOUND, 80.0, voice_of(Preferences()), "light")
    by_name = {}
    for trace in figure.data:
        by_name.setdefault(trace.name, []).append(trace)
    assert next(min(t.x) for t in by_name["beyond the points"]) < 25
    assert max(by_name["beyond the points"][1].x) > 75
    assert (min(by_name["curve"][0].x), max(by_name["curve"][0].x)) == (25, 75)
    assert list(by_name["your points"][0].y) == [g for _, g in SOUND]
    assert "lies beyond your points" in calibration.in_words(curve, 80.0, voice_of(Preferences()))


def test_two_points_are_said_to_have_no_error_that_can_be_told():
    curve = inclination_curve(SOUND[:2])
    assert "its error cannot be told" in calibration.in_words(curve, None, voice_of(Preferences()))


def test_several_calibrations_are_listed_and_the_one_that_holds_gives_the_gravity(service, device, page):
    curves = {
        None: ((20.0, 1.0), (60.0, 1.1)),
        NOW - timedelta(days=1): ((25.0, 1.0), (75.0, 1.1)),
        NOW + timedelta(days=1): ((30.0, 1.0), (90.0, 1.1)),
    }
    for since, points in curves.items():
        record = CalibrationRecord(device_id="kelp-1", kind="inclination", points=points, from_at=since)
        service.store.save(record)
    text = html_of(page("sensors", device="kelp-1"))
    assert text.count("<b>Inclination to gravity</b>") == 3
    # 40° on the straight line from 25° = 1.000 to 75° = 1.100.
    assert "<dt>Gravity by its curve</dt><dd>1.030</dd>" in text


def test_two_curves_that_both_hold_always_do_not_break_the_page(service, device, page):
    for low in (20.0, 25.0):
        points = ((low, 1.0), (75.0, 1.1))
        service.store.save(CalibrationRecord(device_id="kelp-1", kind="inclination", points=points))
    assert html_of(page("sensors", device="kelp-1")).count("<b>Inclination to gravity</b>") == 2


def test_each_field_of_a_point_says_of_which_point_and_of_what(service, device, page):
    labels = [i.label for i in page("sensors", device="kelp-1").number_input]
    assert len(set(labels) - {"Point 1: it says, °C", "Point 2: it says, °C"}) == len(labels) - 2
    for asked in ("Point 4: gravity, SG", "Point 1: hydrometer, SG", "Point 2: true, °C"):
        assert asked in labels
