"""Additions by mass balance, against sums worked by hand and a published table of ethanol."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from analysis.additions import (
    SUBSTANCES,
    Contents,
    UnknownAdditionError,
    ethanol_density_kg_m3,
    ethanol_mass_fraction,
    missing,
    portion,
    typical_portion,
)
from analysis.attenuation import alcohol_abv_pct, apparent_attenuation
from analysis.model import SUBSTANCE_NAMES, Added
from analysis.units import sg_to_plato

ETHANOL = list(
    csv.DictReader(
        (Path(__file__).parents[1] / "published" / "ethanol_density.csv").read_text(encoding="utf-8").splitlines()[1:]
    )
)

# Sums by hand: mass = L × SG × 0.998203; extract = mass × °P (ASBC cubic); both added up; °P and SG of the mixture.
# Honey 82.8 % extract (17.2 % water: White et al. 1962). Tolerances: the sums have 5 digits of SG, 3 of litres.
HAND = [
    (20.0, 1.050, Added("honey", 1.0), 1.06366, 20.6849),  # (2.5967 + 0.8280) / (20.9623 + 1.0000) = 15.594 %
    (20.0, 1.050, Added("sucrose", 0.5), 1.05866, 20.3095),  # (2.5967 + 0.5000) / (20.9623 + 0.5000) = 14.429 %
    (20.0, 1.050, Added("dextrose", 0.5), 1.05866, 20.3095),
    (20.0, 1.050, Added("dextrose monohydrate", 0.5), 1.05776, 20.3269),  # 90.91 % of it: 0.4545 kg
    (10.0, 1.050, Added("juice", None, 2.0, 1.04627), 1.04938, 12.0),  # 2.0888 kg of 11.5 %
    (10.0, 1.050, Added("fruit", 3.0), 1.04777, 12.8897),  # a tenth is extract: 0.3 kg
    (20.0, 1.060, Added("water", None, 2.0), 1.05458, 21.9993),  # 3.1196 / (21.1619 + 1.9964) = 13.471 %
    (12.0, 1.040, Added("another batch", None, 8.0, 1.090, 0.0), 1.06006, 20.0),  # two musts: 14.755 %
]


@pytest.mark.parametrize(("volume_l", "gravity_sg", "added", "after_sg", "after_l"), HAND)
def test_the_mixture_is_that_of_the_sums_by_hand(
    volume_l: float, gravity_sg: float, added: Added, after_sg: float, after_l: float
) -> None:
    mixed = Contents.of_must(volume_l, gravity_sg).with_added(portion(added, "mead"))
    assert mixed.gravity_sg == pytest.approx(after_sg, abs=3e-5)
    assert mixed.original_gravity_sg == pytest.approx(after_sg, abs=3e-5)
    assert mixed.volume_l == pytest.approx(after_l, abs=0.003)


def test_a_fed_mead_has_the_alcohol_of_all_its_honey() -> None:
    # By hand: 20 L of 1.048 (2.4923 kg in 20.9223) and 3 kg of honey (2.484 in 3): 20.8018 °P original; at 1.004 the
    # real extract is 0.1808 × 20.8018 + 0.8192 × 1.0278 = 4.6029, alcohol 8.7816 % by mass, 11.151 % by volume.
    drink = Contents.of_must(20.0, 1.048)
    for gravity in (1.020, 1.015, 1.010):
        drink = drink.fermented_to(gravity).with_added(portion(Added("honey", 1.0), "mead"))
    done = drink.fermented_to(1.004)
    assert sg_to_plato(done.original_gravity_sg) == pytest.approx(20.8018, abs=0.002)
    assert 100 * done.extract_kg / done.mass_kg == pytest.approx(4.6029, abs=0.002)
    assert done.alcohol_abv_pct == pytest.approx(11.151, abs=0.005)
    assert done.apparent_attenuation == pytest.approx(apparent_attenuation(done.original_gravity_sg, 1.004), abs=1e-6)


def test_two_dry_drinks_mix_as_their_alcohol_says() -> None:
    # By hand: 12 L of 6.0 % and 8 L of 11.0 % are 8.0 % by volume; contraction moves that by 0.001 at most.
    first = Contents.of_drink(12 * 0.998203 * 0.9914, 0.9914, 6.0)
    mixed = first.with_added(portion(Added("another batch", None, 8.0, 0.9853, 11.0), "cider"))
    assert mixed.alcohol_abv_pct == pytest.approx(8.0, abs=0.02)
    assert mixed.spirit_kg == 0.0


@pytest.mark.parametrize("row", ETHANOL, ids=lambda row: row["pct_mass"])
def test_ethanol_is_as_dense_as_the_published_table_says(row: dict[str, str]) -> None:
    # OIML R 22 (1975), computed to the digits printed.
    share = float(row["pct_mass"]) / 100
    assert ethanol_density_kg_m3(share) == pytest.approx(float(row["rho_20c_kg_m3"]), abs=0.002)
    assert 100 * ethanol_mass_fraction(float(row["pct_vol_20c"])) == pytest.approx(100 * share, abs=0.003)


@pytest.mark.parametrize("litres", [0.5, 1.0, 3.0, 5.0])
def test_spirit_in_water_has_the_strength_and_gravity_of_the_table(litres: float) -> None:
    mixed = Contents.of_must(10.0, 1.0).with_added(portion(Added("spirit", None, litres, abv_pct=40.0), "wine"))
    share = mixed.alcohol_kg / mixed.mass_kg
    table = [(float(r["pct_mass"]) / 100, float(r["pct_vol_20c"]), float(r["sg_20_20"])) for r in ETHANOL]
    strength = float(np.interp(share, [r[0] for r in table], [r[1] for r in table]))
    gravity = float(np.interp(share, [r[0] for r in table], [r[2] for r in table]))
    # Balling's relations are made for beers and wines: a point of gravity, and 0.1 % vol.
    assert mixed.alcohol_abv_pct == pytest.approx(strength, abs=0.1)
    assert mixed.gravity_sg == pytest.approx(gravity, abs=0.001)


def test_spirit_does_not_pass_for_extract_that_has_fermented() -> None:
    before = Contents.of_must(20.0, 1.100).fermented_to(1.030)
    after = before.with_added(portion(Added("spirit", None, 2.0, abv_pct=70.0), "wine"))
    assert after.alcohol_abv_pct > before.alcohol_abv_pct + 5.0
    assert after.original_extract_kg == pytest.approx(before.original_extract_kg)
    assert after.original_gravity_sg < before.original_gravity_sg


def test_properties_over_random_additions() -> None:
    """Mass, extract and alcohol are kept; without additions all is as the two gravities tell."""
    random = np.random.default_rng(20)
    for _ in range(400):
        original = random.uniform(1.03, 1.12)
        drink = Contents.of_must(random.uniform(5, 500), original)
        extract, spirit, gravity = drink.original_extract_kg, 0.0, original
        for _ in range(int(random.integers(0, 5))):
            gravity = 1.0 + (drink.gravity_sg - 1.0) * random.uniform(0.1, 1.0)
            drink = drink.fermented_to(gravity)
            assert drink.gravity_sg == pytest.approx(gravity, abs=1e-9)
            assert drink.original_extract_kg == pytest.approx(extract, rel=1e-9)
            name = SUBSTANCE_NAMES[int(random.integers(0, len(SUBSTANCE_NAMES)))]
            own = Added(name, drink.mass_kg * random.uniform(0.001, 0.3), None, random.uniform(1.0, 1.09), 8.0)
            part = portion(own, "mead")
            before, drink = drink, drink.with_added(part)
            extract += part.extract_kg + (2.0665 * part.alcohol_kg if part.fermented else 0.0)
            spirit += 0.0 if part.fermented else part.alcohol_kg
            assert drink.mass_kg == pytest.approx(before.mass_kg + part.mass_kg)
            assert drink.volume_l > before.volume_l
            # As much of it as makes this step is just what was added; of what hardly moves the gravity none can tell.
            step = drink.gravity_sg - before.gravity_sg
            if abs(step) > 0.001:
                again = before.with_step(part, step)
                assert again.gravity_sg == pytest.approx(drink.gravity_sg, abs=1e-7)
                assert again.mass_kg == pytest.approx(drink.mass_kg, rel=1e-4)
            if name == "water":
                assert drink.gravity_sg <= max(before.gravity_sg, 1.0) + 1e-9
            if name in ("sucrose", "dextrose"):
                assert drink.gravity_sg > before.gravity_sg
        assert drink.original_extract_kg == pytest.approx(extract, rel=1e-9)
        assert drink.spirit_kg == pytest.approx(spirit, abs=1e-9)
        if spirit == 0.0 and drink.gravity_sg < drink.original_gravity_sg:
            by_gravities = alcohol_abv_pct(drink.original_gravity_sg, drink.gravity_sg)
            assert drink.alcohol_abv_pct == pytest.approx(by_gravities, abs=1e-6)


@pytest.mark.parametrize(
    ("added", "lacks"),
    [
        (Added("sucrose"), ("how much was added",)),
        (Added("sucrose", None, 0.5), ("the weight of the sugar (sucrose)",)),
        (Added("juice", None, 2.0), ("the gravity of the juice itself",)),
        (Added("spirit", None, 2.0), ("the strength of the spirit without sugar, % vol",)),
        (Added("honey", None, 1.0), ()),
        (Added("water", None, 1.0), ()),
    ],
)
def test_what_is_missing_is_named(added: Added, lacks: tuple[str, ...]) -> None:
    assert missing(added) == lacks
    if not lacks:
        assert portion(added, "ale").mass_kg > 0
        return
    with pytest.raises(UnknownAdditionError) as caught:
        portion(added, "ale")
    assert caught.value.missing == lacks


@pytest.mark.parametrize("name", SUBSTANCE_NAMES)
def test_every_substance_is_known_and_has_a_usual_portion(name: str) -> None:
    facts = SUBSTANCES[name]  # type: ignore[index]
    usual = typical_portion(Added(name), facts.kind, "ale")  # type: ignore[arg-type]
    assert usual.mass_kg == pytest.approx(1.0)
    assert (usual.extract_kg > 0) == (facts.kind == "feed")
    assert usual.fermentable_kg <= usual.extract_kg


def test_impossible_amounts_are_refused() -> None:
    with pytest.raises(ValueError, match="mass_kg of the honey is -1"):
        Added("honey", -1.0)
    with pytest.raises(ValueError, match="abv_pct of the spirit is 140"):
        Added("spirit", None, 1.0, abv_pct=140.0)
    with pytest.raises(ValueError, match="is not one of: sucrose"):
        Added("lard", 1.0)  # type: ignore[arg-type]
