"""What is known of a batch about what may still ferment in it, as inputs of the packaging sheet.

The release gate and the sheet's prefill take it from here, so that both go by the same.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from analysis.model import STEADY_SG, Assessment, Batch, events_of
from analysis.packaging.inputs import SheetInputs
from analysis.packaging.refermentation import believed_test
from analysis.thresholds import CREEP_WARM_C, FLOAT_OFF_OVER_H, FORCED_TEST_WITHIN_SG


def inputs_of(assessment: Assessment, batch: Batch, *, fresh: bool) -> SheetInputs:
    """What the assessment and the batch's record say of what may still ferment.

    Parameters
    ----------
    fresh
        Whether the gravity was read within the last day; otherwise nothing that a hold shows counts.
    """
    original = assessment.original_gravity_sg.p50 if assessment.original_gravity_sg else batch.original_gravity_sg
    final = _final(assessment, fresh=fresh)
    expected_low, expected_high = batch.expected_attenuation or (None, None)
    return SheetInputs(
        drink=batch.drink,
        original_gravity_sg=_rounded(original),
        final_gravity_sg=_rounded(final),
        spirit_abv_pct=round(assessment.spirit_abv_pct, 3) or None,
        held_days=_held_days(assessment) if fresh else None,
        diastatic=batch.diastatic or None,
        mixed_culture=batch.mixed_culture or None,
        remaining_fall_sg=None if assessment.remaining_fall_sg is None else _fall(assessment.remaining_fall_sg.p90),
        remaining_falls_sg=tuple(_fall(each) for each in assessment.remaining_falls_sg) or None,
        forced_test_sg=_forced_test(batch, assessment.now),
        lowest_plausible_sg=_lowest(assessment, batch, final),
        dry_hopped=bool(events_of(batch, "dry hop")) or None,
        hop_creep_fall_sg=_creep(assessment, batch) if fresh else None,
        hops_warm_days=_warm_days_with_hops(assessment, batch),
        expected_low=expected_low,
        expected_high=expected_high,
    )


def _fall(fall_sg: float) -> float:
    return round(max(0.0, fall_sg), 4)


def forced_end(batch: Batch, original_sg: float | None, now: datetime) -> float | None:
    """The end of the newest forced test, SG; None where there is none, or it ended far above what is to be expected.

    Such a test failed, or is another drink's: it shows nothing. That it had plenty of fresh yeast is what the event
    means; the sheet asks for it.
    """
    expected_low, expected_high = batch.expected_attenuation or (None, None)
    return believed_test(
        SheetInputs(
            drink=batch.drink,
            original_gravity_sg=original_sg,
            forced_test_sg=_forced_test(batch, now),
            forced_test_fresh_yeast=True,
            expected_low=expected_low,
            expected_high=expected_high,
        )
    )


def forced_test_agrees(batch: Batch, original_sg: float | None, gravity_sg: float | None, now: datetime) -> bool:
    """Whether a forced test that counts ended no lower than the gravity has, but for the error of two readings."""
    tested = forced_end(batch, original_sg, now)
    return tested is not None and gravity_sg is not None and gravity_sg - tested <= FORCED_TEST_WITHIN_SG


def _final(assessment: Assessment, *, fresh: bool) -> float | None:
    """The gravity that it has now; what the float shows where that lies more than a point above what was inferred.

    As on the pages it is told by how far fresh readings lie off the course, each at its own time: in a steep fall those
    of the last hours lie above where the gravity is by now, whether the float is right or not.
    """
    if assessment.gravity_sg is None:
        return None
    inferred, newest = assessment.gravity_sg.p50, assessment.newest_reading_at
    if not fresh or newest is None:
        return inferred
    import numpy as np
    import polars as pl  # the sheet alone does without both

    rows = assessment.marked.filter(pl.col("set_aside").is_null() & pl.col("gravity_sg").is_not_null())
    rows = rows.filter(pl.col("measured_at") > newest - timedelta(hours=FLOAT_OFF_OVER_H))
    if rows.is_empty():
        return inferred
    at, on_course = rows["measured_at"].dt.epoch("ms"), assessment.course["at"].dt.epoch("ms")
    then = np.interp(at, on_course, assessment.course["gravity_p50_sg"]) if len(on_course) else inferred
    off = float(np.median(rows["gravity_sg"].to_numpy() - then))
    return inferred + off if off > STEADY_SG else inferred


def _rounded(gravity_sg: float | None) -> float | None:
    return None if gravity_sg is None else round(gravity_sg, 4)


def _forced_test(batch: Batch, now: datetime) -> float | None:
    tests = [e.gravity_sg for e in events_of(batch, "forced test", until=now) if e.gravity_sg is not None]
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
