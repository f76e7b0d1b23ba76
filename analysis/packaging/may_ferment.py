"""What may still ferment in a closed package, as one value that bottles, kegs and the sheet ask.

Each part has a cause, what is to be expected of it (one chance in ten of more) and its worst; all of them grow with
what is not known.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal

from analysis.drinks import usual_malic_acid_g_per_l
from analysis.packaging.carbonation import residual_volumes, volumes_of_fall, volumes_of_malic_acid
from analysis.packaging.hops import creep_volumes, hop_dose_g_per_l
from analysis.packaging.inputs import SheetInputs
from analysis.packaging.priming import priming_excess_volumes
from analysis.packaging.refermentation import believed_test, lowest_plausible
from analysis.packaging.sweetening import fermentable, free_of_yeast, stabilised
from analysis.thresholds import (
    COLDEST_CELLAR_C,
    CREEP_FADES_DAYS,
    CREEP_LEAST_SHARE,
    DRIEST_SG,
    TESTED_CREEP_SG,
    UNGROWN,
)

GasCause = Literal["drink", "hops", "malic acid", "sweetener", "priming sugar"]

_FALL_FROM_SG: Final = DRIEST_SG
"""A point makes most gas where the gravity is low (1 % more than at 1.011): a fall of a given size is counted there,
so that a higher final gravity never looks milder."""

_HALF: Final = 0.5
"""Of the published creep of 40 days comes within 5 (Kirkpatrick and Shellhammer 2018)."""


@dataclass(frozen=True, slots=True)
class Part:
    """Gas from one cause, in volumes of CO2: the upper end of what is to be expected (p90), and the worst."""

    cause: GasCause
    p90_volumes: float
    worst_volumes: float
    likely_volumes: tuple[float, ...] = ()
    """Equally likely values, ascending, where more than its upper end is known."""

    @property
    def p50_volumes(self) -> float:
        """As likely more as less; where only the upper end is known, an exponential's."""
        if not self.likely_volumes:
            return self.p90_volumes * math.log10(2)
        return self.likely_volumes[len(self.likely_volumes) // 2]


@dataclass(frozen=True, slots=True)
class MayFerment:
    """The distribution of what may still ferment, in volumes of CO2, as its parts."""

    parts: tuple[Part, ...]

    def of(self, cause: GasCause) -> Part:
        """The part of one cause; nothing where it has none."""
        return next((part for part in self.parts if part.cause == cause), Part(cause, 0.0, 0.0))

    @property
    def p90_volumes(self) -> float:
        """What is to be expected of all causes, as if each came to its upper end."""
        return sum(part.p90_volumes for part in self.parts)

    @property
    def worst_volumes(self) -> float:
        """The worst of all causes together."""
        return sum(part.worst_volumes for part in self.parts)


def may_ferment(inputs: SheetInputs) -> MayFerment:
    """What may still ferment of the drink, by its hops, its acid and its sweetener."""
    return MayFerment(tuple(_parts(inputs)))


def _parts(inputs: SheetInputs) -> Iterator[Part]:
    live = not stabilised(inputs).counts
    yield _drink(inputs, live)
    if hop_dose_g_per_l(inputs) > 0 or inputs.hop_creep_fall_sg:
        yield _hops(inputs)
    acid = malic_acid_g_per_l(inputs)
    if acid > 0:
        gas_of_acid = volumes_of_malic_acid(acid)
        # A filter for yeast need not hold bacteria, nor does sorbate; heat does, and the free SO2 beside sorbate.
        held_back = inputs.pasteurised or (stabilised(inputs).counts and not inputs.filtered)
        yield Part("malic acid", 0.0 if held_back else gas_of_acid, gas_of_acid)
    sweet = fermentable(inputs)
    if sweet is not None:
        volumes = sweet.volumes or 0.0
        yield Part("sweetener", volumes if live else 0.0, volumes)  # stabilising can fail


def _drink(inputs: SheetInputs, live: bool) -> Part:
    """What is left of the drink's own sugar, down to the lowest plausible gravity."""
    final = inputs.final_gravity_sg
    dormant = (
        0.0 if final is None else UNGROWN * volumes_of_fall(_FALL_FROM_SG, final - lowest_plausible(inputs, final))
    )
    falls = inputs.remaining_falls_sg or ()
    upper = upper_of(falls) if falls else None
    given = upper if inputs.remaining_fall_sg is None else inputs.remaining_fall_sg
    if given is None:
        fall = dormant if live else 0.0  # an unknown fall may be all that is left
        return Part("drink", fall, max(dormant, fall))
    fall = volumes_of_fall(_FALL_FROM_SG, given)
    # An upper end of its own, of a person or of earlier test bottles, stretches the forecast that it stands for.
    stretched = given / upper if upper else 1.0
    likely = tuple(volumes_of_fall(_FALL_FROM_SG, stretched * each) for each in falls) if upper or not given else ()
    return Part("drink", fall, max(dormant, fall, *likely), likely)


def upper_of(falls_sg: tuple[float, ...]) -> float:
    """The upper end of equally likely falls, SG: one in ten is more."""
    return falls_sg[min(len(falls_sg) - 1, math.ceil(0.9 * len(falls_sg)) - 1)]


def _hops(inputs: SheetInputs) -> Part:
    """Hop creep: the published one, less what warm days with hops have let pass, and never nothing with live yeast."""
    given = volumes_of_fall(_FALL_FROM_SG, inputs.hop_creep_fall_sg or 0.0)
    if free_of_yeast(inputs):
        return Part("hops", given, given)
    fresh = math.exp(-(inputs.hops_warm_days or 0.0) / CREEP_FADES_DAYS)
    published = creep_volumes(hop_dose_g_per_l(inputs)) * max(CREEP_LEAST_SHARE, fresh)
    if hopped_test_counts(inputs):
        published = min(published, volumes_of_fall(_FALL_FROM_SG, TESTED_CREEP_SG))
    expected = given if inputs.hop_creep_fall_sg is not None else _HALF * published
    return Part("hops", expected, max(published, expected))


def hopped_test_counts(inputs: SheetInputs) -> bool:
    """Whether a forced test with fresh yeast, taken with the hops in it, shows what they start."""
    tested = inputs.forced_test_hopped is True and inputs.forced_test_fresh_yeast is True
    return tested and believed_test(inputs) is not None


def malic_acid_g_per_l(inputs: SheetInputs) -> float:
    """Malic acid that bacteria may still turn to gas: as given, else the most that is usual of the drink."""
    if inputs.malolactic_finished:
        return 0.0
    given = inputs.malic_acid_g_per_l
    return usual_malic_acid_g_per_l(inputs.drink) if given is None else given


@dataclass(frozen=True, slots=True)
class Gas:
    """Volumes of CO2 in a closed package: `base` is what it holds or is wished to hold; `live` where yeast lives."""

    base: float
    ferments: MayFerment
    live: bool

    @property
    def expected(self) -> float:
        """What is to be expected; live yeast eats the sweetener."""
        return self.base + self.ferments.p90_volumes

    @property
    def worst(self) -> float:
        """The worst case."""
        return self.base + self.ferments.worst_volumes


def held_volumes(inputs: SheetInputs, residual: float | None) -> float:
    """The gas already dissolved; where its warmest temperature is not known, what it can hold in a cold cellar."""
    if residual is not None:
        return residual
    return residual_volumes(COLDEST_CELLAR_C, inputs.vessel_gauge_kpa or 0.0, inputs.altitude_m or 0.0)


def gas(inputs: SheetInputs, residual: float | None) -> Gas:
    """The gas in a closed package; `residual` volumes are dissolved, None where that is not known."""
    base = max(inputs.carbonation_volumes or 0.0, held_volumes(inputs, residual))
    ferments, excess = may_ferment(inputs), priming_excess_volumes(inputs, residual)
    if excess > 0:  # of a priming sugar of uncertain strength, beyond the wish
        ferments = MayFerment((*ferments.parts, Part("priming sugar", 0.0, excess)))
    return Gas(base, ferments, live=not stabilised(inputs).counts)
