"""What a packaging sheet was given, as one frozen value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Literal

from analysis.packaging.sulfite import SulfiteAs
from analysis.thresholds import HIGHEST_CELLAR_M

Package = Literal["bottle", "keg"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetInputs:
    """One attribute for each key of `analysis.packaging.fields`, where unit and meaning of each stand; None: not given.

    Those made by `analysis.packaging.validation.checked` have been held against each key's range and against each
    other; those that `prefill` fills in from a batch are still to be checked.
    """

    drink: str | None = None
    jurisdiction: str | None = None
    volume_l: float | None = None
    original_gravity_sg: float | None = None
    final_gravity_sg: float | None = None
    spirit_abv_pct: float | None = None
    ph: float | None = None
    finished: bool | None = None
    hold_met: bool | None = None
    held_days: float | None = None
    hand_sample: bool | None = None
    alcohol_tolerance_pct: float | None = None
    diastatic: bool | None = None
    mixed_culture: bool | None = None
    expected_low: float | None = None
    expected_high: float | None = None
    forced_test_sg: float | None = None
    forced_test_fresh_yeast: bool | None = None
    forced_test_hopped: bool | None = None
    lactose_g_per_l: float | None = None
    malic_acid_g_per_l: float | None = None
    malolactic_finished: bool | None = None
    package: Package | None = None
    carbonation_volumes: float | None = None
    priming_sugar: str | None = None
    priming_shares: Mapping[str, float] | None = None
    priming_gravity_sg: float | None = None
    priming_brix: float | None = None
    priming_sugar_g_per_l: float | None = None
    fresh_yeast: bool | None = None
    warmest_c: float | None = None
    vessel_gauge_kpa: float | None = None
    storage_c: float | None = None
    altitude_m: float | None = None
    serving_c: float | None = None
    bottle_kind: str | None = None
    bottle_rating_kpa: float | None = None
    keg_rating_kpa: float | None = None
    remaining_fall_sg: float | None = None
    remaining_falls_sg: tuple[float, ...] | None = None
    hop_creep_fall_sg: float | None = None
    lowest_plausible_sg: float | None = None
    purged: bool | None = None
    heat_treat: bool | None = None
    sulfite_ppm: float | None = None
    sulfite_as: SulfiteAs | None = None
    sulfite_basis: Literal["added", "free", "total"] | None = None
    sulfite_present_ppm: float | None = None
    sulfite_present_as: Literal["free", "total", "added"] | None = None
    sulfite_present_total_ppm: float | None = None
    wine_colour: Literal["red", "white", "rosé"] | None = None
    tablet_g: float | None = None
    tablet_salt_g: float | None = None
    tablet_so2_mg: float | None = None
    sorbate_ppm: float | None = None
    stabilised: bool | None = None
    filtered: bool | None = None
    pasteurised: bool | None = None
    sweetener: str | None = None
    sweetener_g: float | None = None
    sweeten_to_sg: float | None = None
    acid_g_per_l: float | None = None
    dry_hopped: bool | None = None
    hops_g_per_l: float | None = None
    hops_total_g: float | None = None
    hops_warm_days: float | None = None
    hop_shares: Mapping[str, float] | None = None
    scale_resolution_g: float | None = None

    @property
    def held_at_m(self) -> float:
        """The altitude at which a closed package has to hold; the highest usual one where none is given."""
        return HIGHEST_CELLAR_M if self.altitude_m is None else self.altitude_m

    def given(self) -> dict[str, Any]:
        """What is given, by key, as the screen's form and JSON take it."""
        values = {each.name: getattr(self, each.name) for each in fields(self)}
        return {key: value for key, value in values.items() if value is not None}
