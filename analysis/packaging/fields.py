"""What a packaging sheet takes: the one home of its keys, labels, units and usual ranges."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final, Literal

from analysis.model import DRINKS
from analysis.packaging.carbonation import PRIMING_SUGARS
from analysis.packaging.kinds import BOTTLE_KINDS
from analysis.packaging.sweetening import SWEETENERS

Kind = Literal["number", "choice", "yes or no", "text", "shares"]
Role = Literal["fact", "action"]
Quantity = Literal["", "gravity", "gravity fall", "temperature", "pressure", "volume", "mass"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One input of the sheet, as the screen, the command line and the printed page name it.

    `low` and `high` are what is accepted, `usual` says in words what is common; `quantity` says which unit of the
    person's choice applies on screen, while the value stays in `unit`.
    """

    key: str
    label: str
    group: str
    kind: Kind = "number"
    unit: str = ""
    quantity: Quantity = ""
    low: float = 0.0
    high: float = math.inf
    usual: str = ""
    help: str = ""
    choices: tuple[str, ...] = ()
    default: Any = None

    @property
    def role(self) -> Role:
        """A fact left out counts as the worst that is plausible of it; an action left out as not done."""
        return "action" if self.key in _ACTIONS else "fact"


_ACTIONS: Final = frozenset(
    {
        "hand_sample", "forced_test_fresh_yeast", "forced_test_hopped", "package", "carbonation_volumes",
        "priming_sugar", "purged", "heat_treat", "sulfite_ppm", "sulfite_as", "sulfite_basis", "sulfite_present_ppm",
        "tablet_g", "sorbate_ppm", "stabilised", "filtered", "sweetener", "sweetener_g", "sweeten_to_sg",
        "acid_g_per_l", "lactose_g_per_l", "dry_hopped", "hops_g_per_l", "hops_total_g", "hop_shares",
        "scale_resolution_g",
    }
)  # fmt: skip
"""What a person does, or does not do; every other key is a fact."""


def _number(key: str, label: str, group: str, unit: str, low: float, high: float, usual: str, **more: Any) -> Field:
    return Field(key=key, label=label, group=group, unit=unit, low=low, high=high, usual=f"Usual is {usual}.", **more)


def _yes_no(key: str, label: str, group: str, help: str = "", default: bool | None = None) -> Field:
    return Field(
        key=key, label=label, group=group, kind="yes or no", usual="Say true or false.", help=help, default=default
    )


def _choice(
    key: str, label: str, group: str, choices: tuple[str, ...], help: str = "", default: str | None = None
) -> Field:
    usual = f"Choose one of: {', '.join(choices)}."
    return Field(
        key=key, label=label, group=group, kind="choice", choices=choices, usual=usual, help=help, default=default
    )


_PRESSURE = "; 100 kPa is 1 bar"

