from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.packaging import hops, sweetening


@given(
    st.floats(0, 5000),
    st.dictionaries(st.text(min_size=1, max_size=8), st.floats(0.01, 100), min_size=1, max_size=6),
    st.sampled_from([0.1, 0.5, 1.0, 2.0, 5.0]),
)
def test_the_parts_of_a_blend_always_add_up_to_what_the_scale_can_weigh(
    total_g: float, shares: dict[str, float], step_g: float
) -> None:
    parts = hops.shared_out(total_g, shares, step_g)
    assert set(parts) == set(shares)
    assert sum(parts.values()) == pytest.approx(round(total_g / step_g) * step_g, abs=1e-6)
    whole = sum(shares.values())
    for name, grams in parts.items():
        assert abs(grams / step_g - round(grams / step_g)) < 1e-6
        assert abs(grams - total_g * shares[name] / whole) <= 1.5 * step_g + 1e-6


def test_shares_may_be_parts_percentages_or_fractions() -> None:
    expected = {"Brindle": 70.0, "Osprey": 30.0}
    for shares in ({"Brindle": 7, "Osprey": 3}, {"Brindle": 70, "Osprey": 30}, {"Brindle": 0.7, "Osprey": 0.3}):
        assert hops.shared_out(100, shares) == expected


@pytest.mark.parametrize("shares", [{"Brindle": -1.0, "Osprey": 2.0}, {"Brindle": 0.0}])
def test_shares_that_cannot_be_are_refused(shares: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="0 or more"):
        hops.shared_out(100, shares)


@given(
    st.floats(0.995, 1.03), st.floats(0.001, 0.05), st.floats(1, 200), st.sampled_from(["sucrose", "honey", "lactose"])
)
def test_sweetening_by_mass_undoes_sweetening_by_gravity(
    gravity: float, lift: float, volume_l: float, name: str
) -> None:
    sweetener = sweetening.SWEETENERS[name]
    mass = sweetening.mass_for_gravity(gravity, gravity + lift, volume_l, sweetener)
    assert sweetening.gravity_after(gravity, volume_l, mass, sweetener) == pytest.approx(gravity + lift, abs=1e-9)


def test_sucrose_lifts_water_as_the_extract_table_says() -> None:
    # USDA AMS sucrose conversion table: 7.6 °P is 1.03017. Here 76 g of sucrose in 924 g of water.
    after = sweetening.gravity_after(1.0000115, 924 / 998.2031, 76, sweetening.SWEETENERS["sucrose"])
    assert after == pytest.approx(1.03017, abs=5e-5)


def test_a_sweetener_without_solids_cannot_lift_the_gravity() -> None:
    with pytest.raises(ValueError, match="give its mass instead"):
        sweetening.mass_for_gravity(1.000, 1.010, 20, sweetening.SWEETENERS["sucralose"])
