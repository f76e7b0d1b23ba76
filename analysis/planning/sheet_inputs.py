"""The packaging sheet of a batch, filled in from its data: every number stands to be changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from analysis.model import Assessment, Batch
from analysis.packaging import FollowUp, SheetInputs, inputs_of, lesson
from analysis.planning.release import Condition, release_of_the_gravity


def prefill(
    assessment: Assessment,
    batch: Batch,
    *,
    now: datetime,
    volume_l: float | None = None,
    jurisdiction: str | None = None,
    altitude_m: float | None = None,
    earlier: Sequence[FollowUp] = (),
) -> SheetInputs:
    """What is known of a batch; still to be checked, as the person may change all of it.

    Parameters
    ----------
    assessment, batch
        The newest of both.
    now
        When it is packaged: finish and hold count only if the gravity was read within the day before. Without such a
        reading it is not said whether it has finished, and the hold does not count.
    volume_l, jurisdiction, altitude_m
        From the batch's record and the person's preferences; what was added counts on top of the volume where all
        amounts are known.
    earlier
        Test bottles of earlier lots with the same yeast; see `analysis.packaging.follow_up.lesson`.
    """
    gate = release_of_the_gravity(assessment, batch, now=now)
    fresh = gate.holds(Condition.READING_FRESH)
    return replace(
        inputs_of(assessment, batch, fresh=fresh),
        jurisdiction=jurisdiction,
        altitude_m=altitude_m,
        volume_l=volume_l if assessment.volume_l is None else round(assessment.volume_l, 2),
        finished=(True if fresh else None) if gate.ended else False,
        hold_met=gate.holds(Condition.HOLD_SEEN) and fresh,
        hand_sample=gate.holds(Condition.HAND_SAMPLE_AGREES),
        warmest_c=_warmest_since_end(assessment),
        remaining_fall_sg=_remaining(assessment, earlier),
    )


def _remaining(assessment: Assessment, earlier: Sequence[FollowUp]) -> float | None:
    least, _ = lesson(earlier)
    fall = assessment.remaining_fall_sg
    if fall is None:
        return least or None
    return round(max(0.0, fall.p90, least), 4)


def _warmest_since_end(assessment: Assessment) -> float | None:
    """The warmest the drink has been since fermentation ended; before that, what it is now."""
    rows = assessment.marked.drop_nulls("temperature_c")
    if rows.is_empty():
        return assessment.temperature_c
    ends = [assessment.held_since, assessment.finish.p50 if assessment.finish and assessment.finished else None]
    known = [when for when in ends if when is not None and when <= assessment.now]
    if known:
        rows = rows.filter(rows["measured_at"] >= min(known))
    if not known or rows.is_empty():
        return assessment.temperature_c
    warmest = rows["temperature_c"].max()
    return round(float(warmest), 1) if isinstance(warmest, int | float) else assessment.temperature_c
