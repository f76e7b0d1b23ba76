from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from analysis.units import temperature_corrected_sg
from sample_data.cellar import demo_cellar
from sample_data.demo_model import DemoCellar

ANCHOR = datetime(2031, 5, 14, 9, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def cellar() -> DemoCellar:
    return demo_cellar(ANCHOR, 7)


def test_the_demo_shows_every_state_that_matters(cellar: DemoCellar) -> None:
    states = {b.state for b in cellar.current()}
    assert states >= {
        "just pitched", "active", "slowing", "awaiting hops", "creeping", "stalled", "finished",
    }  # fmt: skip
    assert len(cellar.earlier()) >= 9
    assert len(cellar.yeasts) == 3
    assert {b.drink for b in cellar.batches} == {"ale", "mead", "cider"}


def test_a_vessel_never_holds_two_batches_at_once(cellar: DemoCellar) -> None:
    for vessel in cellar.vessels:
        here = [b for b in cellar.batches if b.vessel_name == vessel.name]
        for before, after in pairwise(here):
            assert before.ended_at is not None
            assert before.ended_at <= after.pitched_at


def test_split_batches_are_pitched_together(cellar: DemoCellar) -> None:
    for name in {b.split_of for b in cellar.batches if b.split_of}:
        assert len({b.pitched_at for b in cellar.batches if b.split_of == name}) == 1


def test_truth_agrees_with_the_state_of_each_current_batch(cellar: DemoCellar) -> None:
    seconds = np.array([ANCHOR.timestamp()])
    for batch in cellar.current():
        now = float(batch.true_at(seconds)[0][0])
        left = now - float(batch.truth_sg[-1])
        if batch.state in ("finished", "awaiting hops"):
            assert left < 0.001, batch.name
        elif batch.state == "creeping":
            assert 0.001 < left < 0.005, batch.name
        elif batch.state == "stalled":
            assert left < 0.002, batch.name
            assert now > 1.025, batch.name
        else:
            assert left > 0.002, batch.name


def test_what_a_device_says_is_a_function_of_time(cellar: DemoCellar) -> None:
    again = demo_cellar(ANCHOR, 7)
    since, until = ANCHOR - timedelta(days=2), ANCHOR + timedelta(days=2)
    for one, other in zip(cellar.devices, again.devices, strict=True):
        whole = one.samples(since, until)
        assert whole == other.samples(since, ANCHOR) + other.samples(ANCHOR, until)
        assert len({s.measured_at for s in whole}) == len(whole)


def test_a_float_read_through_its_calibration_tells_the_true_gravity(cellar: DemoCellar) -> None:
    for device in cellar.devices:
        if device.kind != "float" or not device.stays:
            continue
        batch = device.stays[-1]
        said = device.samples(ANCHOR - timedelta(hours=6), ANCHOR)
        warm = np.array([s.temperature_c for s in said])
        if device.reports_inclination:
            degrees, gravity = np.array(device.calibration).T
            read = np.polyval(np.polyfit(degrees, gravity, 2), [s.inclination_deg for s in said])
        else:
            read = np.array([s.gravity_sg for s in said])
        read = np.asarray(temperature_corrected_sg(read, warm))
        true, _ = batch.true_at(np.array([s.measured_at.timestamp() for s in said]))
        assert float(np.mean(read - true)) == pytest.approx(0, abs=0.0025)


def test_samples_over_a_live_stretch_come_as_often_as_asked(cellar: DemoCellar) -> None:
    said = cellar.devices[0].samples(ANCHOR, ANCHOR + timedelta(hours=1), every_s=120)
    assert len(said) == 30
