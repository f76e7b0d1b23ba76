from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.calibration import REFRACTOMETER_SD_SG, check_points, inclination_curve, offset, refractometer_sg
from analysis.display_units import DisplayUnits
from analysis.errors import CalibrationError
from analysis.units import plato_to_sg, sg_to_plato
from tests.examples import examples

POINTS = ((25.2, 1.000), (31.9, 1.020), (40.8, 1.042), (52.3, 1.066), (61.0, 1.090))

# Data set RPN 14 of F. N. Fritsch and R. E. Carlson, "Monotone Piecewise Cubic Interpolation", SIAM J. Numer. Anal. 17
# (1980), 238-246 (from memory): flat, steep, flat, so that an ordinary cubic spline overshoots.
RPN_X = (7.99, 8.09, 8.19, 8.7, 9.2, 10.0, 12.0, 15.0, 20.0)
RPN_Y = (0.0, 2.76429e-5, 4.37498e-2, 0.169183, 0.469428, 0.943740, 0.998636, 0.999919, 0.999994)

# Two regressions that turn an original and a present refractometer reading (°Bx) into gravity, both quoted from memory:
# L. K. Bonham, "The Use of Handheld Refractometers by Homebrewers" (2001), and S. Terrill's cubic of 2011.
PUBLISHED = {
    "Bonham": lambda i, f: (
        1.001843 - 0.002318474 * i - 7.775e-6 * i**2 - 3.4e-8 * i**3 + 0.00574 * f + 3.344e-5 * f**2 + 8.6e-8 * f**3
    ),
    "Terrill": lambda i, f: (
        1 - 0.0044993 * i + 0.011774 * f + 0.00027581 * i**2 - 0.0012717 * f**2 - 7.28e-6 * i**3 + 6.3293e-5 * f**3
    ),
}


def true_gravity(inclination_deg):
    """An invented float: gravity rises faster and faster with inclination."""
    x = (np.asarray(inclination_deg) - 25) / 40
    return 1.0 + 0.08 * x + 0.03 * x**2


# -- the curve


def test_the_curve_passes_through_its_points():
    curve = inclination_curve(POINTS)
    said = curve.gravity_sg([p[0] for p in POINTS])
    np.testing.assert_allclose(said, [p[1] for p in POINTS], atol=1e-12)
    assert (curve.low_deg, curve.high_deg) == (25.2, 61.0)


def test_the_curve_does_not_overshoot_where_a_cubic_spline_does():
    points = [(x, 1.0 + 0.09 * y) for x, y in zip(RPN_X, RPN_Y, strict=True)]
    curve = inclination_curve(points)
    fine = curve.gravity_sg(np.linspace(7.99, 20.0, 2000))
    assert np.all(np.diff(fine) >= 0)
    assert (fine.min(), fine.max()) == (pytest.approx(1.0), pytest.approx(1.0 + 0.09 * 0.999994))


@given(st.lists(st.tuples(st.floats(10, 80), st.floats(0.99, 1.16)), min_size=2, max_size=9))
@settings(max_examples=examples(50), deadline=None)
def test_any_accepted_curve_never_turns(points):
    try:
        curve = inclination_curve(points)
    except CalibrationError:
        return
    step = np.diff(curve.gravity_sg(np.linspace(curve.low_deg - 5, curve.high_deg + 5, 400)))
    assert np.all(step >= -1e-12) or np.all(step <= 1e-12)


@pytest.mark.parametrize("count", [5, 7, 9])
def test_the_standard_error_covers_what_the_curve_misses_between_points(count):
    rng = np.random.default_rng(count)
    within, misses = [], []
    for _ in range(40):
        inclination = np.linspace(25, 65, count)
        points = list(zip(inclination, true_gravity(inclination) + rng.normal(0, 0.0007, count), strict=True))
        curve = inclination_curve(points)
        between = np.linspace(26, 64, 50)
        miss = curve.gravity_sg(between) - true_gravity(between)
        assert curve.standard_error_sg is not None
        within.append(np.mean(np.abs(miss) < 2 * curve.standard_error_sg))
        misses.append(np.sqrt(np.mean(miss**2)))
    assert np.mean(within) > 0.9
    assert np.mean(misses) < 0.001


def test_a_falling_curve_is_as_good_as_a_rising_one():
    curve = inclination_curve([(90 - d, g) for d, g in POINTS])
    np.testing.assert_allclose(curve.gravity_sg(90 - 45.0), inclination_curve(POINTS).gravity_sg(45.0))


def test_outside_the_points_the_curve_goes_on_straight_and_says_so():
    curve = inclination_curve(POINTS)
    said = curve.gravity_sg(np.array([61.0, 63.0, 65.0]))
    assert said[2] - said[1] == pytest.approx(said[1] - said[0])
    assert said[1] > said[0]
    assert curve.extrapolated(np.array([20.0, 25.2, 61.0, 61.1, np.nan])).tolist() == [True, False, False, True, False]


def test_nan_stays_nan_and_the_shape_stays():
    curve = inclination_curve(POINTS)
    assert np.isnan(curve.gravity_sg(np.array([np.nan, 40.8]))).tolist() == [True, False]
    assert curve.gravity_sg(np.zeros((0,))).shape == (0,)


def test_readings_of_one_inclination_are_averaged_and_small_slips_levelled():
    curve = inclination_curve([(25.0, 1.000), (25.0, 1.001), (30.0, 1.0), (45.0, 1.05)])
    assert curve.gravity_sg(25.0) == pytest.approx(1.00025)
    assert curve.gravity_sg(30.0) == pytest.approx(1.00025)


