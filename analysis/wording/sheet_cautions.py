"""What stands beside the figures of every packaging sheet: cautions for hands, eyes, lungs and glass."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from analysis.packaging import Package

DEFER: Final = (
    "Defer to local codes, to the maker's marking on the vessel and to licensed practice; this sheet only does sums."
)
BOTTLES: Final = (
    "Wear eye and hand cover when handling filled bottles, chill before opening, and keep them boxed and cool. Glass "
    "that is scratched, reused, swing-top, thin or made for still wine holds less than a new bottle's test."
)
KEG: Final = (
    "Never set more than the lowest marked limit among keg, lines, fittings and relief valve; never plug or stiffen a "
    "relief valve; vent fully before opening any fitting. Plastic vessels age: mind the date on them."
)
REGULATOR: Final = (
    "Between cylinder and keg stands a regulator: a cylinder holds about 57 bar at 20 °C, and a regulator that fails "
    "passes it on. See that its gauge stands still before you connect a keg, close the cylinder when you leave, keep "
    "it upright and fastened, out of living rooms and cars, and see that the keg's relief valve opens and shuts: it "
    "can stick too."
)
CLOSURES: Final = (
    "Test the crimp of crown caps on the first bottles, and use caps made for the neck. A cork under gas needs a "
    "bottle made for it and a wire hood. Swing tops need sound rubber, and hold only what their maker names; a closure "
    "that gives way is no relief valve."
)
FRESH_YEAST: Final = (
    "After weeks in the cold, after filtering or at high strength too little live yeast may be left to carbonate: "
    "fresh yeast helps, but one that eats more than the first makes more gas than is counted here, so take the same "
    "or one that eats less."
)
LOW_ACID: Final = (
    "Vegetables, garlic, herbs and their oils bring spores of botulism, which grow without air above pH 4.6: measure "
    "the pH after adding them, and do not close a drink with them above it."
)
TOO_LITTLE_ACID: Final = (
    "Above pH 4.6 the spores of botulism can grow without air (21 CFR part 114): measure again, and acidify it or have "
    "it heat treated by licensed practice before it is closed."
)
CLEANERS: Final = (
    "Never mix cleaners, and rinse between them: acid on a chlorine cleaner gives off chlorine, and caustic burns eyes "
    "and skin. Wear eye and hand cover, and rinse what the drink will touch."
)
LABEL: Final = (
    "Label each package with name, packaging day, alcohol and what some people must avoid: sulfites from 10 mg/L, milk "
    "(lactose), nuts, and egg, milk or fish used for fining. Your own rules may ask for more."
)
LABEL_GRAIN: Final = LABEL.replace("sulfites", "grain with gluten, sulfites")
GAS_IN_THE_ROOM: Final = (
    "CO2 collects near the floor, in cellars and in closed cold boxes. Air the room; limits at work are 5,000 ppm "
    "over 8 hours and 30,000 ppm over 15 minutes (OSHA, NIOSH), and 40,000 ppm are dangerous at once. The sting in the "
    "nose measures nothing: a monitor near the floor does. Do not put your head into a vessel."
)
SULFITE_HANDLING: Final = (
    "Metabisulfite in acid gives off SO2, a choking gas: weigh it in moving air, face away, and never mix it with "
    "acids or chlorine cleaners."
)
SULFITE_ASTHMA: Final = "Some people with asthma react to sulfites: tell everyone who drinks it."
SULFITE_LABEL: Final = (
    "At this dose the label must name sulfites where drinks are sold (10 mg/L of SO2 in the EU and the US)."
)
SORBATE: Final = (
    "Sorbate does not stop a running fermentation and does not kill yeast: it keeps a clear, finished, cold-settled "
    "drink with enough molecular SO2 from starting again. With lactic bacteria it can smell of geraniums."
)
NOT_IN_BEER: Final = (
    "At the pH of beer sulfite and sorbate stabilise nothing: only a filter that holds yeast back, or the cold, does."
)
HEATING: Final = "Heating filled bottles multiplies their pressure. "
HEATED_KPA: Final = 600.0
"""kPa above the atmosphere; what 2.5 volumes reach when bottles are heated, roughly."""
HEATING_UNKNOWN: Final = "2.5 volumes reach roughly {pressure} and more at {temperature}. "
HEATING_PRACTICE: Final = (
    "That is work for licensed practice with rated glass and a guarded bath, not for a kitchen pot."
)
CREEP_HOPS_G_PER_L: Final = 10.0
CREEP_C: Final = 20.0
CREEP: Final = (
    "Dry hops can free sugar and restart a fall: 1 % by mass of real extract in 5 days and 2 % in 40 were published "
    "at {dose} and {temperature} with yeast present (Kirkpatrick and Shellhammer 2018). Bottles wait until the "
    "gravity has held again."
)
WAYS_TO_SWEETEN: Final = "Ways out: stabilise and keep it in a cold keg, or use a sweetener that yeast cannot eat."

_RECEIVING: Final[dict[Package | None, str]] = {
    "keg": "keg",
    "bottle": "bottles",
    None: "keg or bottles",
}


def against_oxygen(package: Package | None) -> tuple[str, ...]:
    """What keeps oxygen out on packaging day, of this package or of either (common practice, no source)."""
    filled = "Leave about 2 to 3 cm of headspace in a bottle, and cap on foam: a full one bursts when it warms."
    return (
        f"Purge the receiving {_RECEIVING[package]} with CO2.",
        "Transfer closed, from valve to valve, without splashing.",
        *((filled,) if package != "keg" else ()),
        "Add an antioxidant only in a dose that this sheet gives.",
        "Keep it cold from here on."
        if package == "keg"
        else "Keep it cold from here on, unless it must still carbonate.",
    )


TEST_BOTTLE: Final = (
    "Fill one small plastic bottle from the lot: it shows the pressure by hand. Open one chilled bottle after a week."
)
