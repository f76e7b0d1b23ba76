"""Milestones against closed forms, sums by hand, and the course that a batch was made from."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from analysis import Batch, Event, assess
from analysis.trials import MILESTONES, Course, course_milestones, estimate_of, milestone_rows, milestones_of
from analysis.units import sg_to_plato
from tests.analysis.curves import PITCHED, at, every_half_hour, s_curve, sent

PUBLISHED = Path(__file__).parents[2] / "published" / "milestones_closed_form.csv"


def closed_forms() -> list[tuple[str, dict[str, float], str, float]]:
    """The closed forms of the 4P curve: case, its parameters, which quantity, its value."""
    lines = [line for line in PUBLISHED.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    found = []
    for row in csv.DictReader(lines):
        given = {name: float(row[name]) for name in ("initial_plato", "end_plato", "b_per_h", "middle_h")}
        found.append((row["case"], given, row["quantity"], float(row["value"])))
    return found


def logistic(hours: np.ndarray, given: dict[str, float]) -> np.ndarray:
    fall = given["initial_plato"] - given["end_plato"]
    return given["end_plato"] + fall / (1 + np.exp(given["b_per_h"] * (hours - given["middle_h"])))


# The curve's upper plateau is its original extract, long before zero: the course begins there, so that its hours are
# those of the closed forms.
@pytest.mark.parametrize(("case", "given", "quantity", "value"), closed_forms())
def test_the_milestones_of_a_logistic_are_its_closed_forms(case, given, quantity, value):
    hours = np.arange(-400.0, 600.0, 0.25)
    read = course_milestones(Course(hours, logistic(hours, given)[None, :]))
    got = getattr(read, quantity)[0]
    if value < 0 and quantity == "lag_h":  # no lag can be stated: none is shown
        assert np.isnan(got)
    else:
        assert got == pytest.approx(value, rel=1e-4, abs=0.01)


def test_what_was_added_counts_neither_as_fall_nor_as_rise():
    # By hand: 12 °P falls to 8, sugar lifts it by 3 at hour 20, and it falls to 5: ten ferment.
    hours = np.array([0.0, 10.0, 20.0, 20.01, 30.0, 50.0])
    extract = np.array([[12.0, 10.0, 8.0, 11.0, 7.0, 5.0]])
    still = np.array([False, False, True, False, False])
    read = course_milestones(Course(hours, extract, still))
    assert read.half_h[0] == pytest.approx(20.01 + 9.99 / 4.0, abs=1e-9)
    assert read.greatest_rate_plato_day[0] == pytest.approx(24 * 4.0 / 9.99)
    # 90 % is 9 °P: 4 by hour 20, 4 more by hour 30, then 2 over 20 hours.
    assert read.ninety_h[0] == pytest.approx(40.0)


def test_a_normal_posterior_has_its_standard_deviation_as_error():
    values = np.random.default_rng(3).normal(40.0, 2.0, 20_000)
    found = estimate_of(values, np.full(values.size, 1.0))
    assert found is not None
    assert found.standard_error == pytest.approx(2.0, rel=0.03)
    assert (found.p10, found.p90) == (pytest.approx(40 - 2.563, abs=0.1), pytest.approx(40 + 2.563, abs=0.1))


def test_a_time_that_one_course_in_five_never_reaches_is_not_told():
    values = np.concatenate([np.full(80, 100.0), np.full(20, np.inf)])
    assert estimate_of(values, np.full(100, 0.01)) is None


HOURS = every_half_hour(12.0)
TRUE = s_curve(HOURS, original=1.051, end=1.011, middle_h=48.0, width_h=10.0)
BATCH = Batch(pitched_at=PITCHED, original_gravity_sg=1.051, yeast="Marrow", drink="ale")


@pytest.fixture(scope="module")
def ended():
    readings = sent(HOURS, TRUE, temperature_c=np.where(HOURS < 48.0, 18.0, 22.0))
    now = at(float(HOURS[-1]))
    assessment = assess(readings, BATCH, now=now)
    assert assessment.finished
    return assessment, milestones_of(readings, BATCH, now=assessment.now, finished=assessment.finished)


def test_the_milestones_of_a_batch_are_those_of_the_course_behind_it(ended):
    _, found = ended
    fine = np.arange(0.0, 24.0 * 12, 0.1)
    truth = course_milestones(
        Course(fine, sg_to_plato(s_curve(fine, original=1.051, end=1.011, middle_h=48.0, width_h=10.0))[None, :])
    )
    for name in ("lag_h", "half_h", "ninety_h", "greatest_rate_plato_day"):
        estimate, true = getattr(found, name), float(getattr(truth, name)[0])
        # The interval is a claim: three standard errors, and no vaguer than an eighth of the value.
        assert abs(estimate.value - true) < 3 * estimate.standard_error + 0.02 * true, name
        assert estimate.standard_error < 0.125 * true, name


def test_attenuation_and_alcohol_are_those_of_the_two_gravities(ended):
    _, found = ended
    # By hand from 1.051 (12.59 °P) and 1.011 (2.81 °P) by Balling: real extract 4.58 °P.
    assert found.apparent_attenuation.value == pytest.approx(1 - 2.81 / 12.59, abs=0.02)
    assert found.real_attenuation.value == pytest.approx(1 - 4.58 / 12.59, abs=0.02)
    assert found.alcohol_abv_pct.value == pytest.approx(
        (12.59 - 4.58) / (2.0665 - 0.010665 * 12.59) * 1.011 / 0.7907, abs=0.15
    )
    # The original gravity's error alone, one division of a hydrometer, is 0.13 % vol.
    assert found.alcohol_abv_pct.standard_error > 0.1


def test_the_temperature_is_that_of_the_hours_in_which_it_fell(ended):
    # Half of the fall is done at 48 h, at 18 °C, the other half at 22 °C, while most of the twelve days are at 22 °C.
    assert ended[1].temperature_c.value == pytest.approx(20.0, abs=0.3)


def test_the_finish_is_that_of_the_assessment(ended):
    assessment, found = ended
    told = (assessment.finish.p50 - PITCHED).total_seconds() / 3600
    assert abs(found.finish_h.value - told) < 2 * found.finish_h.standard_error


def test_what_lies_ahead_is_not_told():
    seen = HOURS < 50.0
    readings = sent(HOURS[seen], TRUE[seen])
    found = milestones_of(readings, BATCH, now=at(50.0), finished=False)
    assert found.ninety_h is None
    assert found.finish_h is None
    assert found.terminal_gravity_sg is None
    assert found.alcohol_abv_pct is None
    assert found.lag_h is not None or found.half_h is None


def test_how_warm_it_was_while_it_fell_is_not_told_before_it_has_fallen():
    for until_h, told in ((14.0, False), (60.0, True)):
        seen = until_h > HOURS
        found = milestones_of(sent(HOURS[seen], TRUE[seen]), BATCH, now=at(until_h), finished=False)
        assert (found.temperature_c is not None) == told, until_h


def test_few_readings_give_wider_errors_and_two_none_at_all(ended):
    _, found = ended
    few = sent(HOURS[::96], TRUE[::96])
    sparse = milestones_of(few, BATCH, now=at(float(HOURS[-1])), finished=True)
    for name in ("half_h", "ninety_h"):
        assert getattr(sparse, name).standard_error > getattr(found, name).standard_error, name
    # One reading within the fall: its steepness would be that of other batches.
    assert sparse.lag_h is None
    assert sparse.greatest_rate_plato_day is None
    two = sent(HOURS[::400], TRUE[::400])
    assert milestones_of(two, BATCH, now=at(float(HOURS[-1])), finished=False).told == ()


def test_hop_creep_is_told_beside_hops_only(ended):
    assert ended[1].hop_creep_sg is None
    crept = TRUE - 0.004 * -np.expm1(-np.maximum(HOURS - 120.0, 0.0) / 40.0)
    batch = Batch(
        pitched_at=PITCHED,
        original_gravity_sg=1.051,
        yeast="Marrow",
        drink="ale",
        events=(Event("dry hop", at(120.0)),),
    )
    found = milestones_of(sent(HOURS, crept), batch, now=at(float(HOURS[-1])), finished=True)
    assert found.hop_creep_sg.p10 < 0.004 < found.hop_creep_sg.p90 + 0.001


def test_rows_have_the_units_of_the_table(ended):
    rows = milestone_rows(ended[1])
    assert {row["milestone"]: row["unit"] for row in rows}.items() <= {m.name: m.unit for m in MILESTONES}.items()
    assert all(row["p10"] <= row["value"] <= row["p90"] for row in rows)
