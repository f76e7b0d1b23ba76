"""What is compared: two rules of the trade, two least-squares fits, and the project's own assessment."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol

import numpy as np
import polars as pl
from scipy.optimize import curve_fit, least_squares
from scipy.stats import norm

from analysis.model import Batch

GUESS_H = {"ale": 165.0, "lager": 240.0, "mead": 360.0, "cider": 230.0, "wine": 330.0, "other": 200.0}
"""Hours from pitching to the finish where a method has no forecast: one fixed guess per drink."""


@dataclass(frozen=True)
class Answer:
    """What a method says at one look; hours count from pitching."""

    finished: bool = False
    stalled: bool = False
    p_finished: float = 0.0
    finish_h: tuple[float, float, float] | None = None
    kept: Any = None
    phase: str = ""


class Method(Protocol):
    """A method under evaluation; `kept` is what it handed back at the last look at the same run."""

    def __call__(self, readings: pl.DataFrame, batch: Batch, now: datetime, priors: Any, kept: Any) -> Answer:
        """Answer from the rows so far."""


def _hours(readings: pl.DataFrame, batch: Batch) -> tuple[np.ndarray, np.ndarray]:
    frame = readings.filter(~pl.col("by_hand") & pl.col("gravity_sg").is_not_null()).sort("measured_at")
    seconds = frame["measured_at"].dt.epoch("us").to_numpy() / 1e6 - batch.pitched_at.timestamp()
    return seconds / 3600, frame["gravity_sg"].to_numpy()


def rule_72h(readings: pl.DataFrame, batch: Batch, now: datetime, priors: Any, kept: Any) -> Answer:
    """Moved less than 0.001 SG over 72 h, on the readings as they are."""
    hours, gravity = _hours(readings, batch)
    at = (now - batch.pitched_at).total_seconds() / 3600
    inside = hours >= at - 72
    enough = inside.sum() >= 6 and hours[inside][0] < at - 66 and at > 72
    held = bool(enough and np.ptp(gravity[inside]) < 0.001)
    return Answer(held, False, float(held))


def rule_48h(readings: pl.DataFrame, batch: Batch, now: datetime, priors: Any, kept: Any) -> Answer:
    """Moved less than 0.001 SG over 48 h, on medians of 6 h."""
    hours, gravity = _hours(readings, batch)
    at = (now - batch.pitched_at).total_seconds() / 3600
    ago = np.floor((at - hours) / 6)
    medians = [float(np.median(gravity[ago == k])) for k in range(8) if (ago == k).any()]
    held = bool(at > 48 and len(medians) >= 6 and np.ptp(medians) < 0.001)
    return Answer(held, False, float(held))


def _hourly(hours: np.ndarray, gravity: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    frame = pl.DataFrame({"b": np.floor(hours / 2), "h": hours, "g": gravity})
    frame = frame.group_by("b", maintain_order=True).agg(pl.col("h").mean(), pl.col("g").median())
    return frame["h"].to_numpy(), (frame["g"].to_numpy() - 1) * 1000


def _four(t: np.ndarray, end: float, fall: float, rate: float, middle: float) -> np.ndarray:
    return np.asarray(end + fall / (1 + np.exp(np.clip(rate * (t - middle), -60, 60))))


def _five(t: np.ndarray, end: float, fall: float, rate: float, middle: float, skew: float) -> np.ndarray:
    return np.asarray(end + fall / (1 + np.exp(np.clip(rate * (t - middle), -60, 60))) ** skew)


def _start(t: np.ndarray, g: np.ndarray, kept: Any, size: int) -> np.ndarray:
    if kept is not None:
        return np.asarray(kept)
    top, low = float(g[:5].max()), float(g[-5:].min())
    fall = max(top - low, 1.0)
    middle = float(t[int(np.argmin(np.abs(g - (top + low) / 2)))])
    return np.array([low, fall, 0.05, middle, 1.0])[:size]


def logistic_four(readings: pl.DataFrame, batch: Batch, now: datetime, priors: Any, kept: Any) -> Answer:
    """Four-parameter logistic by least squares; the finish is where a point is left, its error by propagation."""
    t, g = _hourly(*_hours(readings, batch))
    at = (now - batch.pitched_at).total_seconds() / 3600
    try:
        best, cov = curve_fit(_four, t, g, p0=_start(t, g, kept, 4), maxfev=400)
        _, fall, rate, middle = best
        if rate <= 0 or fall <= 1:
            return Answer()
        finish = middle + np.log(fall - 1) / rate
        slope = np.array([0.0, 1 / (rate * (fall - 1)), -np.log(fall - 1) / rate**2, 1.0])
        spread = float(np.sqrt(slope @ cov @ slope))
    except (RuntimeError, ValueError, TypeError):
        return Answer()
    return _from_normal(float(finish), spread, at, best)


def logistic_five(readings: pl.DataFrame, batch: Batch, now: datetime, priors: Any, kept: Any) -> Answer:
    """Five-parameter logistic, robust loss."""
    t, g = _hourly(*_hours(readings, batch))
    at = (now - batch.pitched_at).total_seconds() / 3600
    low = np.array([-40.0, 5.0, 0.008, -100.0, 0.05])
    high = np.array([80.0, 200.0, 1.0, 1.5 * at + 60, 5.0])
    start = np.clip(_start(t, g, kept, 5), low + 1e-6, high - 1e-6)
    try:
        fit = least_squares(
            lambda p: _five(t, *p) - g, start, bounds=(low, high), loss="soft_l1", f_scale=0.7, max_nfev=60, x_scale=[
                10, 30, 0.05, 30, 1]
        )  # fmt: skip
    except ValueError:
        return Answer()

    def finish_of(p: np.ndarray) -> float:
        ratio = max(p[1], 1.01) ** (1 / p[4]) - 1
        return float(p[3] + np.log(max(ratio, 1e-12)) / p[2])

    ridge = np.diag(1 / np.array([20.0, 50.0, 0.1, 50.0, 1.0]) ** 2)
    cov = np.linalg.inv(fit.jac.T @ fit.jac / max(2 * fit.cost / max(len(t) - 5, 1), 1e-3) + ridge)
    slope = np.array([(finish_of(fit.x + d) - finish_of(fit.x)) / 1e-5 for d in np.eye(5) * 1e-5])
    spread = float(np.sqrt(max(slope @ cov @ slope, 0.0)))
    return _from_normal(finish_of(fit.x), spread, at, fit.x)


def _from_normal(finish: float, spread: float, at: float, kept: Any) -> Answer:
    if not (np.isfinite(finish) and np.isfinite(spread)) or finish > 24 * 120:
        return Answer()
    spread = min(max(spread, 0.1), 24 * 60)
    far = 1.2816 * spread
    chance = float(norm.cdf((at - finish) / spread))
    return Answer(finish < at, False, chance, (finish - far, finish, finish + far), kept)


def project(readings: pl.DataFrame, batch: Batch, now: datetime, priors: Any, kept: Any) -> Answer:
    """The project's own `analysis.assess`."""
    from analysis import assess

    said = assess(readings, batch, now=now, priors=priors, previous=kept)
    hours = None
    if said.finish is not None:
        hours = tuple(
            (w - batch.pitched_at).total_seconds() / 3600
            for w in (said.finish.p10, said.finish.p50, said.finish.p90 or said.finish.last)
        )
    return Answer(said.finished, said.stalled, said.p_finished or 0.0, hours, said, said.phase)  # type: ignore[arg-type]


METHODS: dict[str, tuple[str, Method]] = {
    "72h": ("72 h rule of the trade", rule_72h),
    "48h": ("48 h rule on 6-hour medians", rule_48h),
    "four": ("4-parameter logistic, least squares", logistic_four),
    "five": ("5-parameter, robust loss", logistic_five),
    "ours": ("tunroom", project),
}
