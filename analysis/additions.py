"""What an addition does to a drink, by mass balance: extract, alcohol, volume, gravity.

Mass of drink, of dissolved extract and of alcohol are kept; nothing else is. Balling's relations (see
`analysis.attenuation`) say how much extract an alcohol came from, and turn extract and alcohol into a gravity and
back, so that a drink to which nothing was added has just the attenuation and alcohol that its two gravities tell.

Volumes contract when alcohol and water mix, so only masses are added up. The carbon dioxide that has left and the yeast
that has grown count as original mass, as Balling's relations have it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from analysis.attenuation import (
    ETHANOL_SG,
    EXTRACT_PER_ALCOHOL,
    REAL_PER_APPARENT,
    alcohol_abw_pct,
    real_extract_plato,
)
from analysis.drinks import DRINK_FACTS
from analysis.model import Added, Drink, EventKind, Substance
from analysis.units import WATER_20C_KG_M3, plato_to_sg, sg_to_plato

WATER_KG_L: Final = WATER_20C_KG_M3 / 1000.0

_LOST_PER_ALCOHOL: Final = EXTRACT_PER_ALCOHOL - 1.0
"""Grams of carbon dioxide and yeast for a gram of alcohol: what a drink has lost of its original mass (Balling)."""

# OIML R 22 (1975), density of ethanol and water at 20 °C in kg/m³, in powers of the mass fraction of ethanol.
_ETHANOL: Final = (
    998.20123, -192.9769495, 389.1238958, -1668.103923, 13522.15441, -88292.78388, 306287.4042, -613838.1234,
    747017.2998, -547846.1354, 223446.0334, -39032.85426,
)  # fmt: skip
_ETHANOL_KG_M3: Final = 789.24
"""Density of ethanol at 20 °C (OIML R 22)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SubstanceFacts:
    """What is known of a kind of addition.

    Parameters
    ----------
    kind
        The event under which it is logged: what brings extract is a feed, what does not a dilution.
    words
        As a person reads it.
    extract_share
        Dissolved extract by mass; None where its own gravity tells.
    fermentable_share
        How much of that extract yeast can ferment; None where it is as the rest of the drink.
    density_kg_l
        For an amount by volume; None where its own gravity or strength tells, or where only its mass counts.
    relative_sd
        How far the extract that is reckoned may be off, as a share, besides the volume of the drink.
    """

    kind: EventKind
    words: str
    extract_share: float | None
    fermentable_share: float | None
    density_kg_l: float | None
    relative_sd: float
    needs_gravity: bool = False
    needs_abv: bool = False


# Honey: 17.2 % of water on the mean of 490 samples (White et al. 1962, USDA Technical Bulletin 1261); its four sugars
# are 77.9 % of the whole (the same), 0.94 of the extract. 1.42 kg/L is a trade figure. Dextrose monohydrate: 18.015 of
# 198.171 is water of crystallisation. Malt extracts, fruit: common practice, no source; hence their wider error.
SUBSTANCES: Final[dict[Substance, SubstanceFacts]] = {
    "sucrose": SubstanceFacts(
        kind="feed", words="sugar (sucrose)", extract_share=1.0, fermentable_share=1.0, density_kg_l=None,
        relative_sd=0.01,
    ),
    "dextrose": SubstanceFacts(
        kind="feed", words="dextrose, anhydrous", extract_share=1.0, fermentable_share=1.0, density_kg_l=None,
        relative_sd=0.01,
    ),
    "dextrose monohydrate": SubstanceFacts(
        kind="feed", words="dextrose monohydrate", extract_share=0.9091, fermentable_share=1.0, density_kg_l=None,
        relative_sd=0.01,
    ),
    "honey": SubstanceFacts(
        kind="feed", words="honey", extract_share=0.828, fermentable_share=0.95, density_kg_l=1.42, relative_sd=0.03,
    ),
    "dry malt extract": SubstanceFacts(
        kind="feed", words="dry malt extract", extract_share=0.96, fermentable_share=0.65, density_kg_l=None,
        relative_sd=0.04,
    ),
    "malt syrup": SubstanceFacts(
        kind="feed", words="malt extract syrup", extract_share=0.80, fermentable_share=0.65, density_kg_l=1.40,
        relative_sd=0.04,
    ),
    "juice": SubstanceFacts(
        kind="feed", words="juice", extract_share=None, fermentable_share=0.95, density_kg_l=None, relative_sd=0.05,
        needs_gravity=True,
    ),
    "concentrate": SubstanceFacts(
        kind="feed", words="concentrate", extract_share=None, fermentable_share=0.95, density_kg_l=None,
        relative_sd=0.05, needs_gravity=True,
    ),
    "fruit": SubstanceFacts(
        kind="feed", words="fruit", extract_share=0.10, fermentable_share=0.9, density_kg_l=None, relative_sd=0.4,
    ),
    "water": SubstanceFacts(
        kind="dilute", words="water", extract_share=0.0, fermentable_share=0.0, density_kg_l=WATER_KG_L,
        relative_sd=0.01,
    ),
    "spirit": SubstanceFacts(
        kind="dilute", words="spirit without sugar", extract_share=0.0, fermentable_share=0.0, density_kg_l=None,
        relative_sd=0.02, needs_abv=True,
    ),
    "another batch": SubstanceFacts(
        kind="feed", words="another batch", extract_share=None, fermentable_share=None, density_kg_l=None,
        relative_sd=0.03, needs_gravity=True, needs_abv=True,
    ),
}  # fmt: skip

