"""A trial as the cellar has it: its arms, their milestones, what differs, the answer so far."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import polars as pl

from analysis.display_units import DisplayUnits
from analysis.trials import (
    SCALES,
    ArmBatch,
    Conclusion,
    Design,
    GroupComparison,
    Measured,
    MilestoneName,
    Milestones,
    TastingResult,
    compare_groups,
    conclude,
    design_of,
)
from analysis.wording import conclusion_sentence
from ingest.model import BatchRecord, EventRecord, TrialRecord
from ingest.monitoring.entered import events_of, hops_of, together
from ingest.monitoring.milestones import milestone_frame
from ingest.monitoring.outlook import Outlook
from ingest.monitoring.tasted import MADE_WITH, TastedComparison, compare_tasted, tasted_drinks
from ingest.monitoring.tastings import tasting_of
from ingest.store import Store

TASTING: Final = "tasting"
"""By which a trial may be decided, beside the milestones of `SCALES`."""


@dataclass(frozen=True, slots=True)
class ArmFindings:
    """One batch of an arm with what is known of it."""

    arm: str
    record: BatchRecord
    outlook: Outlook
    milestones: Milestones


@dataclass(frozen=True, slots=True)
class TrialFindings:
    """A trial with its batches in the order of the arms, and what came of it.

    `comparison` is of the arms in the milestone that decides; None where a tasting does. `tasted` is what all tastings
    together say of the things in which the arms differ.
    """

    record: TrialRecord
    batches: tuple[ArmFindings, ...]
    design: Design
    comparison: GroupComparison | None
    tasting: TastingResult | None
    conclusion: Conclusion
    tasted: tuple[TastedComparison, ...] = ()


Look = Callable[[str], tuple[Outlook, Milestones] | None]
"""What is known of a batch by its id: its outlook and milestones; None while it cannot be told."""


def trial_findings(store: Store, trial: TrialRecord, look: Look) -> TrialFindings:
    """What a trial says now. A batch that cannot be judged yet has no part in it."""
    batches = []
    for arm in trial.arm_names:
        for batch_id in trial.batches_of(arm):
            record, seen = store.get(BatchRecord, batch_id), look(batch_id)
            if record is not None and seen is not None:
                batches.append(ArmFindings(arm, record, *seen))
    design = design_of(
        [arm_batch(store, each) for each in batches],
        stated_differs=_listed(trial.differs),
        stated_equal=_listed(trial.equal),
    )
    comparison = None
    quantity: MilestoneName | None = next((name for name in SCALES if name == trial.decides), None)
    if quantity is not None:
        like = _like_vessels(store, trial, quantity, look)
        comparison = compare_groups(quantity, measured(batches, quantity, design), like=like)
    tasting = tasting_of(store, trial)
    answer = conclude(design, trial.decides, comparison, tasting)
    asked = [factor for factor in MADE_WITH if factor in design.differing]
    drinks = tasted_drinks(store) if asked else []
    learnt = tuple(told for factor in asked if (told := compare_tasted(drinks, factor)) is not None)
    return TrialFindings(trial, tuple(batches), design, comparison, tasting, answer, learnt)


def measured(batches: Sequence[ArmFindings], quantity: MilestoneName, design: Design) -> list[Measured]:
    """The batches that have a milestone, with what is allowed for: not the one thing that was made to differ."""
    asked = design.differing[0] if design.tells_which else ""
    found = []
    for each in batches:
        estimate = each.milestones.get(quantity)
        if estimate is not None:
            found.append(
                Measured(
                    group=each.arm,
                    value=estimate.value,
                    standard_error=estimate.standard_error,
                    temperature_c=None if asked == "temperature" else temperature_of(each),
                    original_gravity_sg=None if asked == "original gravity" else _original(each),
                    lot=None if asked == "wort" else each.record.lot,
                )
            )
    return found


def _like_vessels(store: Store, trial: TrialRecord, quantity: MilestoneName, look: Look) -> list[list[float]]:
    """The milestone of replicates in other trials: vessels of one arm that were filled from one wort."""
    sets: dict[tuple[str, str, str], list[float]] = {}
    for other in store.all(TrialRecord):
        for arm, batch_id in other.arms if other.trial_id != trial.trial_id else ():
            record = store.get(BatchRecord, batch_id)
            if record is None or len(other.batches_of(arm)) < 2 or batch_id in trial.batch_ids:
                continue
            seen = look(batch_id)
            estimate = seen[1].get(quantity) if seen is not None else None
            if estimate is not None:
                sets.setdefault((other.trial_id, arm.casefold(), record.lot), []).append(estimate.value)
    return [values for values in sets.values() if len(values) > 1]


def arm_batch(store: Store, each: ArmFindings) -> ArmBatch:
    """A batch as the design of a trial compares it, from its own entries and readings."""
    record = each.record
    events, hops = events_of(store, record), hops_of(store, record)
    return ArmBatch(
        arm=each.arm,
        pitched_at=record.pitched_at,
        drink=record.drink,
        wort=record.lot,
        yeast=record.yeast,
        original_gravity_sg=record.original_gravity_sg,
        volume_l=record.volume_l,
        temperature_c=temperature_of(each),
        hop_variety=hops.variety,
        hop_form=hops.form,
        hop_g_per_l=hops.grams_per_l,
        hop_day=hops.first_day,
        contact_days=hops.contact_days,
        additions=together([e.added and _amount(e, record) for e in events if e.kind in ("feed", "dilute")]),
        nutrient=together([_amount(e, record) for e in events if e.kind == "nutrient"]),
    )


def _amount(event: EventRecord, record: BatchRecord) -> str | None:
    """What an addition was and how much of it went into a litre, to two digits; its note where that is all there is."""
    what = event.added or event.kind
    for amount, unit in ((event.amount_g, "g/L"), (event.amount_l, "L/L")):
        if amount is not None and record.volume_l:
            return f"{what} {amount / record.volume_l:.2g} {unit}"
    return f"{what} {event.note}".strip() if event.note else None


def temperature_of(each: ArmFindings) -> float | None:
    """How warm a batch stood while it fell; before that is known, how warm it has stood so far."""
    estimate = each.milestones.temperature_c
    if estimate is not None:
        return estimate.value
    mean = each.outlook.assessment.marked.filter(pl.col("set_aside").is_null())["temperature_c"].mean()
    return float(mean) if isinstance(mean, int | float) else None


def _original(each: ArmFindings) -> float | None:
    told = each.outlook.assessment.original_gravity_sg
    return told.p50 if told is not None else each.record.original_gravity_sg


def _listed(text: str) -> tuple[str, ...]:
    return tuple(part for each in text.split(",") if (part := " ".join(each.split())))


def trial_facts(found: TrialFindings, units: DisplayUnits) -> dict[str, Any]:
    """A trial as `tunroom report trial --json` says it."""
    design, conclusion, tasting = found.design, found.conclusion, found.tasting
    return {
        "question": found.record.question or found.record.name,
        "arms": [
            {
                "arm": arm,
                "batches": [
                    {"batch_id": each.record.batch_id, "name": each.record.name}
                    for each in found.batches
                    if each.arm.casefold() == arm.casefold()
                ],
            }
            for arm in found.record.arm_names
        ],
        "differs": list(design.differing),
        "equal": [*(each.factor for each in design.equal), *design.stated_equal],
        "milestones": milestones_by_arm(found),
        "tasting": None if tasting is None else dict(tasting.facts),
        "agreement": None if tasting is None else dict(tasting.agreement),
        "conclusion": conclusion_sentence(conclusion, design, units, tasting.sentence if tasting else ""),
        "chance": conclusion.chance,
    }


def milestones_by_arm(found: TrialFindings) -> list[dict[str, Any]]:
    """The milestones of a trial's batches, each row with its arm."""
    arms = {each.record.batch_id: each.arm for each in found.batches}
    frame = milestone_frame((each.record, each.milestones) for each in found.batches)
    return [{"arm": arms[row["batch_id"]], **row} for row in frame.to_dicts()]
