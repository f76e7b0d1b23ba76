"""Least-squares fits against certified values and measured fermentations."""

from __future__ import annotations

import csv
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from analysis import Batch, assess
from analysis.errors import ConvergenceError
from analysis.fitting import FERMENTATION, Curve, attenuation_curve, fit

HERE = Path(__file__).parent


def rows(name: str) -> list[dict[str, str]]:
    lines = (HERE / name).read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("# Source")
    return list(csv.DictReader(lines[1:]))


NIST = rows("nist_strd.csv")


def nist(dataset: str, kind: str, column: str = "value") -> np.ndarray:
    chosen = [r for r in NIST if r["dataset"] == dataset and r["kind"] == kind and not r["name"].startswith("residual")]
    return np.array([float(r[column]) for r in chosen])


def _growth(x: np.ndarray, p: np.ndarray) -> np.ndarray:
    return np.asarray(p[0] / (1.0 + np.exp(p[1] - p[2] * x)))


def _growth_jacobian(x: np.ndarray, p: np.ndarray) -> np.ndarray:
    e = np.exp(p[1] - p[2] * x)
    s = 1.0 / (1.0 + e)
    return np.column_stack([s, -p[0] * s * (1.0 - s), p[0] * s * (1.0 - s) * x])


def _growth_guess(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    top = 1.05 * float(np.max(y))
    logit = np.log(np.clip(y / top, 1e-3, 1 - 1e-3) / (1 - np.clip(y / top, 1e-3, 1 - 1e-3)))
    slope, level = np.polyfit(x, logit, 1)
    return np.array([top, -level, slope])


GROWTH = Curve("logistic growth", ("top", "shift", "rate"), _growth, _growth_jacobian, _growth_guess)
"""``y = b1 / (1 + exp(b2 - b3 x))``: rises from zero to `top`."""


def _richards(x: np.ndarray, p: np.ndarray) -> np.ndarray:
    return np.asarray(p[0] * np.exp(-np.log1p(np.exp(p[1] - p[2] * x)) / p[3]))


def _richards_jacobian(x: np.ndarray, p: np.ndarray) -> np.ndarray:
    e = np.exp(p[1] - p[2] * x)
    y = _richards(x, p)
    bend = -y * e / (1.0 + e) / p[3]
    return np.column_stack([y / p[0], bend, -bend * x, y * np.log1p(e) / p[3] ** 2])


def _richards_guess(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return np.append(_growth_guess(x, y), 1.0)


RICHARDS = Curve("Richards growth", ("top", "shift", "rate", "skew"), _richards, _richards_jacobian, _richards_guess)
"""``y = b1 / (1 + exp(b2 - b3 x))^(1 / b4)``: the logistic with a skew (F. J. Richards, 1959; from memory)."""


# NIST StRD, https://www.itl.nist.gov/div898/strd/: certified to eleven digits; 1e-5 relative on the estimates and
# 1e-3 on their standard errors is what a good general fitter must reach from both published starts.
@pytest.mark.parametrize("start", ["start 1", "start 2", "own guess"])
@pytest.mark.parametrize(("dataset", "curve"), [("Rat42", GROWTH), ("Rat43", RICHARDS)], ids=["Rat42", "Rat43"])
def test_the_fitter_reaches_the_certified_values(dataset: str, curve: Curve, start: str) -> None:
    x, y = nist(dataset, "data", "x"), nist(dataset, "data")
    first = None if start == "own guess" else nist(dataset, start)
    found = fit(curve, x, y, start=first)
    np.testing.assert_allclose(found.estimates, nist(dataset, "certified"), rtol=1e-5)
    np.testing.assert_allclose(found.standard_errors, nist(dataset, "certified", "std_error"), rtol=1e-3)
    [certified] = [r for r in NIST if r["dataset"] == dataset and r["name"].startswith("residual")]
    assert found.residual_sum == pytest.approx(float(certified["value"]), rel=1e-8)


# Valle et al. 2024, agave juice at 28 °C, and the four-parameter logistic fitted to it with another program
# (ordinary least squares): end, start, rate and middle, with the standard errors it gave.
AGAVE_FITS = {
    "agave28C_rep1": ((6.502, 123.198, 0.3059, 15.364), (0.504, 1.331, 0.0165, 0.170)),
    "agave28C_rep2": ((2.183, 125.398, 0.2514, 20.097), (0.861, 1.760, 0.0147, 0.288)),
    "agave28C_rep3": ((4.742, 111.411, 0.4450, 16.165), (0.420, 0.890, 0.0386, 0.097)),
}


@pytest.mark.parametrize("series", AGAVE_FITS)
def test_the_fermentation_logistic_agrees_with_a_second_fit_of_measured_agave_juice(series: str) -> None:
    points = [r for r in rows("agave.csv") if r["series"] == series]
    hours = np.array([float(r["hours"]) for r in points])
    sugar = np.array([float(r["total_sugar_g_l"]) for r in points])
    found = fit(FERMENTATION, hours, sugar)
    estimates, errors = AGAVE_FITS[series]
    # Printed to three or four digits.
    np.testing.assert_allclose(found.estimates, estimates, rtol=2e-4, atol=6e-4)
    np.testing.assert_allclose(found.standard_errors, errors, rtol=5e-3, atol=6e-4)


@pytest.mark.parametrize("curve", [FERMENTATION, GROWTH, RICHARDS], ids=lambda c: c.name)
def test_each_derivative_agrees_with_differences(curve: Curve) -> None:
    x = np.linspace(1.0, 60.0, 25)
    p = np.array({4: [5.0, 60.0, 0.2, 25.0], 3: [50.0, 2.0, 0.1]}[len(curve.parameters)])
    if curve is RICHARDS:
        p = np.array([50.0, 2.0, 0.1, 1.4])
    for k in range(p.size):
        step = np.zeros(p.size)
        step[k] = 1e-6 * abs(p[k])
        slope = (curve.value(x, p + step) - curve.value(x, p - step)) / (2 * step[k])
        np.testing.assert_allclose(curve.jacobian(x, p)[:, k], slope, rtol=1e-5, atol=1e-7)


# Ure's strong ale was still falling when the record stops: a least-squares end comes out at -14 °P with a standard
# error of 44 °P, so nobody can say from it alone when it will finish.
@pytest.mark.parametrize("drink", ["ale", "other"])
@pytest.mark.parametrize("original", [None, 1.1139], ids=["unknown gravity", "known gravity"])
def test_a_strong_ale_that_is_still_falling_gets_no_finish_without_experience(
    drink: str, original: float | None
) -> None:
    points = rows("strong_ale.csv")
    pitched = datetime(2026, 1, 1, tzinfo=UTC)
    readings = pl.DataFrame(
        {
            "measured_at": [pitched + timedelta(hours=float(r["hours"])) for r in points],
            "gravity_sg": [float(r["gravity_sg"]) for r in points],
            "temperature_c": [float(r["temperature_c"]) for r in points],
        }
    )
    batch = Batch(pitched_at=pitched, drink=drink, original_gravity_sg=original)  # type: ignore[arg-type]
    said = assess(readings, batch, now=pitched + timedelta(hours=408))
    assert said.finish is None
    assert not said.finished
    assert said.remaining_fall_sg is not None
    assert said.remaining_fall_sg.p10 > 0.002


def marked(hours: np.ndarray, gravity_sg: np.ndarray) -> pl.DataFrame:
    pitched = datetime(2026, 1, 1, tzinfo=UTC)
    return pl.DataFrame(
        {
            "measured_at": [pitched + timedelta(hours=float(h)) for h in hours],
            "gravity_sg": gravity_sg,
            "set_aside": pl.Series([None] * hours.size, dtype=pl.String),
        }
    )


def test_the_classical_curve_finds_what_drew_the_readings_and_says_how_well() -> None:
    truth = np.array([1.011, 1.052, 0.11, 40.0])
    hours = np.arange(0.5, 160, 0.5)
    noise = 0.0004 * np.random.default_rng(3).standard_normal(hours.size)
    found = attenuation_curve(marked(hours, FERMENTATION.value(hours, truth) + noise), datetime(2026, 1, 1, tzinfo=UTC))
    # Four of four estimates lie within 3.5 standard errors of the truth but once in about 500 draws.
    assert np.all(np.abs(found.estimates - truth) < 3.5 * found.standard_errors)
    assert found.standard_errors[0] < 1e-4


@pytest.mark.parametrize("until_h", [5.0, 30.0, 45.0])
def test_the_classical_curve_is_refused_before_the_readings_bend(until_h: float) -> None:
    # It bends most sharply ln(2 + sqrt(3)) / 0.11 = 12 h after its steepest point at 40 h.
    hours = np.arange(0.5, until_h, 0.25)
    noise = 0.0003 * np.random.default_rng(4).standard_normal(hours.size)
    readings = marked(hours, FERMENTATION.value(hours, np.array([1.011, 1.052, 0.11, 40.0])) + noise)
    with pytest.raises(ConvergenceError, match="do not bend towards an end yet"):
        attenuation_curve(readings, datetime(2026, 1, 1, tzinfo=UTC))


def test_the_classical_curve_of_the_strong_ale_that_still_falls_is_refused() -> None:
    points = rows("strong_ale.csv")
    read = marked(np.array([float(r["hours"]) for r in points]), np.array([float(r["gravity_sg"]) for r in points]))
    with pytest.raises(ConvergenceError):
        attenuation_curve(read, datetime(2026, 1, 1, tzinfo=UTC))


def test_what_was_set_aside_does_not_bend_the_classical_curve() -> None:
    hours = np.arange(0.5, 160, 0.5)
    truth = np.array([1.011, 1.052, 0.11, 40.0])
    read = marked(hours, FERMENTATION.value(hours, truth))
    odd = read.head(40).with_columns(gravity_sg=pl.lit(1.2), set_aside=pl.lit("spike"))
    found = attenuation_curve(pl.concat([read, odd]), datetime(2026, 1, 1, tzinfo=UTC))
    np.testing.assert_allclose(found.estimates, truth, rtol=1e-6)