AMOUNT_UNITS: Final[dict[str, tuple[str, float]]] = {
    "g": ("mass", 1.0),
    "kg": ("mass", 1000.0),
    "oz": ("mass", 28.349523125),  # NIST SP 811, appendix B, as the others
    "lb": ("mass", 453.59237),
    "mL": ("volume", 0.001),
    "L": ("volume", 1.0),
    "US gal": ("volume", 3.785412),
}
"""Units in which an amount may be typed: what they measure, and how many grams or litres one is."""

VOLUME_SD: Final = 0.05
"""How far the volume of a drink in its vessel may be off, as a share (common practice, no source)."""

_MOST_SHARE: Final = 20.0
"""No addition is taken to be more than so many times the drink."""


class UnknownAdditionError(ValueError):
    """What was added cannot be reckoned; `missing` names what is not known, as a person says it."""

    def __init__(self, missing: tuple[str, ...]) -> None:
        super().__init__(f"not known: {', '.join(missing)}")
        self.missing = missing


@dataclass(frozen=True, slots=True)
class Portion:
    """What comes into the drink, kg: its mass, extract, how much of that can ferment, and alcohol."""

    mass_kg: float
    extract_kg: float = 0.0
    fermentable_kg: float = 0.0
    alcohol_kg: float = 0.0
    fermented: bool = False
    """Whether its alcohol came from extract of its own (another batch), not from a still."""

    def times(self, factor: float) -> Portion:
        """So many times as much."""
        return replace(
            self,
            mass_kg=self.mass_kg * factor,
            extract_kg=self.extract_kg * factor,
            fermentable_kg=self.fermentable_kg * factor,
            alcohol_kg=self.alcohol_kg * factor,
        )