def test_two_points_make_a_line_without_an_error_to_tell():
    curve = inclination_curve([(25.0, 1.0), (45.0, 1.05)])
    assert curve.gravity_sg(35.0) == pytest.approx(1.025)
    assert curve.standard_error_sg is None


@pytest.mark.parametrize(
    ("points", "sentence"),
    [
        ([], "points at two inclinations at least"),
        ([(25.0, 1.0)], "points at two inclinations at least"),
        ([(25.0, 1.0), (25.0, 1.05)], "points at two inclinations at least"),
        ([(25.0, 1.0), (30.0, 1.02), (40.0, 1.01), (50.0, 1.06)], r"30° = 1\.020 and 40° = 1\.010 contradict"),
        ([(25.0, 1.0), (60.0, 1.001)], "about the same gravity"),
        ([(25.0, 1.0), (60.0, 1060)], "gravity 1060; the usual range"),
        ([(25.0, 1.0), (float("nan"), 1.05)], "a pair of two numbers"),
        ([(25.0, 1.0), (60.0, 1.05, 3)], "a pair of two numbers"),
    ],
)
def test_points_that_make_no_curve_are_refused_with_the_reason(points, sentence):
    with pytest.raises(CalibrationError, match=sentence):
        check_points("inclination", points)


# -- offsets


def test_ice_water_and_a_reference_make_a_line_through_both():
    line = offset("temperature offset", [(0.4, 0.0), (37.1, 37.0)])
    np.testing.assert_allclose(line.at([0.4, 37.1]), [0.0, 37.0], atol=1e-12)
    assert 19.5 < float(line.at(20.0)) < 20.0


def test_one_point_makes_a_shift():
    shift = offset("temperature offset", [(0.4, 0.0)])
    assert shift.at([0.4, 20.4]).tolist() == pytest.approx([0.0, 20.0])
    assert offset("gravity offset", [(1.012, 1.010), (1.014, 1.012)]).at(1.05) == pytest.approx(1.048)


def test_a_third_point_tells_the_error():
    line = offset("temperature offset", [(0.0, 0.1), (20.0, 19.9), (40.0, 40.1)])
    assert line.standard_error == pytest.approx(np.sqrt(6) * 0.2 / 3)  # left over: 1, −2 and 1 times 0.2 / 3


@pytest.mark.parametrize(
    ("kind", "points", "sentence"),
    [
        ("temperature offset", [], "one point at least"),
        ("temperature offset", [(68.0, 20.0)], "more than 10\u202f°C is not an offset"),
        ("temperature offset", [(0.0, 0.0), (20.0, 15.0)], "that is no offset"),
        ("gravity offset", [(1.05, 1.09)], r"more than 30\.0 points"),
    ],
)
def test_offsets_that_no_sound_instrument_has_are_refused(kind, points, sentence):
    with pytest.raises(CalibrationError, match=sentence):
        check_points(kind, points)


# -- the refractometer


@pytest.mark.parametrize("name", PUBLISHED)
@pytest.mark.parametrize(("original_bx", "present_bx"), [(10, 4.7), (12, 5.8), (13, 6.5), (15, 8), (18, 9), (20, 10)])
def test_under_alcohol_the_gravity_agrees_with_published_regressions_within_two_errors(name, original_bx, present_bx):
    ours = refractometer_sg(present_bx, float(plato_to_sg(float(original_bx))))
    assert ours == pytest.approx(PUBLISHED[name](original_bx, present_bx), abs=2 * REFRACTOMETER_SD_SG)


@pytest.mark.parametrize("original_plato", [8.0, 12.0, 18.0, 28.0])
def test_before_any_alcohol_a_refractometer_reads_the_extract(original_plato):
    gravity = float(plato_to_sg(original_plato))
    assert refractometer_sg(original_plato, gravity) == pytest.approx(gravity, abs=1e-6)
    assert refractometer_sg(1.04 * original_plato, gravity, wort_factor=1.04) == pytest.approx(gravity, abs=1e-6)


def test_a_wine_may_end_below_water():
    assert refractometer_sg(7.2, 1.090) < 1.0
    assert sg_to_plato(1.0) < 0.01


@pytest.mark.parametrize(
    ("reading", "original", "sentence"),
    [
        (16.0, 1.050, "above that before pitching"),
        (75.0, 1.050, "reading_bx is 75"),
        (8.0, 50.0, "original_gravity_sg is 50"),
    ],
)
def test_readings_that_do_not_belong_together_are_refused(reading, original, sentence):
    with pytest.raises(ValueError, match=sentence):
        refractometer_sg(reading, original)


@pytest.mark.parametrize(
    ("kind", "points", "says"),
    [
        # 1.020 is 5.1 °Bx and 1.010 is 2.6 °Bx (ICUMSA densities); 68 °F is 20 °C by definition.
        ("inclination", [(25.0, 1.0), (30.0, 1.02), (40.0, 1.01), (50.0, 1.06)], r"30° = 5\.0\d+\s°Bx and 40° = 2\.5"),
        ("inclination", [(25.0, 1.0), (60.0, 1.26)], r"°Bx; the usual range is −2\.6\d? to 36\.3\s°Bx"),
        ("temperature offset", [(20.0, 0.0)], r"said 68\s°F where 32\s°F was true; more than 18\s°F"),
        ("gravity offset", [(1.05, 1.09)], r"said 12\.\d+\s°Bx .* more than 7\.\d\s°Bx"),
    ],
)
def test_what_is_wrong_is_said_in_the_units_in_which_it_was_typed(kind, points, says):
    with pytest.raises(CalibrationError) as refused:
        check_points(kind, points)
    told = refused.value.in_units(DisplayUnits("°Bx", "°F"))
    assert re.search(says, told), told
    assert not re.search(r"\bSG\b|°C|\bpoints of\b", told)
