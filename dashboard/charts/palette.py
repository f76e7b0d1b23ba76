"""Colours, each with one meaning, in a light and a dark edition.

The set keeps its order of lightness for the common kinds of colour blindness: orange and vermilion differ in
lightness as well as in hue (after Okabe and Ito, Color Universal Design, 2008; darkened for contrast on paper).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Edition = Literal["light", "dark"]


@dataclass(frozen=True, slots=True)
class Palette:
    """What each colour says."""

    paper: str
    sheet: str
    """Paper a shade deeper, for fields and stripes."""
    rule: str
    """Thin lines that part things."""
    edge: str
    """What a field, a box or a button ends with."""
    ink: str
    """Measured."""
    inferred: str
    temperature: str
    needs_you: str
    needs_you_sheet: str
    past: str


PALETTES: Final[dict[Edition, Palette]] = {
    "light": Palette(
        paper="#fbfaf6",
        sheet="#f1efe7",
        rule="#d9d5c8",
        edge="#85827a",
        ink="#22262a",
        inferred="#0a5da8",
        temperature="#b96a00",
        needs_you="#a92b08",
        needs_you_sheet="#fbe9e1",
        past="#5f6367",
    ),
    "dark": Palette(
        paper="#15181b",
        sheet="#1e2226",
        rule="#3a4046",
        edge="#727a80",
        ink="#ece9e1",
        inferred="#74b9f5",
        temperature="#f2ac45",
        needs_you="#ff7c55",
        needs_you_sheet="#3a211a",
        past="#a0a6ab",
    ),
}


def faded(colour: str, opacity: float) -> str:
    """`colour` (``#rrggbb``) as CSS with an opacity between 0 and 1."""
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red},{green},{blue},{opacity:g})"


def variables(edition: Edition) -> str:
    """The palette as CSS custom properties."""
    palette = PALETTES[edition]
    names = {
        "paper": palette.paper,
        "sheet": palette.sheet,
        "rule": palette.rule,
        "edge": palette.edge,
        "ink": palette.ink,
        "inferred": palette.inferred,
        "temperature": palette.temperature,
        "needs-you": palette.needs_you,
        "needs-you-sheet": palette.needs_you_sheet,
        "past": palette.past,
    }
    return "".join(f"--{name}:{value};" for name, value in names.items())
