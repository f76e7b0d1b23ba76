"""A spirit in the drink: its alcohol lowers every gravity without having fermented."""

from __future__ import annotations

from dataclasses import replace

from analysis.additions import ethanol_density_kg_m3, ethanol_mass_fraction
from analysis.packaging.inputs import SheetInputs


def lowered_by(spirit_abv_pct: float) -> float:
    """By how much a spirit lowers the gravity of the whole, SG, going by a mixture of water and ethanol.

    From the OIML's table of mixtures (R 22, 1975): 0.0135 at 10 % vol.
    """
    return 1.0 - ethanol_density_kg_m3(ethanol_mass_fraction(spirit_abv_pct)) / ethanol_density_kg_m3(0.0)


def without_spirit(inputs: SheetInputs) -> SheetInputs:
    """The inputs with every gravity read since as it would be with water in place of the spirit's alcohol.

    So a spirit never makes a drink look better attenuated, nor nearer to its end, than its yeast has made it.
    """
    if not inputs.spirit_abv_pct:
        return inputs
    lift = lowered_by(inputs.spirit_abv_pct)
    read = ("final_gravity_sg", "forced_test_sg", "lowest_plausible_sg")
    lifted = {key: getattr(inputs, key) + lift for key in read if getattr(inputs, key) is not None}
    return replace(inputs, **lifted)
