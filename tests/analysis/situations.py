"""Assessments and batches for the tests of planning: a finish that lies ahead, one that was seen, a renewed fall."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from statistics import NormalDist
from typing import Any

from analysis.display_units import DisplayUnits
from analysis.model import Assessment, Batch, Creep, Event, Forecast, HandReading, Range
from analysis.planning import Hold, PackageOn, Plan
from analysis.wording import caution, reason

NOW = datetime(2026, 3, 3, 12, tzinfo=UTC)  # a Tuesday
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)


def normal(mean_h: float, sd_h: float, reached: float = 1.0) -> Forecast:
    """A finish that lies `mean_h` ahead, and never comes with the chance 1 - reached."""
    shares = [n / 200 for n in range(1, 200)]
    instants = [(NOW + NormalDist(mean_h, sd_h).inv_cdf(p) * HOUR).timestamp() for p in shares]
    return Forecast(tuple(instants), tuple(p * reached for p in shares))


def assessed(**given: Any) -> Assessment:
    usual: dict[str, Any] = {
        "now": NOW,
        "phase": "slowing",
        "finished": False,
        "stalled": False,
        "p_finished": 0.1,
        "finish": normal(30, 15),
        "held_since": None,
        "held_h": 0.0,
        "hold_met": False,
        "gravity_sg": None,
        "terminal_gravity_sg": None,
        "remaining_fall_sg": None,
        "original_gravity_sg": None,
        "apparent_attenuation": None,
        "temperature_c": 20.0,
        "evidence": (),
        "newest_reading_at": NOW,
    }
    return Assessment(**{**usual, **given})


def done(held_h: float = 60.0, **given: Any) -> Assessment:
    usual: dict[str, Any] = {
        "phase": "finished",
        "finished": True,
        "p_finished": 0.97,
        "finish": normal(-held_h - 6, 4),
        "held_since": NOW - held_h * HOUR,
        "held_h": held_h,
        "hold_met": held_h >= 48,
        "remaining_fall_sg": Range(0.0, 0.0003, 0.0008),
        "held_sg": 1.010,
    }
    return assessed(**{**usual, **given})


def sampled(hours_ago: float = 1.0, gravity_sg: float = 1.010) -> HandReading:
    """A degassed sample, read by hand."""
    return HandReading(NOW - hours_ago * HOUR, gravity_sg)


def sure(held_h: float = 60.0, **given: Any) -> Assessment:
    """Finished, seen to hold, and confirmed by a hand sample just now."""
    return done(held_h, **{"hand_sample_agrees": True, "hand_samples": (sampled(),), **given})


def creeping(**given: Any) -> Assessment:
    usual: dict[str, Any] = {
        "phase": "creeping",
        "p_finished": 0.05,
        "finish": normal(60, 30),
        "creep": Creep(Range(0.001, 0.002, 0.003), NOW - DAY),
    }
    return assessed(**{**usual, **given})


def batch(*events: Event, **given: Any) -> Batch:
    return Batch(**{"pitched_at": NOW - 8 * DAY, "drink": "ale", "events": events, **given})


def hops_in(days_ago: float) -> Event:
    return Event("dry hop", NOW - days_ago * DAY)


def hops_out(days_ago: float) -> Event:
    return Event("hops out", NOW - days_ago * DAY)


def free_day(day: date) -> PackageOn:
    """The reason of a plan that packages on the first free day."""
    return PackageOn(day=day, hold=Hold(48.0), rest_days=0.0, crash_days=0.0, chance=0.9, waited=False)


def why(made: Plan) -> str:
    """The plan's reason in words."""
    return reason(made.reason, DisplayUnits())


def blocks(made: Plan) -> str:
    """What blocks the plan, in words."""
    return reason(made.blocked_by, DisplayUnits())


def heeds(made: Plan) -> list[str]:
    """The plan's cautions in words."""
    return [caution(each) for each in made.cautions]
