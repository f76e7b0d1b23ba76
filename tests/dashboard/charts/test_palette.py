from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

import dashboard
from dashboard.charts.palette import PALETTES, Edition, faded

THEME = tomllib.loads((Path(dashboard.__file__).parent / ".streamlit" / "config.toml").read_text(encoding="utf-8"))


def luminance(colour: str) -> float:
    """WCAG 2.2, "relative luminance"."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, "contrast ratio"."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_of_black_on_white_is_the_published_21():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)


# WCAG 2.2, success criterion 1.4.3 (AA): text needs 4.5 to 1.
@pytest.mark.parametrize("edition", ["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "sheet"])
@pytest.mark.parametrize("ink", ["ink", "inferred", "needs_you", "past"])
def test_text_passes_level_aa(edition: Edition, ground, ink):
    palette = PALETTES[edition]
    assert contrast(getattr(palette, ink), getattr(palette, ground)) >= 4.5


# WCAG 2.2, success criterion 1.4.11 (AA): parts of a picture that carry meaning need 3 to 1.
@pytest.mark.parametrize("edition", ["light", "dark"])
@pytest.mark.parametrize("mark", ["ink", "inferred", "temperature", "needs_you", "past"])
def test_marks_in_pictures_pass_level_aa(edition: Edition, mark):
    assert contrast(getattr(PALETTES[edition], mark), PALETTES[edition].paper) >= 3


# The same criterion: where a field or an unticked box ends must be seen, on the page and against its own ground.
@pytest.mark.parametrize("edition", ["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "sheet"])
def test_the_edges_of_fields_and_buttons_pass_level_aa(edition: Edition, ground):
    assert contrast(PALETTES[edition].edge, getattr(PALETTES[edition], ground)) >= 3


@pytest.mark.parametrize("edition", ["light", "dark"])
def test_text_on_the_warning_sheet_passes_level_aa(edition: Edition):
    palette = PALETTES[edition]
    assert contrast(palette.ink, palette.needs_you_sheet) >= 4.5
    assert contrast(palette.needs_you, palette.needs_you_sheet) >= 4.5


@pytest.mark.parametrize("edition", ["light", "dark"])
def test_temperature_and_needs_you_differ_in_lightness_and_not_in_hue_alone(edition: Edition):
    palette = PALETTES[edition]
    assert contrast(palette.temperature, palette.needs_you) >= 1.2


@pytest.mark.parametrize("edition", ["light", "dark"])
def test_the_theme_file_holds_the_same_colours(edition: Edition):
    theme, palette = THEME["theme"][edition], PALETTES[edition]
    told = (theme["textColor"], theme["backgroundColor"], theme["secondaryBackgroundColor"], theme["borderColor"])
    assert told == (palette.ink, palette.paper, palette.sheet, palette.edge)
    assert theme["redTextColor"] == palette.needs_you
    assert theme["blueTextColor"] == palette.inferred
    assert theme["grayTextColor"] == palette.past
    assert theme["orangeColor"] == palette.temperature


def test_the_theme_fetches_nothing_from_outside():
    assert "http" not in THEME["theme"]["font"] + THEME["theme"]["headingFont"]
    assert "fontFaces" not in THEME["theme"]


def test_a_faded_colour_keeps_its_hue():
    assert faded("#0a5da8", 0.5) == "rgba(10,93,168,0.5)"