@dataclass(frozen=True, slots=True)
class Contents:
    """A drink at one moment, kg: its mass, real extract, and alcohol, that of spirits told apart."""

    mass_kg: float
    extract_kg: float
    alcohol_kg: float = 0.0
    spirit_kg: float = 0.0

    @classmethod
    def of_must(cls, volume_l: float, original_gravity_sg: float) -> Contents:
        """What was pitched: `volume_l` at 20 °C of a must of this gravity."""
        mass = volume_l * original_gravity_sg * WATER_KG_L
        return cls(mass, mass * max(sg_to_plato(original_gravity_sg), 0.0) / 100.0)

    @classmethod
    def of_drink(cls, mass_kg: float, gravity_sg: float, abv_pct: float) -> Contents:
        """A drink of this gravity and strength, which has come by fermentation alone."""
        abw = abv_pct * ETHANOL_SG / gravity_sg
        shrunk = 1.0 + _LOST_PER_ALCOHOL * abw / 100.0
        share = 1.0 - REAL_PER_APPARENT
        # Real extract from apparent extract and alcohol: Balling's two relations solved for it.
        real = REAL_PER_APPARENT * sg_to_plato(gravity_sg) + share * EXTRACT_PER_ALCOHOL * abw / shrunk
        real /= 1.0 - share / shrunk
        return cls(mass_kg, mass_kg * max(real, 0.0) / 100.0, mass_kg * abw / 100.0)

    @property
    def gravity_sg(self) -> float:
        """Present gravity, SG 20/20 °C; of a mixture with spirit within 0.001 up to 20 % vol."""
        real = 100.0 * self.extract_kg / self.mass_kg
        return float(plato_to_sg((real - (1.0 - REAL_PER_APPARENT) * self._plato_by_all) / REAL_PER_APPARENT))

    @property
    def volume_l(self) -> float:
        """Volume at 20 °C."""
        return self.mass_kg / (self.gravity_sg * WATER_KG_L)

    @property
    def alcohol_abv_pct(self) -> float:
        """Alcohol in % by volume at 20 °C, that of spirits included."""
        return 100.0 * self.alcohol_kg / self.mass_kg * self.gravity_sg / ETHANOL_SG

    @property
    def original_extract_kg(self) -> float:
        """All extract that ever was in it, that which has fermented included."""
        return self.extract_kg + EXTRACT_PER_ALCOHOL * (self.alcohol_kg - self.spirit_kg)

    @property
    def original_gravity_sg(self) -> float:
        """Gravity that all of its extract would have made at once; a spirit counts as water, as no extract made it."""
        fermented = self.alcohol_kg - self.spirit_kg
        mass = self.mass_kg + _LOST_PER_ALCOHOL * fermented
        return float(plato_to_sg(100.0 * self.original_extract_kg / mass))

    @property
    def apparent_attenuation(self) -> float:
        """As a share of all original extract, by extract in °P."""
        return 1.0 - sg_to_plato(self.gravity_sg) / sg_to_plato(self.original_gravity_sg)

    @property
    def _plato_by_all(self) -> float:
        """Original extract as if all alcohol had come by fermentation: what fixes the gravity, in °P."""
        mass = self.mass_kg + _LOST_PER_ALCOHOL * self.alcohol_kg
        return 100.0 * (self.extract_kg + EXTRACT_PER_ALCOHOL * self.alcohol_kg) / mass

    def fermented_to(self, gravity_sg: float) -> Contents:
        """The same drink once it has fermented to this gravity; a gravity above what it can have is taken for that."""
        original = self._plato_by_all
        mass = self.mass_kg + _LOST_PER_ALCOHOL * self.alcohol_kg
        apparent = min(sg_to_plato(gravity_sg), original)
        abw = alcohol_abw_pct(original, apparent)
        now = mass / (1.0 + _LOST_PER_ALCOHOL * abw / 100.0)
        alcohol = now * abw / 100.0
        if alcohol < self.spirit_kg:  # alcohol from a still does not turn back into extract
            return self
        return replace(
            self, mass_kg=now, extract_kg=now * real_extract_plato(original, apparent) / 100.0, alcohol_kg=alcohol
        )

    def with_added(self, portion: Portion) -> Contents:
        """The mixture."""
        return Contents(
            self.mass_kg + portion.mass_kg,
            self.extract_kg + portion.extract_kg,
            self.alcohol_kg + portion.alcohol_kg,
            self.spirit_kg + (0.0 if portion.fermented else portion.alcohol_kg),
        )

    def with_step(self, portion: Portion, step_sg: float) -> Contents:
        """The mixture with so much of `portion` that the gravity moves by `step_sg`; itself where it cannot.

        For an addition whose amount is not known, or is not what the readings show.
        """
        unit = portion.times(self.mass_kg / portion.mass_kg)
        goal, low, high = self.gravity_sg + step_sg, 0.0, _MOST_SHARE

        def off(share: float) -> float:
            return self.with_added(unit.times(share)).gravity_sg - goal

        if step_sg == 0.0 or off(low) * off(high) > 0.0:
            return self
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if off(low) * off(middle) > 0.0 else (low, middle)
        return self.with_added(unit.times(0.5 * (low + high)))


def ethanol_density_kg_m3(mass_fraction: float) -> float:
    """Density in kg/m³ of ethanol in water at 20 °C, `mass_fraction` from 0 to 1 (OIML R 22)."""
    density = 0.0
    for coefficient in reversed(_ETHANOL):
        density = density * mass_fraction + coefficient
    return density


