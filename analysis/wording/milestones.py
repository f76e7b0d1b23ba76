"""The milestones of batches in the person's units: a cell each, side by side as a table."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from analysis.display_units import NBSP, THIN, UNKNOWN, DisplayUnits, number
from analysis.trials import MILESTONES, Estimate, MilestoneName, Milestones

_EXTRACT: Final = DisplayUnits(gravity_unit="°P")
_TITLES: Final = {one.name: one.title for one in MILESTONES}


def milestone_title(name: MilestoneName) -> str:
    """What a milestone is called, such as ``Half of the fall``."""
    return "Greatest rate, share of the original" if name == "greatest_rate_per_original_day" else _TITLES[name]


def milestone_said(name: MilestoneName, estimate: Estimate | None, units: DisplayUnits) -> str:
    """A milestone with its range of eight chances in ten: ``2.1 days (2.0 to 2.2)``; a dash where it is not told."""
    if estimate is None:
        return UNKNOWN
    shown, unit, decimals = _scale(name, units)
    value, low, high = (number(shown(v), decimals) for v in (estimate.value, estimate.p10, estimate.p90))
    space = NBSP if unit[:1].isalpha() and len(unit) > 2 else THIN
    return f"{value}{space if unit else ''}{unit} ({low} to {high})"


def _scale(name: MilestoneName, units: DisplayUnits) -> tuple[Callable[[float], float], str, int]:
    """How a milestone is shown: into the person's unit, that unit, and with how many decimals."""
    gravity, fall, warm = (units.unit_of(q) for q in ("gravity", "gravity fall", "temperature"))
    if name == "lag_h":
        return float, "h", 0
    if name in ("half_h", "ninety_h", "finish_h"):
        return lambda hours: hours / 24.0, "days", 1
    if name == "greatest_rate_plato_day":
        return lambda plato: units.shown(_EXTRACT.entered(plato, "gravity fall"), "gravity fall"), f"{fall} a day", 1
    if name == "greatest_rate_per_original_day":
        return lambda share: 100.0 * share, "% a day", 0
    if name == "terminal_gravity_sg":
        sign = "" if gravity == "SG" else gravity
        return lambda sg: units.shown(sg, "gravity"), sign, 3 if gravity == "SG" else 1
    if name == "hop_creep_sg":
        return lambda sg: units.shown(sg, "gravity fall"), fall, 1
    if name == "temperature_c":
        return lambda celsius: units.shown(celsius, "temperature"), warm, 1
    if name == "alcohol_abv_pct":
        return float, "% vol", 1
    return lambda share: 100.0 * share, "%", 0


def difference_said(name: MilestoneName, amount: float, units: DisplayUnits) -> str:
    """How far two batches lie apart in a milestone, without sign: ``1.2 days``, ``3 points``."""
    size = abs(amount)
    if name == "terminal_gravity_sg":
        return units.said(size, "gravity fall")
    if name in ("apparent_attenuation", "real_attenuation"):
        return f"{number(100.0 * size, 1)} percentage points"
    if name in ("half_h", "ninety_h", "finish_h") and size < 18.0:
        return f"{number(size)} hours"
    shown, unit, decimals = _scale(name, units)
    return f"{number(shown(size), decimals)}{NBSP}{unit}"


def milestone_table(
    batches: Sequence[tuple[str, Milestones]], units: DisplayUnits
) -> tuple[list[str], list[list[str]]]:
    """Milestones down, batches across: headings and rows; what none of them has told is left out."""
    told = [one.name for one in MILESTONES if any(found.get(one.name) for _, found in batches)]
    rows = [
        [milestone_title(name), *(milestone_said(name, found.get(name), units) for _, found in batches)]
        for name in told
    ]
    return ["Milestone", *(name for name, _ in batches)], rows


def milestones_from(rows: Sequence[Mapping[str, float | str | None]]) -> Milestones:
    """The milestones that `milestone_rows` wrote down, as they come back over a socket or out of a file."""
    found: dict[str, Estimate] = {}
    for row in rows:
        value, error, low, high = (float(row[key] or 0.0) for key in ("value", "standard_error", "p10", "p90"))
        found[str(row["milestone"])] = Estimate(value, error, low, high)
    return Milestones(**found)
