"""What the packaging sheet finds of sulfite, sorbate, stabilising, acid and priming, as whole sentences."""

from __future__ import annotations

from typing import Final

from analysis.display_units import DisplayUnits
from analysis.packaging import Finding, Remark, sulfite
from analysis.packaging import dose_findings as d
from analysis.packaging import findings as f
from analysis.thresholds import STABILISING_MOLECULAR_PPM
from analysis.wording.formatting import joined

_COUNTS_AS_LIVE: Final = "It is said to be stabilised, but counts as holding live yeast: "
_OTHER_WAY: Final = " Carbonate it in a keg and fill cold."
_STAYS_SWEET: Final = "the sugar may stay in it, and ferment months later if the yeast recovers"

DOSE_REMARKS: Final[dict[Remark, str]] = {
    Remark.STABILISED_SO_NO_PRIMING: (
        "It is said to be stabilised, and stabilised yeast will not carbonate it: no priming sugar is given."
        f"{_OTHER_WAY}"
    ),
    Remark.NO_YEAST_SO_NO_PRIMING: (
        "A filter or heat has taken the yeast away, so nothing will carbonate it: no priming sugar is given unless "
        f"fresh yeast goes in with it.{_OTHER_WAY}"
    ),
    Remark.HEAT_ONLY_ONCE_CARBONATED: (
        "Heat kills the yeast that is to carbonate it: nothing carbonates any more once the bottles have been heated. "
        "Open a test bottle first."
    ),
    Remark.PRIMING_ALCOHOL_UNKNOWN: (
        "The alcohol is not known, so it cannot be judged whether yeast will still carbonate it: give both gravities."
    ),
    Remark.PRIMING_SUGAR_ASSUMED: (
        "No priming sugar is named: the mass is of table sugar (sucrose). Dextrose, honey and malt extract give less "
        "gas a gram; name yours."
    ),
    Remark.STABILISED_BEER: f"{_COUNTS_AS_LIVE}in beer sulfite and sorbate stabilise nothing.",
    Remark.STABILISED_MIXED_CULTURE: (
        f"{_COUNTS_AS_LIVE}wild yeasts and bacteria of a mixed culture bear sulfite and sorbate."
    ),
    Remark.STABILISED_WITH_FRESH_YEAST: f"{_COUNTS_AS_LIVE}fresh yeast goes in with it.",
    Remark.ADD_ACID_IN_THIRDS: (
        "How far acid moves the pH is not worked out: it depends on what the drink buffers. Add a third, stir, measure "
        "the pH and taste before the next. The SO2 figures hold for the pH given: enter the new one before you dose, "
        "and never let acid and metabisulfite meet undiluted."
    ),
    Remark.SULFITE_OF_UNSAID_DRINK: (
        f"The drink is not said, so the lowest limit of all counts: in beer the EU allows only "
        f"{sulfite.EU_BEER_PPM:.0f} mg/L of SO2 in all."
    ),
    Remark.SULFITE_IN_BEER: "In beer sulfite is an antioxidant and stabilises nothing.",
    Remark.SORBATE_BEFORE_THE_FINISH: "It has not finished: sorbate will not stop it.",
    Remark.SORBATE_OF_UNSAID_DRINK: (
        "The drink is not said, and sorbate is not permitted in every one: say it first, and no amount is given until "
        "then."
    ),
    Remark.TABLET_CONTENT_UNKNOWN: (
        "A tablet is not all metabisulfite: enter how much of the salt, or how much SO2, its label declares. Until "
        "then no number of tablets is said."
    ),
}

_FACTS: Final[dict[d.StabilisingFact, str]] = {
    "drink": "drink",
    "pH": "pH",
    "finish": "finished fermentation",
    "free SO2": "measured free SO2",
    "sorbate": "dose of potassium sorbate",
}


def dose_words(finding: Finding, units: DisplayUnits) -> str | None:
    """The finding as a sentence or two; None where it is of something else."""
    for say in (_stabilising, _priming, _sulfite, _limits):
        sentence = say(finding, units)
        if sentence is not None:
            return sentence
    return None


def _stabilising(finding: Finding, _: DisplayUnits) -> str | None:
    match finding:
        case f.StabilisingUnjudged(missing):
            return f"{_COUNTS_AS_LIVE}give its {joined([_FACTS[each] for each in missing])} first, on which it depends."
        case f.TooLittleToStabilise(molecular):
            return (
                f"{_COUNTS_AS_LIVE}{molecular:.2f} mg/L of molecular SO2 is below the "
                f"{STABILISING_MOLECULAR_PPM} mg/L that holds yeast back."
            )
        case d.TooLittleSorbate(salt, needed):
            return (
                f"{_COUNTS_AS_LIVE}{salt:.0f} mg/L of potassium sorbate is less than the {needed:.0f} mg/L that it "
                "takes at this alcohol."
            )
        case f.PhTooHighToStabilise(ph):
            return f"{_COUNTS_AS_LIVE}at pH {ph:.1f} a usual dose of sulfite and sorbate stabilises nothing."
    return None


