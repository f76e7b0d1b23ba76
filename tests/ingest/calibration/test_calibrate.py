from __future__ import annotations

import csv
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from analysis import assess
from analysis.calibration import inclination_curve, refractometer_sg
from analysis.units import plato_to_sg, temperature_corrected_sg
from ingest.calibration.calibrate import CALIBRATED
from ingest.calibration.hand_samples import sampled_gravity, samples_said
from ingest.model import BatchRecord, CalibrationRecord, Device, EventRecord, HandSample, Placement, Report, Vessel
from ingest.store.store import Store

T = datetime(2026, 3, 1, 10, tzinfo=UTC)
HOUR = timedelta(hours=1)
POINTS = ((25.0, 1.000), (35.0, 1.020), (45.0, 1.045), (60.0, 1.090))
PUBLISHED = Path(__file__).parents[2] / "published" / "hydrometer_correction.csv"


@pytest.fixture
def store():
    with Store.in_memory() as opened:
        opened.save(Vessel(vessel_id="v", name="Vessel"))
        opened.save(Device(device_id="float", kind="float", name="Cork"))
        opened.save(BatchRecord(batch_id="b", name="B", vessel_id="v", pitched_at=T, original_gravity_sg=1.05))
        opened.save(Placement(device_id="float", vessel_id="v", from_at=T))
        yield opened


def send(store: Store, device_id: str = "float", hours=range(48), **said) -> None:
    """One report an hour; a value may be a function of the hour."""
    store.keep(
        [
            Report(
                device_id=device_id,
                measured_at=T + h * HOUR,
                received_at=T + h * HOUR,
                **{name: value(h) if callable(value) else value for name, value in said.items()},
            )
            for h in hours
        ]
    )


def gravity(store: Store, *, by_hand: bool = False) -> np.ndarray:
    frame = store.readings_of("b")
    return frame.filter(pl.col("by_hand") == by_hand)["gravity_sg"].to_numpy()


# -- curves and offsets, per device and period


def test_an_inclination_becomes_gravity_along_the_devices_curve(store):
    store.save(CalibrationRecord(device_id="float", kind="inclination", points=POINTS))
    send(store, inclination_deg=lambda h: 55.0 - h / 2, temperature_c=20.0)
    frame = store.readings_of("b")
    assert frame.schema == CALIBRATED
    expected = inclination_curve(POINTS).gravity_sg(np.array([55.0 - h / 2 for h in range(48)]))
    np.testing.assert_allclose(frame["gravity_sg"], expected, atol=1e-6)
    assert set(frame["device_id"]) == {"float"}


def test_a_corrected_calibration_corrects_the_past(store):
    record = store.save(CalibrationRecord(device_id="float", kind="inclination", points=POINTS))
    send(store, inclination_deg=35.0, temperature_c=20.0)
    before = gravity(store)
    store.save(replace(record, points=((25.0, 1.0), (35.0, 1.025), (60.0, 1.09))))
    np.testing.assert_allclose(gravity(store) - before, 0.005, atol=1e-6)
    store.undo()
    np.testing.assert_array_equal(gravity(store), before)


def test_a_calibration_counts_from_its_start_until_the_next_of_its_kind(store):
    for hour, shift in ((None, 0.0), (10, 0.002), (20, -0.001)):
        store.save(
            CalibrationRecord(
                device_id="float",
                kind="gravity offset",
                from_at=None if hour is None else T + hour * HOUR,
                points=((1.02, 1.02 + shift),),
            )
        )
    send(store, gravity_sg=1.02, hours=range(30))
    np.testing.assert_allclose(gravity(store), [1.02] * 10 + [1.022] * 10 + [1.019] * 10)


def test_an_inclination_without_a_calibration_gives_no_gravity_and_says_what_to_do(store):
    send(store, inclination_deg=40.0, temperature_c=20.0)
    told = store.calibrated("b")
    assert told.readings["gravity_sg"].null_count() == 48
    assert told.readings["temperature_c"].null_count() == 0
    [note] = told.notes
    assert note.startswith("Cork: 48 readings have an inclination but no calibration, so they give no gravity.")


def test_readings_beyond_the_calibrated_points_are_pointed_out(store):
    store.save(CalibrationRecord(device_id="float", kind="inclination", points=POINTS))
    send(store, inclination_deg=lambda h: 61.0 if h < 3 else 50.0, temperature_c=20.0)
    told = store.calibrated("b")
    assert told.readings["extrapolated"].to_list() == [True] * 3 + [False] * 45
    [note] = told.notes
    assert note.startswith("Cork: 3 readings lie outside the calibrated inclinations, 25° to 60°")


