from __future__ import annotations

from typing import Any

import pytest

from analysis.packaging import checked, sheet
from analysis.packaging.findings import AboveExpectedEnd
from analysis.packaging.spirit import lowered_by, without_spirit

MEAD: dict[str, Any] = {
    "drink": "mead",
    "package": "bottle",
    "original_gravity_sg": 1.100,
    "final_gravity_sg": 1.010,
    "finished": True,
    "hold_met": True,
    "hand_sample": True,
}


@pytest.mark.parametrize(("abv_pct", "density_kg_m3"), [(5.0, 991.06), (10.0, 984.71), (20.0, 973.56)])
def test_water_is_lightened_as_in_the_table_of_mixtures(abv_pct: float, density_kg_m3: float) -> None:
    # OIML R 22 (1975), densities of ethanol in water at 20 °C by % vol, from memory; water 998.20.
    assert lowered_by(abv_pct) == pytest.approx(1 - density_kg_m3 / 998.20, abs=1e-4)


def test_a_spirit_is_alcohol_and_no_attenuation() -> None:
    plain, with_spirit = sheet(MEAD), sheet({**MEAD, "spirit_abv_pct": 5.0})
    fermented = sheet({**MEAD, "final_gravity_sg": 1.010 + lowered_by(5.0)})
    assert with_spirit.apparent_attenuation == fermented.apparent_attenuation < plain.apparent_attenuation  # type: ignore[operator]
    assert with_spirit.alcohol_abv_pct == pytest.approx(fermented.alcohol_abv_pct + 5.0, abs=0.02)  # type: ignore[operator]
    assert with_spirit.inputs.final_gravity_sg == 1.010, "what was typed is what is printed"


def test_a_spirit_never_hides_what_is_left_to_ferment() -> None:
    # A dry mead may stand at 1.001. With 10 % vol of spirit in it that is a mead that stands at 1.014.
    dry = {**MEAD, "final_gravity_sg": 1.001}
    hiding = {**dry, "spirit_abv_pct": 10.0}
    assert not [one for one in sheet(dry).bottle_reasons if isinstance(one, AboveExpectedEnd)]
    assert [one for one in sheet(hiding).bottle_reasons if isinstance(one, AboveExpectedEnd)]
    assert sheet(hiding).bottle_worst_volumes is None  # no carbonation, no temperature: nothing to reckon from
    warm = {"warmest_c": 20.0}
    assert sheet({**hiding, **warm}).bottle_worst_volumes > sheet({**dry, **warm}).bottle_worst_volumes + 4  # type: ignore[operator]


def test_without_a_spirit_nothing_changes() -> None:
    assert without_spirit(checked(MEAD)) == checked(MEAD)
