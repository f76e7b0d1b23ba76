"""Why we say so: sentences with numbers that a brewer can check by hand, and what to do next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np

from analysis.assessment.decision import STOOD_H
from analysis.attenuation import attenuation_course, gravity_at_attenuation
from analysis.inference import Prior
from analysis.model import HOLD_H, Batch, Creep, Forecast, Phase, Range, events_of
from analysis.readings import Hold


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What the sentences are made from."""

    batch: Batch
    now: datetime
    held: Hold
    p_finished: float
    p_halted: float
    finished: bool
    by_hold: bool
    stalled: bool
    called: bool
    fell_sg: float
    fell_since_h: float | None
    stands_since_h: float | None
    phase: Phase
    prior: Prior
    attenuation: float
    original_sg: float
    gravity: Range
    terminal: Range
    left: Range
    forecast: Forecast | None
    chill_h: float | None
    usual_c: float
    temperature_c: float | None
    creep: Creep | None
    float_off_sg: float | None
    later_c: float


FLOAT_OFF_SG: Final = 0.0012
"""A float further off than this, by what we infer, is worth a sentence: the course runs beside its points then."""


WARMER_C: Final = 1.0
"""A change of temperature that is reckoned with is worth a sentence from here on."""


def sentences(facts: Facts) -> tuple[str, ...]:
    """The evidence for the verdict."""
    said: list[str] = []
    held = facts.held
    if held.since_h is not None:
        said.append(
            f"Over the last {int(held.held_h)} h the gravity moved by {abs(held.moved_sg):.4f} "
            f"± {held.moved_se_sg:.4f} SG "
            f"({'of at least' if held.held_h >= facts.batch.hold_h else 'of'} {facts.batch.hold_h:.0f} h asked)."
        )
    if facts.fell_since_h is not None:
        ago_h = (facts.now - facts.batch.pitched_at).total_seconds() / 3600 - facts.fell_since_h
        said.append(
            f"It has fallen by {1000 * facts.fell_sg:.1f} points since it {'was called' if facts.called else 'seemed'}"
            f" finished {_ago(ago_h)} ago. What was read counts: it is not finished until it has held anew."
        )
    said.append(f"{_percent(facts.attenuation)} apparent attenuation so far; {_where(facts)}.")
    said.append(
        f"Chance that less than 0.001 SG is left: {_chance(facts.p_finished)}; "
        f"still to fall: {facts.left.p50:.4f} SG ({facts.left.p10:.4f} to {facts.left.p90:.4f})."
    )
    if facts.by_hold:
        said.append(
            f"It has held for the {HOLD_H:.0f} h of common practice, about where such a batch ends:"
            " what may still come is little more than a float can show."
        )
    if facts.chill_h is not None and facts.temperature_c is not None:
        said.append(
            f"At {facts.temperature_c:.1f} °C it is {facts.usual_c - facts.temperature_c:.1f} °C colder than where it"
            " fermented: a plateau in the cold is no evidence, so this rests on what was read before the cooling began."
        )
    ending = facts.prior.ending
    if ending is not None and facts.forecast is not None and not facts.finished:
        alike = "one earlier batch" if ending.batches == 1 else f"{ending.batches} earlier batches"
        said.append(
            f"The last stretch, from nine tenths of the fall to the end, takes about {np.exp(ending.usual):.1f} times"
            f" as long as the stretch from half to nine tenths, going by {alike} of its kind."
        )
    if facts.forecast is not None and not facts.finished and abs(facts.later_c) >= WARMER_C:
        said.append(
            f"Earlier batches of this drink were about {abs(facts.later_c):.0f} °C"
            f" {'warmer' if facts.later_c > 0 else 'colder'} from here on, those that were kept alike so far;"
            " the dates reckon with it."
        )
    if facts.stalled:
        said.append(
            f"It stopped about {_points(facts.left.p50)} above the likely end of {facts.terminal.p50:.3f}; "
            f"chance that it is a halt and not the end: {_chance(facts.p_halted)}."
        )
    if facts.stands_since_h is not None and held.held_h < STOOD_H:
        stood_h = (facts.now - facts.batch.pitched_at).total_seconds() / 3600 - facts.stands_since_h
        said.append(
            f"It has stood for about {stood_h:.0f} h, going by the course as a whole;"
            f" from one half-day to the next the readings show {int(held.held_h)} h of it."
        )
    if facts.creep is not None:
        said.append(
            f"Since the dry hop it has fallen by about {facts.creep.fall_sg.p50:.4f} SG beyond the fermentation itself."
        )
    if facts.float_off_sg is not None and abs(facts.float_off_sg) >= FLOAT_OFF_SG:
        side = "above" if facts.float_off_sg > 0 else "below"
        said.append(
            f"The float reads about {_points(abs(facts.float_off_sg))} {side} what we take for the true"
            " gravity, going by the original gravity, hand samples and what is usual; a hand sample settles it."
        )
    return tuple(said)


def advice(facts: Facts) -> tuple[str, ...]:
    """What to do, first things first."""
    if facts.stalled:
        return (
            "Take a hand sample first: a stuck float looks the same.",
            "If the sample agrees, warm the vessel by 2 to 3 °C and look again after a day.",
            "Gentle rousing of the yeast may help after that; it can let oxygen in, and a vessel full of gas can gush.",
            "A forced fermentation test, a warm side sample with much fresh yeast, tells within two or three days"
            " where it can end.",
        )
    tested = events_of(facts.batch, "forced test", until=facts.now)
    if not facts.finished and facts.phase == "steady" and facts.p_finished > 0.1 and not tested:
        return (
            "It cannot be told yet whether this is the end. A forced fermentation test, a warm side sample with much"
            " fresh yeast, settles it within two or three days.",
        )
    return ()


def _where(facts: Facts) -> str:
    # What is believed is a share of the gravity points; beside the attenuation it is told by extract too.
    ends = [gravity_at_attenuation(facts.original_sg, share) for share in facts.prior.attenuation]
    low, high = (float(attenuation_course(max(facts.original_sg, 1.001), end)) for end in ends)
    place = "within" if low <= facts.attenuation <= high else "below" if facts.attenuation < low else "above"
    if facts.prior.same_yeast:
        source = f"of your last {_batches(facts.prior.same_yeast)} with this yeast"
    elif facts.prior.same_drink:
        source = f"of your earlier {_batches(facts.prior.same_drink)} of this drink"
    else:
        source = "that is usual for this drink"
    if facts.batch.expected_attenuation is not None:
        source += " and of the range you expect"
    return f"{place} the {_percent(low)} to {_percent(high)} {source}"


def _ago(hours: float) -> str:
    return f"about {hours / 24:.0f} days" if hours >= 48 else f"{hours:.0f} h"


def _points(fall_sg: float) -> str:
    count = f"{1000 * fall_sg:.0f}"
    return f"{count} {'point' if count == '1' else 'points'}"


def _batches(count: int) -> str:
    return "batch" if count == 1 else f"{count} batches"


def _percent(share: float) -> str:
    return f"{100 * share:.0f}\u202f%"


def _chance(p: float) -> str:
    """As a percentage; nothing that is inferred is quite impossible or quite certain."""
    return "less than 1\u202f%" if p < 0.01 else "more than 99\u202f%" if p > 0.99 else _percent(p)