def test_a_probes_offset_moves_its_temperatures(store):
    store.save(Device(device_id="probe", kind="probe"))
    store.save(Placement(device_id="probe", vessel_id="v", from_at=T))
    store.save(CalibrationRecord(device_id="probe", kind="temperature offset", points=((0.4, 0.0), (37.4, 37.0))))
    send(store, "probe", temperature_c=20.4)
    np.testing.assert_allclose(store.readings_of("b")["temperature_c"], 20.0)


# -- temperature


def test_gravity_is_corrected_for_temperature_once_and_not_twice(store):
    send(store, gravity_sg=1.05, temperature_c=30.0)
    expected = temperature_corrected_sg(1.05, 30.0)
    assert expected > 1.0525
    np.testing.assert_allclose(gravity(store), expected)
    store.save(replace(store.get(Device, "float"), corrects_temperature=True))
    np.testing.assert_array_equal(gravity(store), 1.05)


def test_without_a_temperature_the_gravity_stays_as_it_is(store):
    send(store, gravity_sg=1.05)
    np.testing.assert_array_equal(gravity(store), 1.05)


@pytest.fixture
def with_probe(store):
    store.save(Device(device_id="probe", kind="probe"))
    store.save(Placement(device_id="probe", vessel_id="v", from_at=T))
    send(store, "float", gravity_sg=1.05, temperature_c=25.0)
    quarter = [h / 4 + 0.1 for h in range(12 * 4)]
    send(store, "probe", hours=quarter, temperature_c=lambda h: 10.0 + h)
    return store


def test_a_probe_in_the_liquid_counts_for_the_float_joined_by_time(with_probe):
    told = with_probe.calibrated("b")
    assert told.temperature_from == "probe"
    floats = told.readings.filter(pl.col("device_id") == "float")
    np.testing.assert_allclose(floats["temperature_c"][1:12], [10.0 + h for h in range(1, 12)])
    np.testing.assert_allclose(floats["gravity_sg"][1:12], temperature_corrected_sg(1.05, np.arange(11.0, 22.0)))
    assert floats["temperature_c"][0] == pytest.approx(10.1)  # the nearest, 6 minutes on
    assert floats["temperature_c"][-1] == 25.0  # the probe fell silent long before: the float's own
    assert told.readings.filter(pl.col("device_id") == "probe")["gravity_sg"].null_count() == 48


def test_a_probe_around_the_vessel_says_nothing_of_the_liquid(with_probe):
    with_probe.save(replace(with_probe.get(Device, "probe"), situation="around the vessel"))
    told = with_probe.calibrated("b")
    assert told.temperature_from is None
    assert set(told.readings["temperature_c"]) == {25.0}
    assert set(told.readings["device_id"]) == {"float"}


@pytest.mark.parametrize("chosen", ["float", "probe"])
def test_the_vessel_says_whose_temperature_counts(with_probe, chosen):
    with_probe.save(replace(with_probe.get(Device, "probe"), situation="around the vessel"))
    with_probe.save(replace(with_probe.get(Vessel, "v"), temperature_from=chosen))
    told = with_probe.calibrated("b")
    assert told.temperature_from == chosen
    at_ten = told.readings.filter((pl.col("device_id") == "float") & (pl.col("measured_at") == T + 10 * HOUR))
    assert at_ten["temperature_c"].item() == pytest.approx(25.0 if chosen == "float" else 20.0)


def test_of_two_floats_at_one_time_the_one_that_says_more_counts(store):
    store.save(Device(device_id="other", kind="float", name="Bung"))
    store.save(Placement(device_id="other", vessel_id="v", from_at=T))
    send(store, "float", gravity_sg=1.05, temperature_c=20.0)
    send(store, "other", hours=range(40, 60), gravity_sg=1.03, temperature_c=20.0)
    told = store.calibrated("b")
    by_device = dict(told.readings.group_by("device_id").len().iter_rows())
    assert by_device == {"float": 48, "other": 12}  # alone only after hour 47
    assert told.notes == ("Cork and Bung share the vessel; while both speak, Cork counts.",)


# -- hand samples


def rows_of_published_table() -> list[dict[str, str]]:
    lines = PUBLISHED.read_text(encoding="utf-8").splitlines()
    return [row for row in csv.DictReader(lines[1:]) if 0 <= float(row["temperature_c"]) <= 40]


