"""What additions make of a batch by mass balance, once it is known how far each moved the gravity."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.additions import Contents, typical_portion
from analysis.inference.posterior import RIGHT_BEFORE_H, PosteriorDraws
from analysis.inference.setting import Original
from analysis.inference.steps import Addition
from analysis.model import Batch


@dataclass(frozen=True, slots=True)
class Balance:
    """What a batch holds now, additions included.

    `original_sg` is the gravity that all of its extract would have made at once, `sd_sg` how far the additions leave
    that uncertain. `volume_l` is None where the volume of the batch or an amount is not known. `seen` are the steps
    that were found, SG, beside the additions that made them.
    """

    original_sg: float
    sd_sg: float = 0.0
    volume_l: float | None = None
    abv_pct: float | None = None
    spirit_abv_pct: float = 0.0
    seen: tuple[tuple[Addition, float], ...] = ()

    @property
    def contradicted(self) -> tuple[tuple[Addition, float], ...]:
        """The additions whose readings show another step than was told, with that step."""
        return tuple((addition, seen) for addition, seen in self.seen if addition.contradicted_by(seen))


def balanced(
    added: tuple[Addition, ...], posterior: PosteriorDraws, batch: Batch, original: Original, now_h: float
) -> Balance:
    """The balance of a batch by its weighted courses; that of its must alone where nothing was added."""
    if not added:
        return Balance(original.gravity_sg, volume_l=batch.volume_l)
    weight = posterior.weight / posterior.weight.sum()
    course = weight @ posterior.gravity_sg
    steps = weight @ posterior.jumps_sg
    errors = np.sqrt(weight @ np.square(posterior.jumps_sg - steps))
    contents = Contents.of_must(batch.volume_l or 1.0, original.gravity_sg)
    exact, variance = batch.volume_l is not None, 0.0
    for addition, step, error in zip(added, steps, errors, strict=True):
        before = float(np.interp(addition.at_h - RIGHT_BEFORE_H, posterior.at_h, course))
        contents = contents.fermented_to(before)
        kind = addition.event.kind if addition.event is not None else "feed"
        if addition.brought is not None and not addition.contradicted_by(float(step)):
            contents = contents.with_added(addition.brought)
        else:
            typical = typical_portion(addition.event.added if addition.event else None, kind, batch.drink)
            contents = contents.with_step(typical, float(step))
        if kind == "feed":
            variance += float(error) ** 2
    now = contents.fermented_to(float(np.interp(now_h, posterior.at_h, course)))
    spirit = now.spirit_kg / now.alcohol_kg * now.alcohol_abv_pct if now.alcohol_kg > 0 else 0.0
    return Balance(
        now.original_gravity_sg,
        variance**0.5,
        now.volume_l if exact else None,
        now.alcohol_abv_pct,
        spirit,
        tuple((a, float(s)) for a, s in zip(added, steps, strict=True)),
    )
