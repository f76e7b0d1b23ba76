"""What a packaging sheet takes: the one home of its keys, labels, units and usual ranges."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final, Literal

from analysis.display_units import DisplayUnits, Quantity
from analysis.model import DRINKS
from analysis.packaging.carbonation import PRIMING_SUGARS
from analysis.packaging.kinds import BOTTLE_KINDS
from analysis.packaging.roles import ACTIONS, Role
from analysis.packaging.sweetening import SWEETENERS
from analysis.thresholds import HIGHEST_CELLAR_M, HIGHEST_PLACE_M, LOWEST_PLACE_M

Kind = Literal["number", "choice", "yes or no", "text", "shares", "falls"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One input of the sheet, as the screen, the command line and the printed page name it.

    `low` and `high` are what is accepted, `usual` says in words what is common, in `unit`; `quantity` says which unit
    of the person's choice applies on screen, while the value stays in `unit`. `common` is the range that `usual`
    names, where it is one, and `note` what is said after it.
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
    common: tuple[float, float] | None = None
    note: str = ""
    help: str = ""
    choices: tuple[str, ...] = ()
    default: Any = None
    """What a form fills in, and what counts where nothing is given."""
    counted: Any = None
    """What counts against the drink where nothing is given, while the form stays empty."""

    def usual_in(self, units: DisplayUnits | None) -> str:
        """What is common, in these units; None: in the unit of the key."""
        if units is None or self.common is None:
            return self.usual
        return f"Usual is {units.span(*self.common, self.quantity, self.unit)}{self.note}."

    @property
    def role(self) -> Role:
        """A fact left out counts as the worst that is plausible of it; an action left out as not done."""
        return "action" if self.key in ACTIONS else "fact"


def _number(
    key: str, label: str, group: str, unit: str, low: float, high: float, usual: str | tuple[float, float], **more: Any
) -> Field:
    if isinstance(usual, tuple):
        more["common"] = usual
        pattern = ".3f" if unit == "SG" and more["quantity"] == "gravity" else "g"
        shown = "" if unit == "SG" else unit
        kept_note = more.pop("kept_note", more.get("note", ""))
        usual = f"{usual[0]:{pattern}} to {usual[1]:{pattern}} {shown}".rstrip() + kept_note
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
_SPIRIT = "It lowers the gravity without having fermented: it is alcohol, not attenuation."
_FALL = "; it is a fall, so four points are 0.004"

FIELDS: Final[tuple[Field, ...]] = (
    _choice("drink", "Drink", "Batch", (*DRINKS, "beer")),
    Field(
        key="jurisdiction",
        label="Rules of",
        group="Batch",
        kind="text",
        usual="EU, US, CA and Codex are known; for any other place the lowest known limit is used.",
    ),
    _number("volume_l", "Volume", "Batch", "L", 0.05, 100_000, (1, 2000), quantity="volume"),
    _number("original_gravity_sg", "Original gravity", "Batch", "SG", 1.0, 1.25, (1.020, 1.160), quantity="gravity"),
    _number("final_gravity_sg", "Final gravity", "Batch", "SG", 0.97, 1.2, (0.990, 1.030), quantity="gravity"),
    _number("spirit_abv_pct", "Alcohol added as a spirit", "Batch", "% vol", 0.0, 25.0, "2 to 10 % vol", help=_SPIRIT),
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
    _number(
        "alcohol_tolerance_pct",
        "Yeast bears alcohol up to",
        "Batch",
        "% vol",
        2.0,
        25.0,
        "9 to 18 % vol, as its maker says",
    ),
    _yes_no("diastatic", "Diastatic yeast", "Batch", "It eats dextrins and creeps for weeks.", default=False),
    _yes_no("mixed_culture", "Mixed culture", "Batch", "Other yeasts or bacteria go on for months.", default=False),
    _number(
        "expected_low",
        "Expected attenuation, low",
        "Batch",
        "",
        0.2,
        1.4,
        (0.65, 0.8),
        quantity="share",
        note=" for beer, near 100 for cider",
        kept_note=" for beer, near 1 for cider",
    ),
    _number(
        "expected_high",
        "Expected attenuation, high",
        "Batch",
        "",
        0.2,
        1.4,
        (0.7, 0.85),
        quantity="share",
        note=" for beer, near 100 for cider",
        kept_note=" for beer, near 1 for cider",
    ),
    _number(
        "forced_test_sg",
        "End gravity of a forced test",
        "Batch",
        "SG",
        0.97,
        1.2,
        (0.990, 1.030),
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
        (10, 60),
        quantity="concentration",
        help="It stays, since brewer's yeast cannot eat it, and lifts the final gravity.",
    ),
    _number(
        "malic_acid_g_per_l",
        "Malic acid",
        "Batch",
        "g/L",
        0.0,
        20.0,
        (1, 8),
        quantity="concentration",
        help="Bacteria may turn it to gas, about 0.17 volume for each gram in a litre. "
        "Not known: the most that is usual counts.",
    ),
    _yes_no(
        "malolactic_finished", "Malolactic fermentation finished", "Batch", "Tested, so that no malic acid is left."
    ),
    _choice("package", "Package", "Carbonation", ("bottle", "keg")),
    _number("carbonation_volumes", "Carbonation", "Carbonation", "volumes", 0.0, 10.0, "1.5 to 4 volumes"),
    _choice(
        "priming_sugar",
        "Priming sugar",
        "Carbonation",
        tuple(PRIMING_SUGARS),
        "Table sugar is sucrose, dextrose is glucose: monohydrate unless its bag says anhydrous.",
        "sucrose",
    ),
    Field(
        key="priming_shares",
        label="Priming mix",
        group="Carbonation",
        kind="shares",
        usual='Priming sugars with their shares by mass, such as {"sucrose": 2, "honey": 1}.',
        help="Instead of one priming sugar.",
    ),
    _number(
        "priming_gravity_sg",
        "Gravity of the priming wort or juice",
        "Carbonation",
        "SG",
        1.005,
        1.2,
        (1.030, 1.100),
        quantity="gravity",
    ),
    _number("priming_brix", "Strength of the priming juice", "Carbonation", "°Bx", 1.0, 85.0, "10 to 70 °Bx"),
    _number(
        "priming_sugar_g_per_l",
        "Sugar in the priming juice",
        "Carbonation",
        "g/L",
        5.0,
        1000.0,
        (90, 160),
        quantity="concentration",
        note=" for juice, as its label says",
    ),
    _yes_no("fresh_yeast", "Fresh yeast goes in with it", "Carbonation", "Yeast added on packaging day.", False),
    _number(
        "warmest_c",
        "Warmest since it finished",
        "Carbonation",
        "°C",
        -2.0,
        60.0,
        (0, 30),
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
        (0, 200),
        quantity="pressure",
        note="; vented it is 0",
        kept_note=f"; vented it is 0{_PRESSURE}",
        default=0.0,
    ),
    _number(
        "storage_c",
        "Hottest place it may stand",
        "Carbonation",
        "°C",
        -5.0,
        70.0,
        (4, 35),
        quantity="temperature",
        default=30.0,
    ),
    _number(
        "altitude_m",
        "Altitude",
        "Carbonation",
        "m",
        LOWEST_PLACE_M,
        HIGHEST_PLACE_M,
        (0, 3000),
        help="In thinner air a gauge reads more. Set up keeps it for the cellar; without it, 1500 m count.",
        counted=HIGHEST_CELLAR_M,
    ),
    _number("serving_c", "Serving temperature", "Carbonation", "°C", -3.0, 40.0, (1, 14), quantity="temperature"),
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
        (600, 1600),
        quantity="pressure",
        kept_note=_PRESSURE,
        help="The maker's working pressure, not the short test of a new bottle. Without it there is no go.",
    ),
    _number(
        "keg_rating_kpa",
        "Keg rated for",
        "Carbonation",
        "kPa",
        50.0,
        5000.0,
        (700, 900),
        quantity="pressure",
        kept_note=_PRESSURE,
        help="Read its marking. Without it there is no go.",
    ),
    _number(
        "remaining_fall_sg",
        "May still fall by",
        "Carbonation",
        "SG",
        0.0,
        0.2,
        (0, 0.005),
        quantity="gravity fall",
        note="; it is a fall",
        kept_note=_FALL,
        help="The upper end of the forecast (one chance in ten that it is more).",
    ),
    Field(
        key="remaining_falls_sg",
        label="May still fall by, each as likely",
        group="Carbonation",
        kind="falls",
        unit="SG",
        quantity="gravity fall",
        high=0.2,
        usual="Give falls of equal chance from the least to the greatest, such as [0.0, 0.0002, 0.001].",
        help="The whole of a forecast, as a batch's readings give it; `remaining_fall_sg` is its upper end.",
    ),
    _number(
        "hop_creep_fall_sg",
        "Hops may start a fall of",
        "Carbonation",
        "SG",
        0.0,
        0.1,
        (0, 0.01),
        quantity="gravity fall",
        note="; it is a fall",
        kept_note=_FALL,
    ),
    _number(
        "lowest_plausible_sg",
        "Lowest plausible gravity",
        "Carbonation",
        "SG",
        0.97,
        1.2,
        (0.990, 1.020),
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
        ("added", "free", "total"),
        "What you add, or what shall be free or in all in the end; part of what is added gets bound.",
        "added",
    ),
    _number(
        "sulfite_present_ppm",
        "SO2 present",
        "Sulfite and sorbate",
        "mg/L",
        0.0,
        5000.0,
        "0 to 100 mg/L",
        help="What is in it before this dose, as SO2.",
        default=0.0,
    ),
    _choice(
        "sulfite_present_as",
        "SO2 present told as",
        "Sulfite and sorbate",
        ("free", "total", "added"),
        "Free or total, as it was measured, or the sum of what was added.",
    ),
    _number(
        "sulfite_present_total_ppm",
        "Total SO2 present",
        "Sulfite and sorbate",
        "mg/L",
        0.0,
        5000.0,
        "0 to 200 mg/L",
        help="Where the SO2 present is told as free: legal limits are on the total.",
    ),
    _choice("wine_colour", "Colour of the wine", "Sulfite and sorbate", ("red", "white", "rosé")),
    _number("tablet_g", "Mass of a tablet", "Sulfite and sorbate", "g", 0.05, 50.0, (0.4, 0.6), quantity="mass"),
    _number(
        "tablet_salt_g",
        "Potassium metabisulfite in a tablet",
        "Sulfite and sorbate",
        "g",
        0.01,
        50.0,
        "what its label says",
        quantity="mass",
        help="A tablet also holds what binds it. Of the sodium salt give the SO2 instead: it holds more.",
    ),
    _number("tablet_so2_mg", "SO2 from a tablet", "Sulfite and sorbate", "mg", 1.0, 30_000.0, "what its label says"),
    _number("sorbate_ppm", "Potassium sorbate", "Sulfite and sorbate", "mg/L", 0.0, 5000.0, "150 to 260 mg/L"),
    _yes_no(
        "stabilised", "Stabilised", "Sweetening and acid", "With sulfite and sorbate, in a clear and finished drink."
    ),
    _yes_no(
        "filtered",
        "Filtered free of yeast",
        "Sweetening and acid",
        "Through a membrane of 0.45 µm or finer, into clean packages; a clearing filter lets yeast through.",
    ),
    _yes_no(
        "pasteurised",
        "Pasteurised before filling",
        "Sweetening and acid",
        "Heated long enough to kill yeast, and filled clean.",
    ),
    _choice("sweetener", "Sweetener", "Sweetening and acid", tuple(SWEETENERS)),
    _number("sweetener_g", "Sweetener, mass", "Sweetening and acid", "g", 0.0, 1e6, (50, 1500), quantity="mass"),
    _number("sweeten_to_sg", "Sweeten to", "Sweetening and acid", "SG", 0.97, 1.2, (1.000, 1.030), quantity="gravity"),
    _number("acid_g_per_l", "Acid", "Sweetening and acid", "g/L", 0.0, 20.0, (0.5, 2), quantity="concentration"),
    _yes_no("dry_hopped", "Dry hopped", "Hops", "Hops can start a renewed fall in the bottle."),
    _number("hops_g_per_l", "Dry hops", "Hops", "g/L", 0.0, 100.0, (1, 12), quantity="concentration"),
    _number("hops_total_g", "Dry hops, total", "Hops", "g", 0.0, 1e6, (20, 300), quantity="mass"),
    _number(
        "hops_warm_days",
        "Days since dry hopping",
        "Hops",
        "days",
        0.0,
        365.0,
        "3 to 10 days",
        help="Warm days, as it fermented: in the cold hops start little, and it is still to come.",
    ),
    Field(
        key="hop_shares",
        label="Blend",
        group="Hops",
        kind="shares",
        usual='Names with their shares, such as {"Brindle": 2, "Osprey": 1}.',
    ),
    _number(
        "scale_resolution_g",
        "Scale shows steps of",
        "Hops",
        "g",
        0.001,
        1000.0,
        (0.1, 5),
        quantity="mass",
        default=1.0,
    ),
)

_BY_KEY: Final = {f.key: f for f in FIELDS}


def fields() -> tuple[Field, ...]:
    """Every input of the sheet, in the order in which a form asks for them."""
    return FIELDS


def field_of(key: str) -> Field:
    """The field with this key."""
    return _BY_KEY[key]
