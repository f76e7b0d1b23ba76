"""Checks what a packaging sheet is given, and answers what cannot be used with the key and the usual range."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from analysis.display_units import DisplayUnits
from analysis.packaging.carbonation import PRIMING_SUGARS
from analysis.packaging.fields import FIELDS, Field, field_of
from analysis.packaging.inputs import SheetInputs

_BY_KEY = {f.key: f for f in FIELDS}

LEAST_ORIGINAL_SG: Final = 1.001
"""SG; an original gravity below it is no more than water, and no attenuation can be told of it (arithmetic)."""

MOST_SO2_MG_PER_G: Final = 675.0
"""mg of SO2 a gram of metabisulfite can give: the sodium salt is 67.4 % SO2, the potassium salt 57.6 (arithmetic)."""

MOST_FALLS: Final = 1000
"""Values that a distribution may have; more would say no more (by definition)."""

_LARGEST_SHARE = 1e9
"""Shares are parts of a whole or grams; more is a slip, and would drown the others."""


@dataclass
class SheetInputError(ValueError):
    """An input that cannot be used: which key, what is wrong, and what is usual. `str()` is a whole sentence.

    `others` are the faults of the further keys that cannot be used.
    """

    key: str
    problem: str
    usual: str
    others: tuple[SheetInputError, ...] = ()

    @property
    def all(self) -> tuple[SheetInputError, ...]:
        """Every fault, this one first."""
        return (self, *self.others)

    def __str__(self) -> str:
        return f"{self.key}: {self.problem}. {self.usual}"


def checked(inputs: Mapping[str, Any], units: DisplayUnits | None = None) -> SheetInputs:
    """The inputs with their types and ranges checked; None counts as not given.

    `units` are those in which a person typed them, for what is said of them; None: those of the keys, as in JSON.

    Raises
    ------
    SheetInputError
        If an input cannot be used, with its key and the usual range; all further ones are its `others`.
    """
    if not isinstance(inputs, Mapping):
        raise SheetInputError("input", "it is not a JSON object", 'Give one, such as {"volume_l": 19}.')
    found: dict[str, Any] = {}
    faults: list[SheetInputError] = []
    for key, value in inputs.items():
        try:
            field = _known(key)
            if value is not None:
                found[key] = _value(field, value, units)
        except SheetInputError as error:
            faults.append(error)
    wrong = {fault.key for fault in faults}
    usable = SheetInputs(**found)
    faults += [fault for fault in _contradictions(usable, _Told(units)) if fault.key not in wrong]
    if faults:
        first = faults[0]
        first.others = tuple(faults[1:])
        raise first
    return usable


def _known(key: str) -> Field:
    field = _BY_KEY.get(key)
    if field is None:
        near = difflib.get_close_matches(str(key), _BY_KEY, n=1)
        hint = f"Did you mean {near[0]}?" if near else f"The keys are: {', '.join(_BY_KEY)}."
        raise SheetInputError(str(key), "this key is unknown", hint)
    return field


@dataclass(frozen=True, slots=True)
class _Told:
    """Says an input back, in the unit in which it was typed."""

    units: DisplayUnits | None

    def value(self, key: str, value: float) -> str:
        """An input that can be one."""
        field = field_of(key)
        if self.units is not None:
            return self.units.said(value, field.quantity, field.unit)
        return f"{value:.3f}" if field.quantity == "gravity" else f"{value:g}"

    def usual(self, key: str) -> str:
        """What is usual of it."""
        return field_of(key).usual_in(self.units)


def _value(field: Field, value: Any, units: DisplayUnits | None) -> Any:
    if field.kind == "number":
        return _checked_number(field, value, units)
    if field.kind == "yes or no":
        if not isinstance(value, bool):
            raise SheetInputError(field.key, f"expected true or false, got {value!r}", field.usual)
        return value
    if field.kind == "shares":
        return _checked_shares(field, value)
    if field.kind == "falls":
        return _checked_falls(field, value)
    if not isinstance(value, str):
        raise SheetInputError(field.key, f"expected text, got {value!r}", field.usual)
    if field.kind == "choice" and value not in field.choices:
        near = difflib.get_close_matches(value, field.choices, n=1)
        hint = f"Did you mean {near[0]}? " if near else ""
        raise SheetInputError(field.key, f"{value!r} is not known", hint + field.usual)
    return value


def _checked_number(field: Field, value: Any, units: DisplayUnits | None) -> float:
    usual = field.usual_in(units)
    if isinstance(value, bool) or not isinstance(value, int | float):
        quoted = "; send it unquoted" if isinstance(value, str) else ""
        raise SheetInputError(field.key, f"expected a number, got {value!r}{quoted}", usual)
    if isinstance(value, float) and not math.isfinite(value):
        raise SheetInputError(field.key, f"{value} is not a number that can be used", usual)
    if not field.low <= value <= field.high:
        if units is not None:
            raise SheetInputError(field.key, f"{units.typed(value, field.quantity, field.unit)} cannot be used", usual)
        unit = f" {field.unit}" if field.unit else ""
        raise SheetInputError(field.key, f"{_short(value)}{unit} cannot be used", usual)
    return float(value)


def _checked_shares(field: Field, value: Any) -> dict[str, float]:
    if not isinstance(value, Mapping) or not value:
        raise SheetInputError(field.key, f"expected names with shares, got {value!r}", field.usual)
    shares: dict[str, float] = {}
    for name, share in value.items():
        if isinstance(share, bool) or not isinstance(share, int | float) or not 0 <= share <= _LARGEST_SHARE:
            said = _short(share) if isinstance(share, int | float) else repr(share)
            raise SheetInputError(field.key, f"the share of {name!r} is {said}, not a number of 0 or more", field.usual)
        shares[str(name)] = float(share)
    if sum(shares.values()) <= 0:
        raise SheetInputError(field.key, "all shares are 0", field.usual)
    return shares


def _checked_falls(field: Field, value: Any) -> tuple[float, ...]:
    if not isinstance(value, list | tuple) or not 1 <= len(value) <= MOST_FALLS:
        raise SheetInputError(field.key, f"expected a list of up to {MOST_FALLS} numbers, got {value!r}", field.usual)
    falls = tuple(_checked_number(field, each, None) for each in value)
    if list(falls) != sorted(falls):
        raise SheetInputError(field.key, "it does not go from the least to the greatest", field.usual)
    return falls


def _short(value: float) -> str:
    """A number for a sentence; JSON allows integers that no float can hold."""
    try:
        return f"{value:g}"
    except OverflowError:
        return "a number of hundreds of digits"


def _contradictions(found: SheetInputs, told: _Told) -> Iterator[SheetInputError]:
    """What is usable by itself but not together."""
    yield from _contrary_gravities(found, told)
    if found.sulfite_ppm is not None and found.sulfite_as is None:
        yield SheetInputError(
            "sulfite_as",
            "it is missing, and the mg/L of SO2 and of its salt differ",
            'Say "so2" or "salt" (potassium metabisulfite).',
        )
    yield from _contrary_doses(found, told)
    yield from _contrary_priming(found)
    low, high = found.expected_low, found.expected_high
    if low is not None and high is not None and low > high:
        ends = f"{told.value('expected_low', low)} to {told.value('expected_high', high)}"
        yield SheetInputError("expected_low", f"the range runs from {ends}", "Swap the two.")
    wanted, final = found.sweeten_to_sg, found.final_gravity_sg
    if wanted is not None and final is not None and wanted < final:
        yield SheetInputError(
            "sweeten_to_sg",
            f"{told.value('sweeten_to_sg', wanted)} is below the final gravity {told.value('final_gravity_sg', final)}",
            "Sweetening lifts it.",
        )


def _contrary_doses(found: SheetInputs, told: _Told) -> Iterator[SheetInputError]:
    present, total = found.sulfite_present_ppm, found.sulfite_present_total_ppm
    if present is not None and total is not None:
        if found.sulfite_present_as in ("total", "added"):
            yield SheetInputError(
                "sulfite_present_total_ppm",
                f"it is given beside sulfite_present_ppm as {found.sulfite_present_as}",
                "Give the total once; it stands beside the free SO2.",
            )
        elif present > total:
            yield SheetInputError(
                "sulfite_present_total_ppm",
                f"{total:g} mg/L in all is below the {present:g} mg/L present",
                "The total holds what is free and what is bound.",
            )
    tablet, salt, so2 = found.tablet_g, found.tablet_salt_g, found.tablet_so2_mg
    if tablet is not None and salt is not None and salt > tablet:
        yield SheetInputError(
            "tablet_salt_g",
            f"{told.value('tablet_salt_g', salt)} is more than the tablet's {told.value('tablet_g', tablet)}",
            "Give what its label says.",
        )
    within = salt if salt is not None else tablet
    if so2 is not None and within is not None and so2 > MOST_SO2_MG_PER_G * within:
        yield SheetInputError(
            "tablet_so2_mg",
            f"{so2:g} mg is more SO2 than {told.value('tablet_salt_g', within)} can give",
            "Give what its label says.",
        )


def _contrary_priming(found: SheetInputs) -> Iterator[SheetInputError]:
    shares = found.priming_shares
    if shares is not None:
        unknown = [name for name in shares if name not in PRIMING_SUGARS]
        if unknown:
            near = difflib.get_close_matches(unknown[0], PRIMING_SUGARS, n=1)
            hint = f"Did you mean {near[0]}? " if near else ""
            yield SheetInputError(
                "priming_shares", f"{unknown[0]!r} is not known", f"{hint}Choose from: {', '.join(PRIMING_SUGARS)}."
            )
        if found.priming_sugar is not None and found.priming_sugar not in shares:
            yield SheetInputError(
                "priming_shares",
                f"it leaves out the priming sugar that is given, {found.priming_sugar}",
                "Give one priming sugar or a mix.",
            )
    liquids = [name for name in shares or {} if name in PRIMING_SUGARS and PRIMING_SUGARS[name].extract_g_per_g is None]
    if len(liquids) > 1:
        yield SheetInputError(
            "priming_shares",
            f"{' and '.join(liquids)} have each a strength of their own",
            "Mix one of juice, concentrate or wort with dry sugars or syrups.",
        )
    strengths = ("priming_gravity_sg", "priming_brix", "priming_sugar_g_per_l")
    given = [key for key in strengths if getattr(found, key) is not None]
    if len(given) > 1:
        yield SheetInputError(given[1], f"{given[0]} tells the strength already", "Give one of them.")


def _contrary_gravities(found: SheetInputs, told: _Told) -> Iterator[SheetInputError]:
    original, final, lowest = found.original_gravity_sg, found.final_gravity_sg, found.lowest_plausible_sg
    if original is not None and original < LEAST_ORIGINAL_SG:
        yield SheetInputError(
            "original_gravity_sg",
            f"{told.value('original_gravity_sg', original)} is no more than water",
            told.usual("original_gravity_sg"),
        )
    if original is not None and final is not None and final > original:
        yield SheetInputError(
            "final_gravity_sg",
            f"{told.value('final_gravity_sg', final)} is above the original gravity "
            f"{told.value('original_gravity_sg', original)}",
            "It ends below where it began. " + told.usual("final_gravity_sg"),
        )
    if lowest is not None and final is not None and lowest > final:
        yield SheetInputError(
            "lowest_plausible_sg",
            f"{told.value('lowest_plausible_sg', lowest)} is above the final gravity "
            f"{told.value('final_gravity_sg', final)}",
            "Give a gravity at or below it.",
        )
