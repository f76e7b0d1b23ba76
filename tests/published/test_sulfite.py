from __future__ import annotations

import csv
from pathlib import Path

import pytest

from analysis.packaging import sulfite
from analysis.units import us_gal_to_litres
from tests.analysis.packaging.answers import sheet

HERE = Path(__file__).parent


def rows(name: str) -> list[dict[str, str]]:
    lines = (HERE / name).read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("# Source")
    return list(csv.DictReader(lines[1:]))


@pytest.mark.parametrize("row", rows("molecular_so2.csv"), ids=lambda r: r["ph"])
def test_the_molecular_share_follows_the_ph(row: dict[str, str]) -> None:
    assert sulfite.molecular_fraction(float(row["ph"])) == pytest.approx(float(row["fraction"]), abs=1e-4)


def test_potassium_metabisulfite_is_57_6_per_cent_so2() -> None:
    # IUPAC abridged atomic weights: 2 * 64.058 / 222.312.
    assert pytest.approx(128.116 / 222.312, abs=1e-4) == sulfite.SO2_PER_SALT
    # Worked by hand: 50 mg/L in 20 L is 1.735 g of the salt.
    assert sulfite.salt_g(50.0, "so2", 20.0) == pytest.approx(1.735, abs=1e-3)


def test_at_beer_like_ph_next_to_nothing_is_molecular() -> None:
    # From memory, pKa 1.81: 20 mg/L free at pH 4.2 is 0.08 mg/L.
    assert sulfite.molecular_so2_ppm(20.0, 4.2) == pytest.approx(0.08, abs=0.005)
    refused = sheet({"drink": "ale", "jurisdiction": "EU", "ph": 4.2, "sulfite_ppm": 20, "sulfite_as": "so2"})
    assert refused["molecular_so2_ppm"] == pytest.approx(0.08, abs=0.005)


def test_200_mg_l_of_sorbic_acid_is_268_of_the_potassium_salt() -> None:
    # OIV code II.3.4.5 and Codex COEI-1-POTSOR.
    assert pytest.approx(268, abs=0.5) == 200 / sulfite.SORBIC_PER_POTASSIUM_SORBATE


def test_five_us_gallons_at_the_top_of_the_usual_dose_take_just_over_one_and_a_half_tablets() -> None:
    # Common practice, no source: 25 to 35 ppm as the salt, tablets of 0.44 g.
    answer = sheet(
        {
            "drink": "cider",
            "jurisdiction": "US",
            "volume_l": us_gal_to_litres(5.0),
            "sulfite_ppm": 35.0,
            "sulfite_as": "salt",
            "tablet_g": 0.44,
        }
    )
    assert 1.5 < answer["tablets"] < 1.6
    assert answer["refusals"] == []


# Delegated Regulation (EU) 2019/934, Annex I part B; 27 CFR 4.22(b)(1); Regulation (EC) 1333/2008 (from memory).
@pytest.mark.parametrize(
    ("drink", "place", "limit"),
    [
        ("wine", "EU", 150),
        ("cider", "EU", 200),
        ("mead", "EU", 200),
        ("ale", "EU", 20),
        ("lager", "EU", 20),
        ("wine", "US", 350),
        ("mead", "US", 350),
    ],
)
def test_a_dose_at_the_legal_limit_is_refused_with_the_limit_named(drink: str, place: str, limit: int) -> None:
    given = {"drink": drink, "jurisdiction": place, "volume_l": 20, "sulfite_as": "so2"}
    refused = sheet({**given, "sulfite_ppm": limit})
    assert refused["potassium_metabisulfite_g"] is None
    assert f"{limit} mg/L" in refused["refusals"][0]
    assert place in refused["refusals"][0]
    under = sheet({**given, "sulfite_ppm": limit - 1})
    assert under["refusals"] == []
    assert under["potassium_metabisulfite_g"] > 0


def test_white_wine_in_the_eu_may_hold_more_than_red() -> None:
    given = {"drink": "wine", "jurisdiction": "EU", "volume_l": 20, "sulfite_ppm": 160, "sulfite_as": "so2"}
    assert sheet({**given, "wine_colour": "red"})["refusals"]
    assert not sheet({**given, "wine_colour": "white"})["refusals"]


def test_so2_already_added_counts_towards_the_limit() -> None:
    given = {"drink": "cider", "jurisdiction": "EU", "volume_l": 20, "sulfite_ppm": 60, "sulfite_as": "so2"}
    assert not sheet(given)["refusals"]
    assert sheet({**given, "sulfite_present_ppm": 150})["refusals"]


def test_sorbate_at_its_limit_is_refused() -> None:
    assert sheet({"jurisdiction": "EU", "sorbate_ppm": 268, "volume_l": 20})["refusals"]
    fine = sheet({"jurisdiction": "EU", "sorbate_ppm": 200, "volume_l": 20})
    assert fine["potassium_sorbate_g"] == pytest.approx(4.0)
    assert any("does not stop a running fermentation" in c for c in fine["cautions"])