FIELDS: Final[tuple[Field, ...]] = (
    _choice("drink", "Drink", "Batch", (*DRINKS, "beer")),
    Field(
        key="jurisdiction",
        label="Rules of",
        group="Batch",
        kind="text",
        usual="EU and US are known; for any other place the lowest known limit is used.",
    ),
    _number("volume_l", "Volume", "Batch", "L", 0.05, 100_000, "1 to 2000 L", quantity="volume"),
    _number("original_gravity_sg", "Original gravity", "Batch", "SG", 1.0, 1.25, "1.020 to 1.160", quantity="gravity"),
    _number("final_gravity_sg", "Final gravity", "Batch", "SG", 0.97, 1.2, "0.990 to 1.030", quantity="gravity"),
    _number("ph", "pH", "Batch", "", 2.5, 5.0, "2.5 to 5: 2.9 to 3.8 for wine-like drinks and 3.8 to 4.7 for beer"),
    _yes_no("finished", "Has it finished?", "Batch", "The gravity has come to its end, on the evidence."),
    _yes_no("hold_met", "Was the hold seen?", "Batch", "The gravity was watched to hold for as long as you asked."),
    _number(
        "held_days",
        "Held for",
        "Batch",
        "days",
        0.0,
        3650.0,
        "2 to 5 days, weeks for a diastatic yeast or a mixed culture",
        help="How long degassed samples or a float showed no fall of a point.",
    ),
    _yes_no("hand_sample", "Did a hand sample agree?", "Batch", "A float that is stuck looks just like a finish."),
    _yes_no("diastatic", "Diastatic yeast", "Batch", "It eats dextrins and creeps for weeks.", default=False),
    _yes_no("mixed_culture", "Mixed culture", "Batch", "Other yeasts or bacteria go on for months.", default=False),
    _number(
        "expected_low", "Expected attenuation, low", "Batch", "", 0.2, 1.4, "0.65 to 0.80 for beer, near 1 for cider"
    ),
    _number(
        "expected_high", "Expected attenuation, high", "Batch", "", 0.2, 1.4, "0.70 to 0.85 for beer, near 1 for cider"
    ),
    _number(
        "forced_test_sg",
        "End gravity of a forced test",
        "Batch",
        "SG",
        0.97,
        1.2,
        "0.990 to 1.030",
        quantity="gravity",
        help="A small warm sample with plenty of yeast shows where the drink can end. One that ends far above what "
        "drink and yeast reach is doubted.",
    ),
    _yes_no(
        "forced_test_fresh_yeast",
        "Forced test with fresh yeast",
        "Batch",
        "Plenty of fresh yeast, warm, until it stood. With the batch's own tired yeast it may stop short just as the "
        "batch did.",
    ),
    _yes_no(
        "forced_test_hopped", "Forced test after dry hopping", "Batch", "The sample was taken with the hops in it."
    ),
    _number(
        "lactose_g_per_l",
        "Lactose in it",
        "Batch",
        "g/L",
        0.0,
        100.0,
        "10 to 60 g/L",
        help="It stays, since brewer's yeast cannot eat it, and lifts the final gravity.",
    ),
    _number(
        "malic_acid_g_per_l",
        "Malic acid",
        "Batch",
        "g/L",
        0.0,
        20.0,
        "2 to 8 g/L in cider, 1 to 5 g/L in wine",
        help="Bacteria may turn it to gas, about 0.17 volume for each g/L. Not known: the most that is usual counts.",
    ),
    _yes_no(
        "malolactic_finished", "Malolactic fermentation finished", "Batch", "Tested, so that no malic acid is left."
    ),
    _choice("package", "Package", "Carbonation", ("bottle", "keg")),
    _number("carbonation_volumes", "Carbonation", "Carbonation", "volumes", 0.0, 10.0, "1.5 to 4 volumes"),
    _choice("priming_sugar", "Priming sugar", "Carbonation", tuple(PRIMING_SUGARS), default="sucrose"),
    _number(
        "warmest_c",
        "Warmest since it finished",
        "Carbonation",
        "°C",
        -2.0,
        60.0,
        "0 to 30 °C",
        quantity="temperature",
        help="It gave off gas there and has not taken it up again.",
    ),
    _number(
        "vessel_gauge_kpa",
        "Pressure in the vessel",
        "Carbonation",
        "kPa",
        0.0,
        1000.0,
        f"0 (vented) to 200 kPa{_PRESSURE}",
        quantity="pressure",
        default=0.0,
    ),
    _number(
        "storage_c",
        "Hottest place it may stand",
        "Carbonation",
        "°C",
        -5.0,
        70.0,
        "4 to 35 °C",
        quantity="temperature",
        default=30.0,
    ),
    _number("serving_c", "Serving temperature", "Carbonation", "°C", -3.0, 40.0, "1 to 14 °C", quantity="temperature"),
    _choice(
        "bottle_kind",
        "Kind of bottle",
        "Carbonation",
        tuple(BOTTLE_KINDS),
        "Without a rating it counts as the weakest that is commonly sold; a rating beyond what is sold is doubted.",
    ),
    _number(
        "bottle_rating_kpa",
        "Bottle rated for",
        "Carbonation",
        "kPa",
        50.0,
        5000.0,
        f"600 to 1600 kPa{_PRESSURE}",
        quantity="pressure",
        help="The maker's working pressure, not the short test of a new bottle. Without it there is no go.",
    ),
    _number(
        "keg_rating_kpa",
        "Keg rated for",
        "Carbonation",
        "kPa",
        50.0,
        5000.0,
        f"700 to 900 kPa{_PRESSURE}",
        quantity="pressure",
        help="Read its marking. Without it there is no go.",
    ),
    _number(
        "remaining_fall_sg",
        "May still fall by",
        "Carbonation",
        "SG",
        0.0,
        0.2,
        "0 to 0.005; it is a fall, so four points are 0.004",
        quantity="gravity fall",
        help="The upper end of the forecast (one chance in ten that it is more).",
    ),
    _number(
        "hop_creep_fall_sg",
        "Hops may start a fall of",
        "Carbonation",
        "SG",
        0.0,
        0.1,
        "0 to 0.010; it is a fall, so four points are 0.004",
        quantity="gravity fall",
    ),
    _number(
        "lowest_plausible_sg",
        "Lowest plausible gravity",
        "Carbonation",
        "SG",
        0.97,
        1.2,
        "0.990 to 1.020",
        quantity="gravity",
        help="How far it could go if everything went wrong. It can only lower what drink, yeast and culture give; a "
        "forced test shows that less is left.",
    ),
    _yes_no(
        "purged", "Head space purged of air", "Carbonation", "Air sealed in adds up to one atmosphere.", default=False
    ),
    _yes_no("heat_treat", "Filled bottles will be heated", "Carbonation", default=False),
    _number(
        "sulfite_ppm",
        "Sulfite",
        "Sulfite and sorbate",
        "mg/L",
        0.0,
        5000.0,
        "25 to 35 mg/L of the salt, or 10 to 50 mg/L of SO2",
    ),
    _choice(
        "sulfite_as",
        "Sulfite counted as",
        "Sulfite and sorbate",
        ("so2", "salt"),
        "SO2, or the salt potassium metabisulfite.",
    ),
    _choice(
        "sulfite_basis",
        "Sulfite meant as",
        "Sulfite and sorbate",
        ("added", "free"),
        "What you add, or what shall stay free; part of what is added gets bound.",
        "added",
    ),
    _number(
        "sulfite_present_ppm",
        "SO2 already added",
        "Sulfite and sorbate",
        "mg/L",
        0.0,
        5000.0,
        "0 to 100 mg/L",
        default=0.0,
    ),
    _choice("wine_colour", "Colour of the wine", "Sulfite and sorbate", ("red", "white", "rosé")),
    _number("tablet_g", "Mass of a tablet", "Sulfite and sorbate", "g", 0.05, 50.0, "0.44 g"),
    _number("sorbate_ppm", "Potassium sorbate", "Sulfite and sorbate", "mg/L", 0.0, 5000.0, "150 to 260 mg/L"),
    _yes_no(
        "stabilised", "Stabilised", "Sweetening and acid", "With sulfite and sorbate, in a clear and finished drink."
    ),
    _yes_no("filtered", "Filtered free of yeast", "Sweetening and acid", "Through a filter that holds yeast back."),
    _choice("sweetener", "Sweetener", "Sweetening and acid", tuple(SWEETENERS)),
    _number("sweetener_g", "Sweetener, mass", "Sweetening and acid", "g", 0.0, 1e6, "5 to 60 g/L", quantity="mass"),
    _number(
        "sweeten_to_sg", "Sweeten to", "Sweetening and acid", "SG", 0.97, 1.2, "1.000 to 1.030", quantity="gravity"
    ),
    _number("acid_g_per_l", "Acid", "Sweetening and acid", "g/L", 0.0, 20.0, "0.5 to 2 g/L"),
    _yes_no("dry_hopped", "Dry hopped", "Hops", "Hops can start a renewed fall in the bottle."),
    _number("hops_g_per_l", "Dry hops", "Hops", "g/L", 0.0, 100.0, "1 to 12 g/L"),
    _number("hops_total_g", "Dry hops, total", "Hops", "g", 0.0, 1e6, "20 to 300 g", quantity="mass"),
    _number(
        "hops_warm_days",
        "Days since dry hopping",
        "Hops",
        "days",
        0.0,
        365.0,
        "3 to 10 days",
        help="Days at 15 °C or warmer: in the cold hops start little, and it is still to come.",
    ),
    Field(
        key="hop_shares",
        label="Blend",
        group="Hops",
        kind="shares",
        usual='Names with their shares, such as {"Brindle": 2, "Osprey": 1}.',
    ),
    _number("scale_resolution_g", "Scale shows steps of", "Hops", "g", 0.001, 1000.0, "0.1 to 5 g", default=1.0),
)

_BY_KEY: Final = {f.key: f for f in FIELDS}


def fields() -> tuple[Field, ...]:
    """Every input of the sheet, in the order in which a form asks for them."""
    return FIELDS


def field_of(key: str) -> Field:
    """The field with this key."""
    return _BY_KEY[key]