def ethanol_mass_fraction(abv_pct: float) -> float:
    """Mass fraction of ethanol in a mixture with water of this strength in % by volume at 20 °C."""
    fraction = np.linspace(0.0, 1.0, 2001)
    density = np.polyval(_ETHANOL[::-1], fraction)
    return float(np.interp(abv_pct, 100.0 * fraction * density / _ETHANOL_KG_M3, fraction))


def missing(added: Added) -> tuple[str, ...]:
    """What must still be said of an addition before it can be reckoned, as a person says it; empty where all is."""
    facts = SUBSTANCES[added.substance]
    said: list[str] = []
    if added.mass_kg is None and added.volume_l is None:
        said.append("how much was added")
    elif added.mass_kg is None and not (facts.density_kg_l or facts.needs_gravity or facts.needs_abv):
        said.append(f"the weight of the {facts.words}")
    if facts.needs_gravity and added.gravity_sg is None:
        said.append(f"the gravity of the {facts.words} itself")
    if facts.needs_abv and added.abv_pct is None:
        said.append(f"the strength of the {facts.words}, % vol")
    return tuple(said)


def portion(added: Added, drink: Drink) -> Portion:
    """What an addition brings.

    Raises
    ------
    UnknownAdditionError
        If something must still be said of it.
    """
    lacking = missing(added)
    if lacking:
        raise UnknownAdditionError(lacking)
    mass = added.mass_kg if added.mass_kg is not None else (added.volume_l or 0.0) * _density_kg_l(added)
    return _one_kg(added, drink).times(mass)


def typical_portion(added: Added | None, kind: EventKind, drink: Drink) -> Portion:
    """A kilogram of what was added, for an addition whose amount is not known.

    Where what it was is not known either, a feed is taken for sugar and a dilution for water.
    """
    if added is None:
        added = Added("sucrose" if kind == "feed" else "water")
    facts = SUBSTANCES[added.substance]
    unknown = (facts.needs_gravity and added.gravity_sg is None) or (facts.needs_abv and added.abv_pct is None)
    if unknown and added.substance != "concentrate":
        added = Added("water" if facts.kind == "dilute" else "fruit")
    elif unknown:
        added = Added("sucrose")
    return _one_kg(added, drink)


def _one_kg(added: Added, drink: Drink) -> Portion:
    facts = SUBSTANCES[added.substance]
    if added.substance == "another batch":
        return _of_a_drink(added, drink)
    if added.substance == "spirit":
        return Portion(1.0, alcohol_kg=ethanol_mass_fraction(added.abv_pct or 0.0))
    share = facts.extract_share or 0.0
    if added.gravity_sg is not None and added.substance in ("juice", "concentrate", "fruit", "honey", "malt syrup"):
        share = max(sg_to_plato(added.gravity_sg), 0.0) / 100.0
    return Portion(1.0, share, share * (facts.fermentable_share or 0.0))


def _of_a_drink(added: Added, drink: Drink) -> Portion:
    other = Contents.of_drink(1.0, added.gravity_sg or 1.0, added.abv_pct or 0.0)
    # Of malt, yeast leaves about a third of the original extract (0.81 × 0.8 of it goes); of must next to nothing.
    left = 0.3 * other.original_extract_kg if DRINK_FACTS[drink].leaves_dextrins else 0.0
    return Portion(1.0, other.extract_kg, max(other.extract_kg - left, 0.0), other.alcohol_kg, fermented=True)


def _density_kg_l(added: Added) -> float:
    facts = SUBSTANCES[added.substance]
    if added.substance == "spirit":
        return ethanol_density_kg_m3(ethanol_mass_fraction(added.abv_pct or 0.0)) / 1000.0
    if added.gravity_sg is not None and facts.extract_share != 0.0:
        return added.gravity_sg * WATER_KG_L
    return facts.density_kg_l or WATER_KG_L


def original_with(
    original_gravity_sg: float, volume_l: float | None, added: Sequence[Added | None], drink: Drink
) -> float | None:
    """Original gravity by all extract of a must and what was added to it; None where an amount is not known."""
    contents = Contents.of_must(volume_l or 1.0, original_gravity_sg)
    for each in added:
        if volume_l is None or each is None or missing(each):
            return None
        contents = contents.with_added(portion(each, drink))
    return contents.original_gravity_sg
