"""What the cellar has learnt of drinks, yeasts and hops."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from analysis.trials import Belief, GroupComparison, Measured, MilestoneName, beliefs, compare_groups
from dashboard import context
from dashboard.queries import milestones, queries
from ingest.model import BatchRecord, Yeast
from ingest.monitoring import (
    ArmFindings,
    TastedComparison,
    all_tasted,
    arm_batch,
    dose_of,
    tasted_drinks,
    temperature_of,
)

HOP_MILESTONES: Final[tuple[MilestoneName, ...]] = ("hop_creep_sg", "apparent_attenuation")
"""In which hops and doses are compared: what they may do to a fermentation. How they taste, a tasting says."""


def believed() -> tuple[Belief, ...]:
    """What finished batches taught; empty before any did."""
    priors = context.service().outlooks.priors
    return beliefs(priors) if priors is not None else ()


def stated() -> dict[str, tuple[float, float]]:
    """The apparent attenuation that was entered of each yeast."""
    return {
        y.name: (y.attenuation_low, y.attenuation_high)
        for y in context.store().all(Yeast)
        if y.attenuation_low is not None and y.attenuation_high is not None
    }


def hopped(progress: Callable[[int, int, str], None]) -> list[ArmFindings]:
    """The finished batches that had dry hops, with their milestones."""
    store, outlooks = context.store(), context.service().outlooks
    records = [r for r in store.finished_batches() if store.speaks_for_itself(r)]
    found = []
    for n, record in enumerate(records):
        progress(n, len(records), record.name)
        if not any(e.kind == "dry hop" for e in store.batch(record.batch_id).events):
            continue
        outlook = outlooks.of(record.batch_id)
        if outlook is not None:
            found.append(ArmFindings(record.name, record, outlook, milestones.of(outlook)))
    return found


def hops_compared(batches: Sequence[ArmFindings], *, by_dose: bool) -> list[GroupComparison]:
    """Hop varieties, or doses, compared in what they may do; allowing for temperature, strength and lot."""
    store = context.store()
    grouped = [(each, arm_batch(store, each)) for each in batches]
    found = []
    for quantity in HOP_MILESTONES:
        measured = []
        for each, facts in grouped:
            group = dose_of(facts.hop_g_per_l) if by_dose else facts.hop_variety
            estimate = each.milestones.get(quantity)
            if group is not None and estimate is not None:
                measured.append(_measured(group, each, estimate.value, estimate.standard_error))
        if len({m.group for m in measured}) > 1:
            found.append(compare_groups(quantity, measured))
    return found


def tasted() -> list[TastedComparison]:
    """What yeasts, hops, doses and contact did to tasters' scores, over all tastings that are over."""
    store = context.store()
    found: list[TastedComparison] = queries.kept(("tasted",), lambda: all_tasted(tasted_drinks(store)), store.revision)
    return found


def _measured(group: str, each: ArmFindings, value: float, error: float) -> Measured:
    record: BatchRecord = each.record
    return Measured(
        group=group,
        value=value,
        standard_error=error,
        temperature_c=temperature_of(each),
        original_gravity_sg=record.original_gravity_sg,
        lot=record.split_of,
    )