@pytest.mark.parametrize("row", rows_of_published_table(), ids=lambda r: f"{r['extract_plato']}P-{r['temperature_c']}C")
def test_a_hydrometer_read_warm_or_cold_agrees_with_the_table(row):
    sample = HandSample(batch_id="b", at=T, value=float(row["reading_sg"]), temperature_c=float(row["temperature_c"]))
    assert sampled_gravity(sample, "ale", None).gravity_sg == pytest.approx(float(row["true_sg"]), abs=1e-4)


def test_scales_agree_with_one_another(store):
    def sampled(value, unit, **more):
        sample = HandSample(batch_id="b", at=T, value=value, unit=unit, temperature_c=20.0, **more)
        return sampled_gravity(sample, "ale", None).gravity_sg

    assert sampled(12.0, "°P") == pytest.approx(plato_to_sg(12.0), abs=1e-6)
    # National Bureau of Standards, Circular C440, table 114 (from memory): 10.0 °Bx is 1.0400 at 20/20 °C.
    assert sampled(10.0, "°Bx") == pytest.approx(1.0400, abs=1e-4)
    assert sampled(1046.5, "kg/m³") == pytest.approx(1046.5 / 998.2031, abs=1e-6)
    # 60 °F is 15.56 °C, where water weighs 999.01 kg/m³ against 998.20 at 20 °C (CRC Handbook, from memory): a scale
    # for 60/60 °F in water of 20 °C floats deeper by their ratio, and its glass has grown by 25e-6 a °C.
    in_water = 998.2031 / 999.012 * (1 + 25e-6 * 4.44)
    assert sampled(in_water, "SG", reference="60/60 °F") == pytest.approx(1.0, abs=2e-5)


def test_a_refractometer_needs_the_original_gravity(store):
    sample = HandSample(batch_id="b", at=T, instrument="refractometer", value=8.0, unit="°Bx")
    told = sampled_gravity(sample, "ale", None)
    assert told.gravity_sg is None
    assert "original gravity" in told.doubt
    with_original = sampled_gravity(sample, "cider", 1.060).gravity_sg
    assert 1.0 < with_original < 1.02
    store.save(sample)
    [row] = store.readings_of("b").to_dicts()
    assert row["by_hand"]
    assert row["device_id"] == sample.sample_id


def test_a_refractometer_goes_by_all_extract_that_was_in_by_then(store):
    def said(*events, volume_l=20.0, at=T):
        record = BatchRecord(
            name="b", vessel_id="v", pitched_at=T - HOUR, original_gravity_sg=1.060, volume_l=volume_l, drink="mead"
        )
        sample = HandSample(batch_id="b", at=at, instrument="refractometer", value=9.0, unit="°Bx")
        return samples_said([sample], record, events)[sample.sample_id]

    fed = EventRecord(batch_id="b", kind="feed", at=T - HOUR / 2, added="sucrose", amount_g=2000.0)
    # By hand: 20 L × 1.060 × 0.9982 = 21.162 kg at 14.74 °P is 3.119 kg; with 2 kg of sugar 5.119 in 23.162 kg, which
    # is 22.10 °P or 1.0924 (ASBC cubic).
    expected = refractometer_sg(9.0, 1.0924)
    assert said(fed).gravity_sg == pytest.approx(expected, abs=3e-4)
    assert said().gravity_sg == pytest.approx(refractometer_sg(9.0, 1.060), abs=1e-6)
    assert said(fed, at=T - HOUR).gravity_sg == pytest.approx(refractometer_sg(9.0, 1.060), abs=1e-6)
    unknown = said(replace(fed, amount_g=None))
    assert unknown.gravity_sg is None
    assert "how much" in unknown.doubt
    assert said(fed, volume_l=None).gravity_sg is None


def test_a_sample_shifts_the_float_visibly_and_removably(store):
    send(store, gravity_sg=1.020, temperature_c=20.0)
    store.save(EventRecord(batch_id="b", kind="float moved", at=T + 12 * HOUR))
    sample = store.save(HandSample(batch_id="b", at=T + 24 * HOUR, value=1.016, temperature_c=20.0))
    # From the sample on, and back to the event that may have shifted the float; no further.
    expected = np.where(np.arange(48) < 12, 1.020, 1.016)
    np.testing.assert_allclose(gravity(store), expected, atol=1e-6)
    [anchor] = store.calibrated("b").anchors
    assert (anchor.sample_id, anchor.device_id, anchor.used) == (sample.sample_id, "float", True)
    assert anchor.shift_sg == pytest.approx(-0.004, abs=1e-6)
    assert gravity(store, by_hand=True) == pytest.approx([1.016], abs=1e-6)
    store.save(replace(sample, anchors_float=False))
    np.testing.assert_allclose(gravity(store), 1.020, atol=1e-6)
    assert store.calibrated("b").anchors == ()
    store.undo()
    store.remove(sample)
    np.testing.assert_allclose(gravity(store), 1.020, atol=1e-6)


