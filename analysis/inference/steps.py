"""What additions did to the gravity, as far as it is known before the course is weighed.

How far an addition moved the gravity is told by what it was and how much (mass balance), by a gravity read after it,
else by the readings on either side of it. None is taken for exact: the step is inferred together with the course, so
that where a stated size contradicts the readings, the readings decide.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from analysis.additions import (
    SUBSTANCES,
    VOLUME_SD,
    Contents,
    Portion,
    UnknownAdditionError,
    missing,
    portion,
    typical_portion,
)
from analysis.model import Batch, Event, Floats, events_of
from analysis.readings import Series, hours_of
from analysis.thresholds import (
    ADDITION_GIVEN_SD_SG,
    ADDITION_READ_SD_SG,
    ADDITION_READ_SHARE,
    ADDITION_SEEN_WITHIN_H,
    ADDITION_UNKNOWN_SD_SG,
)

_LEAST_SD_SG: Final = 0.0005
"""Error of a step that is reckoned from exact amounts, SG: half a point cannot be told from scatter."""


@dataclass(frozen=True, slots=True)
class Addition:
    """A feed or a dilution as it enters a course.

    The gravity moves at once by about `jump_sg` (`jump_sd_sg`); a share `diluted` of what was still to ferment is no
    longer there in a litre; of what was added, `fed_sg` ferments later on. `stated_sg` is the step that was told, by
    amount or by a gravity; None where the readings alone tell. `lacking` says what is not known of it.
    """

    at_h: float
    jump_sg: float
    diluted: float
    fed_sg: float = 0.0
    jump_sd_sg: float = _LEAST_SD_SG
    stated_sg: float | None = None
    stated_sd_sg: float = _LEAST_SD_SG
    event: Event | None = None
    brought: Portion | None = None
    """What it brought, kg, where that is known beside the volume of the drink."""
    lacking: tuple[str, ...] = ()

    def contradicted_by(self, seen_sg: float) -> bool:
        """Whether the step that the readings show is not the one that was told."""
        if self.stated_sg is None:
            return False
        return abs(seen_sg - self.stated_sg) > max(0.002, 3.0 * self.stated_sd_sg)


def additions_of(series: Series, batch: Batch, original_sg: float, now_h: float) -> tuple[Addition, ...]:
    """Feeds and dilutions so far, in time order."""
    made: list[Addition] = []
    contents = Contents.of_must(batch.volume_l or 1.0, original_sg)
    for event in events_of(batch, "feed", "dilute"):
        at = hours_of(event.at, batch)
        if not 0.0 <= at <= now_h:
            continue
        before = _nearest(series, at, later=False)
        before_sg = original_sg if before is None else before
        contents = contents.fermented_to(before_sg)
        one = _addition(series, event, batch, at, contents, (before_sg, before is not None))
        after = contents.with_added(one.brought) if one.brought is not None and not one.lacking else None
        contents = after or contents.with_step(typical_portion(event.added, event.kind, batch.drink), one.jump_sg)
        made.append(one)
    return tuple(made)


def _addition(
    series: Series, event: Event, batch: Batch, at: float, contents: Contents, before: tuple[float, bool]
) -> Addition:
    before_sg, read_before = before
    brought, lacking = _brought(event, batch)
    told: list[tuple[float, float]] = []
    if brought is not None:
        jump = contents.with_added(brought).gravity_sg - contents.gravity_sg
        relative = SUBSTANCES[event.added.substance].relative_sd if event.added is not None else 0.0
        told.append((jump, float(np.hypot(_LEAST_SD_SG, np.hypot(VOLUME_SD, relative) * jump))))
    if event.gravity_sg is not None:
        told.append((event.gravity_sg - before_sg, ADDITION_GIVEN_SD_SG if read_before else ADDITION_UNKNOWN_SD_SG))
    after_sg = _nearest(series, at, later=True)
    seen = after_sg - before_sg if after_sg is not None and read_before else None
    stated, stated_sd = _pooled(told)
    if stated is not None:
        jump, sd = stated, stated_sd
        if seen is not None:
            # Where what was told lies far from what is seen, it is doubted as much.
            sd = max(sd, 0.5 * abs(seen - stated) if abs(seen - stated) > 3.0 * sd else 0.0)
    elif seen is not None:
        jump = max(seen, 0.0) if event.kind == "feed" else min(seen, 0.0)
        sd = max(ADDITION_READ_SD_SG, ADDITION_READ_SHARE * abs(jump))
    else:
        jump, sd = 0.0, ADDITION_UNKNOWN_SD_SG
    diluted, fed = _effects(event, batch, brought, contents, jump)
    return Addition(at, jump, diluted, fed, sd, stated, stated_sd, event, brought, () if told else lacking)


def _brought(event: Event, batch: Batch) -> tuple[Portion | None, tuple[str, ...]]:
    """What it brought, or what is not known of it."""
    lacking = ("what was added and how much",) if event.added is None else missing(event.added)
    if batch.volume_l is None:
        lacking += ("the volume of the batch",)
    if lacking or event.added is None:
        return None, lacking
    try:
        return portion(event.added, batch.drink), ()
    except UnknownAdditionError as error:
        return None, error.missing


def _pooled(told: list[tuple[float, float]]) -> tuple[float | None, float]:
    """One step from the steps that were told, each with its error."""
    if not told:
        return None, _LEAST_SD_SG
    precision = [sd**-2 for _, sd in told]
    mean = sum(jump * weight for (jump, _), weight in zip(told, precision, strict=True)) / sum(precision)
    return mean, sum(precision) ** -0.5


def _effects(
    event: Event, batch: Batch, brought: Portion | None, contents: Contents, jump_sg: float
) -> tuple[float, float]:
    """Which share of what was still to ferment is no longer in a litre, and how far what was added will fall, SG."""
    added = brought
    if added is None:
        typical = typical_portion(event.added, event.kind, batch.drink)
        mixed = contents.with_step(typical, jump_sg)
        added = typical.times((mixed.mass_kg - contents.mass_kg) / typical.mass_kg)
    if added.mass_kg <= 0.0:
        return 0.0, max(jump_sg, 0.0) if event.kind == "feed" else 0.0
    mixed_kg = contents.mass_kg + added.mass_kg
    # A per cent of extract is about four points (plato_to_sg at the low end; within a tenth up to 30 °P).
    fed = 0.004 * 100.0 * added.fermentable_kg / mixed_kg
    return min(added.mass_kg / mixed_kg, 0.95), fed


def _nearest(series: Series, at_h: float, *, later: bool) -> float | None:
    """The level of the readings right before or after an addition; None where none is near.

    The level before it is carried on to the addition by the fall of the two bins that precede it.
    """
    t, g = series.hours, series.gravity_sg
    if later:
        near = np.flatnonzero((t >= at_h) & (t <= at_h + ADDITION_SEEN_WITHIN_H))
        return _carried(t, g, near[:2], at_h) if near.size else None
    near = np.flatnonzero((t < at_h) & (t >= at_h - ADDITION_SEEN_WITHIN_H))
    return _carried(t, g, near[-2:][::-1], at_h) if near.size else None


def _carried(t: Floats, g: Floats, two: NDArray[np.intp], at_h: float) -> float:
    """The level at `at_h` from the nearest bin and the one beyond it, by no more than the span between the two."""
    first = int(two[0])
    if two.size < 2:
        return float(g[first])
    second = int(two[1])
    slope = min((g[second] - g[first]) / (t[second] - t[first]), 0.0) if t[second] != t[first] else 0.0
    span = abs(t[second] - t[first])
    return float(g[first] + slope * float(np.clip(at_h - t[first], -span, span)))
