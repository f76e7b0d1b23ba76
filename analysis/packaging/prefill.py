"""The packaging sheet of a batch, filled in from its data: every number stands to be changed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from analysis.model import STEADY_SG, Assessment, Batch, events_of
from analysis.packaging.follow_up import FollowUp, lesson
from analysis.packaging.inputs import SheetInputs
from analysis.planning import Condition, release_of_the_gravity
from analysis.thresholds import CREEP_WARM_C, FLOAT_OFF_OVER_H


def prefill(
    assessment: Assessment,
    batch: Batch,
    *,
    now: datetime,
    volume_l: float | None = None,
    jurisdiction: str | None = None,
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
    volume_l, jurisdiction
        From the batch's record and the person's preferences; what was added counts on top where all amounts are known.
    earlier
        Test bottles of earlier lots with the same yeast; see `analysis.packaging.follow_up.lesson`.
    """
    original = assessment.original_gravity_sg.p50 if assessment.original_gravity_sg else batch.original_gravity_sg
    gate = release_of_the_gravity(assessment, batch, now=now)
    fresh = gate.holds(Condition.READING_FRESH)
    final = _final(assessment, fresh=fresh)
    expected_low, expected_high = batch.expected_attenuation or (None, None)
    return SheetInputs(
        drink=batch.drink,
        jurisdiction=jurisdiction,
        volume_l=volume_l if assessment.volume_l is None else round(assessment.volume_l, 2),
        original_gravity_sg=_rounded(original),
        final_gravity_sg=_rounded(final),
        finished=(True if fresh else None) if gate.ended else False,
        hold_met=gate.holds(Condition.HOLD_SEEN) and fresh,
        held_days=_held_days(assessment) if fresh else None,
        hand_sample=gate.holds(Condition.HAND_SAMPLE_AGREES),
        diastatic=batch.diastatic or None,
        mixed_culture=batch.mixed_culture or None,
        warmest_c=_warmest_since_end(assessment),
        remaining_fall_sg=_remaining(assessment, earlier),
        forced_test_sg=_forced_test(batch),
        lowest_plausible_sg=_lowest(assessment, batch, final),
        dry_hopped=bool(events_of(batch, "dry hop")) or None,
        hop_creep_fall_sg=_creep(assessment, batch) if fresh else None,
        hops_warm_days=_warm_days_with_hops(assessment, batch),
        expected_low=expected_low,
        expected_high=expected_high,
    )


def _final(assessment: Assessment, *, fresh: bool) -> float | None:
    """The gravity that it has now; that of fresh readings where they lie more than a point above what was inferred."""
    if assessment.gravity_sg is None:
        return None
    import polars as pl  # the sheet alone does without it

    inferred, newest = assessment.gravity_sg.p50, assessment.newest_reading_at
    if not fresh or newest is None:
        return inferred
    rows = assessment.marked.filter(pl.col("set_aside").is_null() & pl.col("gravity_sg").is_not_null())
    lately = rows.filter(pl.col("measured_at") > newest - timedelta(hours=FLOAT_OFF_OVER_H))["gravity_sg"].median()
    if isinstance(lately, float) and lately - inferred > STEADY_SG:
        return lately
    return inferred


def _rounded(gravity_sg: float | None) -> float | None:
    return None if gravity_sg is None else round(gravity_sg, 4)


def _remaining(assessment: Assessment, earlier: Sequence[FollowUp]) -> float | None:
    least, _ = lesson(earlier)
    fall = assessment.remaining_fall_sg
    if fall is None:
        return least or None
    return round(max(0.0, fall.p90, least), 4)


def _forced_test(batch: Batch) -> float | None:
    tests = [e.gravity_sg for e in events_of(batch, "forced test") if e.gravity_sg is not None]
    return tests[-1] if tests else None


def _lowest(assessment: Assessment, batch: Batch, final: float | None) -> float | None:
    """The lower end of the forecast; the sheet itself has the floors of drink and yeast, and this can only lower them.

    Wine-like drinks keep the sheet's own floor.
    """
    if final is None or assessment.terminal_gravity_sg is None or batch.drink in ("mead", "cider", "wine"):
        return None
    return round(min(final, assessment.terminal_gravity_sg.p10), 4)


def _creep(assessment: Assessment, batch: Batch) -> float | None:
    """Hop creep still to come: one point may hide in a hold seen since the hops came out; unknown before that."""
    hopped, out = events_of(batch, "dry hop"), events_of(batch, "hops out")
    if not hopped:
        return None
    since = assessment.held_since
    held_since_out = out and out[-1].at >= hopped[-1].at and assessment.hold_met and since is not None
    return STEADY_SG if held_since_out and since is not None and since >= out[-1].at else None


def _held_days(assessment: Assessment) -> float | None:
    """Days for which the readings have shown it to hold; nothing is added for the time since the newest."""
    since, times = assessment.held_since, assessment.marked["measured_at"]
    if since is None or times.is_empty():
        return None
    newest = times.max()
    return round(max(0.0, (newest - since) / timedelta(days=1)), 1) if isinstance(newest, datetime) else None


def _warm_days_with_hops(assessment: Assessment, batch: Batch) -> float | None:
    """Days since the last dry hop on which a reading showed `CREEP_WARM_C` or more: days nobody saw do not count."""
    hopped = events_of(batch, "dry hop")
    if not hopped:
        return None
    rows = assessment.marked.drop_nulls("temperature_c")
    warm = rows.filter((rows["measured_at"] >= hopped[-1].at) & (rows["temperature_c"] >= CREEP_WARM_C))
    days = {int((at - hopped[-1].at) / timedelta(days=1)) for at in warm["measured_at"]}
    return float(max(0, len(days) - 1))


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