def _priming(finding: Finding, units: DisplayUnits) -> str | None:
    match finding:
        case d.SorbateAndPriming(salt, refused):
            start = f"{salt:.0f} mg/L of potassium sorbate is there to keep yeast from fermenting: "
            if refused:
                return f"{start}priming will not carbonate it, so no sugar is given.{_OTHER_WAY}"
            return f"{start}priming may not carbonate it, and {_STAYS_SWEET}."
        case d.SulfiteAndPriming(total, free, refused):
            start = f"With {total:.0f} mg/L of SO2 in all at least, up to {free:.0f} of it free, "
            if refused:
                return f"{start}yeast will not carbonate it, so no priming sugar is given.{_OTHER_WAY}"
            return f"{start}yeast may not carbonate it, and {_STAYS_SWEET}."
        case d.AlcoholAndPriming(alcohol, tolerance, known):
            if known:
                return (
                    f"At {alcohol:.1f} % vol a yeast that bears {tolerance:.1f} will not carbonate it, so no priming "
                    f"sugar is given.{_OTHER_WAY}"
                )
            return (
                f"At {alcohol:.1f} % vol, above {tolerance:.0f}, yeast may not carbonate it, and {_STAYS_SWEET}: enter "
                "how much alcohol the yeast bears."
            )
        case d.PrimingStrengthUnknown(sugar):
            if sugar == "wort":
                return "How strong the priming wort is is not given: enter its gravity, or no amount can be said."
            return (
                f"How strong the {sugar} is is not given: enter its °Bx, its gravity or the sugar on its label, or no "
                "amount can be said."
            )
        case d.PrimingTooWeak(sugar, wished):
            return f"This {sugar} is too weak to carbonate even itself to {wished:.1f} volumes: take a stronger one."
        case d.PrimingVaries(sugar, low, high, source):
            return (
                f"What {sugar} gives varies from lot to lot: the amount aims at the wish, but {low:.1f} to "
                f"{high:.1f} volumes may come of it, and the worst case counts the most ({source})."
            )
        case f.ScaleTooCoarse(step, total):
            return (
                f"Steps of {units.typed(step, 'mass')} are too coarse for {units.mass(total)} of these hops: use a "
                "finer scale and enter its step."
            )
    return None


def _sulfite(finding: Finding, _: DisplayUnits) -> str | None:
    match finding:
        case f.DoseCounted(ppm, counted_as, basis):
            counted = "SO2" if counted_as == "so2" else "the salt, potassium metabisulfite"
            start = f"The dose of {ppm:g} mg/L is counted as {counted}, as {basis}, with fresh salt (old gives less): "
            if basis == "added":
                return (
                    f"{start}part of it gets bound, so less stays free and the molecular SO2 is at most the figure "
                    "here."
                )
            if basis == "total":
                return f"{start}the mass here is what is missing to it."
            return (
                f"{start}the mass here is what is missing to it and assumes that none of it gets bound. Measure the "
                "free SO2 afterwards."
            )
        case d.PresentSo2Unclear(needed, said):
            other = "without saying whether it is free or total" if said is None else f"as {said}"
            return (
                f"The dose is meant as {needed}, and the SO2 present is told {other}: measure the {needed} SO2 and "
                "enter it; until then no mass is said."
            )
        case d.TotalSo2Unknown(least, limit):
            return (
                f"There are at least {least:.0f} mg/L of SO2, but the total is not known, so it cannot be held against "
                f"the limit of {limit:.0f} mg/L: measure the total, or enter what was added in all."
            )
        case d.MolecularAt(pka, alcohol):
            at = "no alcohol, as it is not known, which leaves least" if alcohol is None else f"{alcohol:.1f} % vol"
            return (
                f"Molecular SO2 is taken with a pKa of {pka:.2f}, at {sulfite.SHEET_C:.0f} °C and {at} "
                "(OIV-MA-AS323-04C). In the cold it is less."
            )
        case f.OnlyAntioxidant(ph, total, molecular):
            return (
                f"At pH {ph:.1f} sulfite is an antioxidant and stabilises nothing: of {total:.0f} mg/L of SO2 only "
                f"{molecular:.2f} mg/L is molecular."
            )
        case f.MolecularInBeer(total, molecular):
            return (
                f"Of {total:.0f} mg/L of SO2 {molecular:.2f} mg/L is molecular, enough to hold many microbes back; in "
                "beer it still counts as an antioxidant only, not as stabilising."
            )
        case f.LittleMolecular(molecular):
            return (
                f"{molecular:.2f} mg/L of molecular SO2 is below the {STABILISING_MOLECULAR_PPM} mg/L that "
                "holds yeast back (0.5 to 0.8; common practice)."
            )
    return None


def _limits(finding: Finding, _: DisplayUnits) -> str | None:
    match finding:
        case f.SulfiteOverLimit(total, limit, drink, jurisdiction, source):
            return (
                f"{total:.0f} mg/L of SO2 is at or over the limit of {limit:.0f} mg/L for {drink or 'drink'} in the "
                f"{_place(jurisdiction)} ({source})."
            )
        case d.NoSulfiteLimitHere(place, limit, jurisdiction):
            where = f"in the rules of {place}" if place else "where you are, as the place is not said"
            return (
                f"No limit on SO2 is known for this drink {where}, so the lowest known limit was used: {limit:.0f} "
                f"mg/L ({_place(jurisdiction)}). Check your own rules."
            )
        case f.SorbateOverLimit(salt, acid, limit, source):
            return (
                f"{salt:.0f} mg/L of potassium sorbate is {acid:.0f} mg/L of sorbic acid, at or over the limit of "
                f"{limit:.0f} mg/L ({source})."
            )
        case d.SorbateNotPermitted(drink, jurisdiction, here, source):
            start = f"Sorbate is not permitted in {drink} in the {_place(jurisdiction)} ({source})"
            if here:
                return f"{start}: no amount is given."
            return f"{start}, and no rule is known here that permits it: no amount is given. Check your own rules."
    return None


def _place(jurisdiction: str) -> str:
    return {"CA": "rules of Canada", "Codex": "Codex Alimentarius"}.get(jurisdiction, jurisdiction)