def test_readings_until_a_moment_know_nothing_of_a_later_sample(store):
    send(store, gravity_sg=1.020, temperature_c=20.0)
    for hour, value in ((10, 1.018), (30, 1.014)):
        before = store.readings_of("b", until=T + (hour - 1) * HOUR)
        store.save(HandSample(batch_id="b", at=T + hour * HOUR, value=value, temperature_c=20.0))
        assert store.readings_of("b", until=T + (hour - 1) * HOUR).equals(before)
        assert not store.readings_of("b").head(before.height).equals(before)


def test_looking_with_a_hydrometer_does_not_end_a_hold(store):
    """A float that has been off by three points all along: the sample must not look like a fall."""
    rng = np.random.default_rng(1)
    noise = rng.normal(0, 0.0004, 24 * 9)
    store.save(replace(store.get(Device, "float"), corrects_temperature=True))
    send(
        store,
        hours=range(24 * 9),
        gravity_sg=lambda h: float(1.015 + 0.038 / (1 + np.exp((h - 40) / 9)) + noise[h]),
        temperature_c=20.0,
    )
    now = T + 24 * 9 * HOUR
    before = assess(store.readings_of("b"), store.batch("b"), now=now)
    store.save(HandSample(batch_id="b", at=T + 24 * 8 * HOUR, value=1.012, temperature_c=20.0))
    after = assess(store.readings_of("b"), store.batch("b"), now=now)
    assert before.hold_met
    assert after.hold_met
    assert after.held_h > 0.8 * before.held_h
    assert after.gravity_sg.p50 == pytest.approx(1.012, abs=0.001)
    assert after.hand_sample_agrees


def test_a_sample_in_a_steep_fall_is_compared_at_its_own_moment(store):
    send(store, gravity_sg=lambda h: 1.060 - 0.001 * h, temperature_c=20.0)
    store.save(HandSample(batch_id="b", at=T + 20 * HOUR, value=1.042, temperature_c=20.0))
    assert store.calibrated("b").anchors[0].shift_sg == pytest.approx(0.002, abs=1e-5)


def test_one_odd_reading_beside_a_sample_does_not_move_the_anchor(store):
    send(store, gravity_sg=lambda h: 1.055 if h == 26 else 1.020, temperature_c=20.0)
    store.save(HandSample(batch_id="b", at=T + 24 * HOUR, value=1.018, temperature_c=20.0))
    assert store.calibrated("b").anchors[0].shift_sg == pytest.approx(-0.002, abs=2e-4)


def test_between_two_samples_a_float_drifts_and_across_a_dry_hop_it_steps(store):
    send(store, gravity_sg=1.020, temperature_c=20.0, hours=range(60))
    for hour, value in ((10, 1.018), (30, 1.016), (50, 1.021)):
        store.save(HandSample(batch_id="b", at=T + hour * HOUR, value=value, temperature_c=20.0))
    store.save(EventRecord(batch_id="b", kind="dry hop", at=T + 40 * HOUR))
    shift = gravity(store) - 1.020
    np.testing.assert_allclose(shift[:10], -0.002, atol=1e-6)
    np.testing.assert_allclose(shift[[10, 15, 20, 30]], [-0.002, -0.0025, -0.003, -0.004], atol=1e-6)
    np.testing.assert_allclose(shift[30:40], -0.004, atol=1e-6)
    np.testing.assert_allclose(shift[40:], 0.001, atol=1e-6)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"value": 1.060}, "too far apart for an offset"),
        ({"degassed": False}, "Not degassed"),
    ],
)
def test_a_doubtful_sample_moves_nothing_and_says_why(store, changes, sentence):
    send(store, gravity_sg=1.020, temperature_c=20.0)
    store.save(replace(HandSample(batch_id="b", at=T + 24 * HOUR, value=1.018, temperature_c=20.0), **changes))
    np.testing.assert_allclose(gravity(store), 1.020, atol=1e-6)
    assert sentence in store.calibrated("b").notes[0]
    assert gravity(store, by_hand=True).size == 1


def test_an_empty_batch_has_an_empty_frame(store):
    told = store.calibrated("b")
    assert told.readings.schema == CALIBRATED
    assert told.readings.is_empty()
    assert told.notes == ()
