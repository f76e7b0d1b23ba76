"""What the words and verdicts mean, how they are reached, and their limits, in plain words."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from analysis.display_units import DisplayUnits, chances_table, number
from analysis.model import CONTACT_DAYS, HOLD_H, PHASES, STEADY_SG, Phase
from analysis.thresholds import FAR_SG
from analysis.wording import DEFER, PHASE_WORDS
from dashboard.charts import phase_glyph
from dashboard.templates import Markup, render

PHASE_MEANINGS: Final[dict[Phase, str]] = {
    "lag": "The yeast is in and the gravity has not yet fallen. Hours are usual, a day is not alarming.",
    "active": "The gravity falls. How far and how fast is only guessed from batches like it.",
    "slowing": "The fall has passed its steepest and bends. From here on a date is worth something.",
    "steady": "The gravity moves by less than {point}; whether it has finished is judged beside that.",
    "finished": "That {far} or more are still to come is very unlikely, and it has stood for half a day at least.",
    "stalled": "It stands still above where this drink and yeast should end. It may go on later, in a bottle too.",
    "chilled": "It stands still because it is cold. That says nothing about whether it has finished.",
    "creeping": "It falls again after it had steadied, mostly after dry hops, whose enzymes free sugar.",
}

NOTIONS: Final = (
    (
        "When does it finish?",
        "The first moment after which the gravity falls by less than {point} for good, if nothing is done to it that "
        "we do not know of. It is given as a range: eight times out of ten the true moment lies within it.",
    ),
    (
        "Has it finished?",
        "The chance that this moment has passed, on all that was measured. It can be high before the gravity has been "
        "watched for long, and low in a batch that stands still too high.",
    ),
    (
        "Has it been seen to hold?",
        f"For how long the gravity has been watched to move by less than {{point}}. {number(HOLD_H)} hours are asked "
        "unless you choose otherwise (common practice is two to three days). Silence does not count: a float that says "
        "nothing "
        "holds nothing.",
    ),
)

GLOSSARY: Final = (
    ("Gravity", "How dense the drink is, beside water at {water}. Sugar makes it heavy, alcohol light."),
    ("Point", "A thousandth of gravity: from 1.012 to 1.011 is one point (0.001 SG)."),
    (
        "°P",
        "Degrees Plato: grams of extract in 100 grams, by the brewers' table. Ten °P are a gravity of about 1.040.",
    ),
    (
        "°Bx",
        "Degrees Brix: grams of sucrose in 100 grams, here of the sugar solution that is as dense as the drink "
        "(ICUMSA's table); within a tenth of °P. Once there is alcohol, a refractometer's own °Bx are no gravity: "
        "enter them as a hand sample, and they are corrected.",
    ),
    (
        "Apparent attenuation",
        "The share of the first extract that seems gone, judged by gravity. Alcohol flatters it; real attenuation "
        "takes "
        "the alcohol out, and is about four fifths of it. A drink that ends lighter than water passes 100\u202f%.",
    ),
    ("Pitching", "Putting the yeast in. All days are counted from there."),
    (
        "Dry hops",
        f"Hops added unheated, for aroma. {number(CONTACT_DAYS)} days of contact are usual (common practice).",
    ),
    (
        "Hop creep",
        "Enzymes of the hops free sugar that the yeast then ferments: the gravity falls again. In 5 days about 1 % by "
        "mass of real extract, in 40 days 2, were published for {hops} at {room} with yeast present. Three days cannot "
        "rule it out.",
    ),
    ("Diacetyl rest", "Warm days at the end, in which the yeast clears a buttery by-product."),
    ("Forced test", "A small warm sample with plenty of yeast: it shows within days where the batch can end."),
    ("Volumes", "Litres of CO2 gas in a litre of drink. Most beers hold 2.2 to 2.8."),
    ("Priming", "Sugar for the bottle, which ferments there and makes the gas."),
    (
        "Float",
        "A floating hydrometer: its inclination, or its own reckoning, tells the gravity from inside the vessel.",
    ),
    ("Probe", "A thermometer, in the liquid or around the vessel."),
    ("Hand sample", "A gravity you read yourself. It settles what a float cannot: whether the float is stuck."),
)

METHOD: Final = (
    (
        "Readings are kept as the device sent them",
        "Calibration, correction for temperature and your hand samples are applied when they are read. Correct a "
        "calibration, and the past is corrected too. What looks wrong is set aside with its reason and drawn hollow, "
        "never deleted.",
    ),
    (
        "Many courses are tried",
        "A family of possible fermentations, from how yeast grows, takes up easy and slow sugars, tires and answers "
        "to "
        "warmth, is weighed against the readings. Those that fit count more. What all the likely ones agree on is "
        "said "
        "firmly, where they part a range is given.",
    ),
    (
        "Your own batches teach it",
        "How your earlier batches with a yeast and a drink began, slowed and ended shifts what is thought likely "
        "before "
        "a new one has shown much. The more it has shown, the less that counts.",
    ),
    (
        "A verdict needs the evidence of its moment",
        "Nobody is told to package on a forecast. The gravity must be seen to hold, and a hand sample confirms the "
        "float "
        "before a plain go.",
    ),
    (
        "The plan counts in chances",
        "Your free days are tried in turn. A day is given once it is likely enough that it will still fit when it "
        "comes "
        "(you choose how likely), and the reason stands beside it.",
    ),
)

LIMITS: Final = (
    "A float that sticks, gathers foam or hops, or lies against the wall reads wrong by {points}, smoothly. "
    "Only a "
    "hand sample shows it.",
    "A batch that stands still can go on after weeks, with warmth, with movement or in the bottle. No curve rules "
    "it out.",
    "Yeasts that eat dextrins and mixed cultures creep for weeks below the point at which anything can be seen.",
    "Before the fall bends the readings alone tell no date: what is said then rests on your earlier batches or on "
    "what is usual, with a wide range, and where that is too wide no date is given.",
    "The arithmetic of pressure and sulfite rests on the numbers entered. It knows neither your bottles nor your "
    "scale.",
    DEFER,
)


def _amounts(units: DisplayUnits) -> dict[str, str]:
    """The blanks in the texts, in a person's units."""
    in_points = units.gravity_unit == "SG"
    return {
        "point": f"a point ({number(STEADY_SG, 3)} SG)" if in_points else units.fall(STEADY_SG),
        "far": f"two points ({number(FAR_SG, 3)} SG)" if in_points else units.fall(FAR_SG),
        "points": "several points" if in_points else f"{units.fall(0.004)} or more",
        "water": units.about(20.0, "temperature"),
        "room": units.about(20.0, "temperature"),
        "hops": units.about(10.0, "concentration"),
    }


def texts(units: DisplayUnits) -> tuple[tuple[str, str], ...]:
    """All of it as (heading, text), for a search."""
    phases = tuple((PHASE_WORDS[phase], PHASE_MEANINGS[phase]) for phase in PHASES)
    found = (*NOTIONS, *phases, *METHOD, *GLOSSARY, *(("What it cannot know", limit) for limit in LIMITS))
    return _filled(found, units)


def _filled(texts: Iterable[tuple[str, str]], units: DisplayUnits) -> tuple[tuple[str, str], ...]:
    amounts = _amounts(units)
    return tuple((title, text.format(**amounts)) for title, text in texts)


def page_html(units: DisplayUnits) -> Markup:
    """The whole page below its heading."""
    amounts = _amounts(units)
    return render(
        "how_it_works/page.html",
        notions=_filled(NOTIONS, units),
        phases=[(phase_glyph(p), PHASE_WORDS[p], PHASE_MEANINGS[p].format(**amounts)) for p in PHASES],
        chances=chances_table(),
        method=METHOD,
        limits=[limit.format(**amounts) for limit in LIMITS],
        glossary=_filled(GLOSSARY, units),
    )
