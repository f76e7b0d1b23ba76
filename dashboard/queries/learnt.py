"""What the cellar has learnt of drinks, yeasts and hops."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
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
    contact_of,
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


@dataclass(frozen=True, slots=True)
class HopsCompared:
    """Hop varieties, or doses, in one milestone, with the batches of each group and what was entered of their hops."""

    comparison: GroupComparison
    batches: Mapping[str, tuple[BatchRecord, ...]]
    entered: Mapping[str, tuple[str, ...]]


def hops_compared(batches: Sequence[ArmFindings], *, by_dose: bool) -> list[HopsCompared]:
    """Hop varieties, or doses, compared in what they may do; allowing for temperature, strength and lot."""
    store = context.store()
    grouped = [(each, arm_batch(store, each)) for each in batches]
    found = []
    for quantity in HOP_MILESTONES:
        measured: list[Measured] = []
        records: dict[str, list[BatchRecord]] = {}
        entered: dict[str, set[str]] = {}
        for each, facts in grouped:
            dose, contact = dose_of(facts.hop_g_per_l), contact_of(facts.contact_days)
            group = dose if by_dose else facts.hop_variety
            estimate = each.milestones.get(quantity)
            if group is not None and estimate is not None:
                measured.append(_measured(group, each, estimate.value, estimate.standard_error))
                records.setdefault(group, []).append(each.record)
                told = (facts.hop_variety if by_dose else dose or "dose not known", contact)
                entered.setdefault(group, set()).add(" for ".join(filter(None, told)))
        if len(records) > 1:
            said = {group: tuple(sorted(filter(None, words))) for group, words in entered.items()}
            of_each = {group: tuple(those) for group, those in records.items()}
            found.append(HopsCompared(compare_groups(quantity, measured), of_each, said))
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
