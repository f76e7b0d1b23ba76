"""Which inputs of the sheet are things a person does; every other one is a fact."""

from __future__ import annotations

from typing import Final, Literal

Role = Literal["fact", "action"]

ACTIONS: Final = frozenset(
    {
        "hand_sample", "forced_test_fresh_yeast", "forced_test_hopped", "package", "carbonation_volumes",
        "priming_sugar", "priming_shares", "fresh_yeast", "pasteurised", "purged", "heat_treat", "sulfite_ppm",
        "sulfite_as", "sulfite_basis", "sulfite_present_ppm", "sulfite_present_as", "sulfite_present_total_ppm",
        "tablet_g", "tablet_salt_g", "tablet_so2_mg", "sorbate_ppm", "stabilised", "filtered", "sweetener",
        "sweetener_g", "sweeten_to_sg", "acid_g_per_l", "lactose_g_per_l", "dry_hopped", "hops_g_per_l",
        "hops_total_g", "hop_shares", "scale_resolution_g",
    }
)  # fmt: skip
"""What a person does, or does not do; every other key is a fact."""
