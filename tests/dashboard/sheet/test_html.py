from __future__ import annotations

from html.parser import HTMLParser
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from markupsafe import escape

from analysis.display_units import DisplayUnits, Quantity
from analysis.packaging import checked, sheet
from analysis.wording import worded
from analysis.wording.sheet_json import as_json
from dashboard.sheet import screen
from dashboard.sheet.html import pressure_svg, sheet_html
from dashboard.sheet.rows import answer_sections, input_sections
from ingest.model import Preferences

GIVEN: dict[str, Any] = {
    "drink": "ale",
    "jurisdiction": "US",
    "volume_l": 19,
    "original_gravity_sg": 1.050,
    "final_gravity_sg": 1.011,
    "ph": 4.3,
    "carbonation_volumes": 2.4,
    "package": "bottle",
    "warmest_c": 20,
    "serving_c": 8,
    "finished": True,
    "hold_met": True,
    "hand_sample": False,
    "remaining_fall_sg": 0.001,
    "lowest_plausible_sg": 1.009,
    "bottle_rating_kpa": 800,
    "hops_g_per_l": 5,
    "hop_shares": {"Brindle": 2, "<script>alert(1)</script>": 1},
    "sulfite_ppm": 30,
    "sulfite_as": "salt",
    "tablet_salt_g": 0.44,
}


class Page(HTMLParser):
    """Collects tags that are left open, text, and whatever points elsewhere."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[str] = []
        self.addresses: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append(tag)
        if tag not in ("meta", "line", "polyline"):
            self.open.append(tag)
        self.addresses += [str(v) for k, v in attrs if k in ("src", "href")]

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def page(**changes: Any) -> Page:
    inputs = {**GIVEN, **changes}
    parsed = Page()
    parsed.feed(str(sheet_html(sheet(inputs), title="Saison <3", made="Thu 3 Dec 2026, 18:04")))
    return parsed


def test_the_page_stands_alone_and_is_well_formed() -> None:
    parsed = page()
    assert parsed.open == []
    assert parsed.addresses == []
    assert "script" not in parsed.seen
    assert "svg" in parsed.seen
    assert "<script>alert(1)</script>" in parsed.text  # shown, not run


@pytest.mark.parametrize(
    ("changes", "word"),
    [({"hand_sample": True, "altitude_m": 0}, "Go"), ({}, "Caution"), ({"finished": False}, "Stop")],
)
def test_the_page_leads_with_the_verdict_and_its_reasons(changes: dict[str, Any], word: str) -> None:
    changes = {**changes, "hops_g_per_l": None, "hop_shares": None}
    text = page(**changes).text
    assert text.index(word) < text.index("Alcohol and attenuation")


def test_a_kegs_page_leads_with_its_verdict_too_and_a_refused_sulfite_stops_it() -> None:
    keg = {"package": "keg", "keg_rating_kpa": 900, "hand_sample": True, "storage_c": 4, "hop_creep_fall_sg": 0.0}
    keg["hops_g_per_l"] = 2
    assert "Go" in page(**keg).text.split("Alcohol and attenuation")[0]
    assert "Caution" in page(**{**keg, "keg_rating_kpa": None}).text.split("Alcohol and attenuation")[0]
    stopped = page(**keg, jurisdiction="EU", sulfite_ppm=60).text.split("Alcohol and attenuation")[0]
    assert "Stop" in stopped
    assert "the limit of 20 mg/L" in stopped


def test_every_caution_and_refusal_is_printed() -> None:
    inputs = {**GIVEN, "finished": False}
    answer = as_json(sheet(inputs), DisplayUnits(pressure_unit="bar"))  # as preferences are unless they are changed
    text = page(finished=False).text
    for sentence in [*answer["refusals"], *answer["cautions"], *answer["checklist"]]:
        assert sentence in text


def test_the_page_can_be_followed_alone() -> None:
    text = page().text
    for said in (
        "g of sucrose (table sugar)",  # of glucose monohydrate it would be 16 % more
        "at 30.0\u202f°C, ",  # where the pressure to expect holds
        "after 20.0\u202f°C",
        "What the worst case rests on",
        "2.4 volumes wished for",
        "Assumed, as it was not entered",
        "Altitude1500\u202fm, for what has to hold",  # as none is given
        "Head space purged of airno",
    ):
        assert said in text
    assert "Still to be entered" not in text
    monohydrate = page(priming_sugar="glucose monohydrate").text
    assert "glucose monohydrate (dextrose with its crystal water)" in monohydrate
    keg = page(package="keg", keg_rating_kpa=900, altitude_m=2000).text
    assert "above the atmosphere, at 8.0\u202f°C, at an altitude of 2000\u202fm" in keg


@pytest.mark.parametrize(
    ("key", "label", "row"),
    [("warmest_c", "Warmest since it finished", "Priming sugar"), ("volume_l", "Volume", "Priming sugar")],
)
def test_what_is_missing_is_asked_for_by_name_and_the_empty_answer_says_why(key: str, label: str, row: str) -> None:
    text = page(**{key: None}).text
    asked = text[text.index("Still to be entered") :]
    assert f"“{label}”" in asked[: asked.index("Alcohol and attenuation")]
    assert f"{row}not saidNot given: {label}." in text


def test_an_empty_sheet_prints_too() -> None:
    parsed = Page()
    parsed.feed(str(sheet_html(sheet({}))))
    assert parsed.open == []
    assert "licensed practice" in parsed.text
    assert "None" not in parsed.text


def test_numbers_follow_the_persons_units() -> None:
    mine = Preferences(gravity_unit="°P", temperature_unit="°F", volume_unit="US gal", pressure_unit="psi")
    said = {row.label: row.value for section in input_sections(checked(GIVEN), mine) for row in section.rows}
    assert said["Volume"] == "5.02\u202fUS gal"
    assert said["Final gravity"] == "2.8\u202f°P"
    assert said["Warmest since it finished"] == "68.0\u202f°F"
    assert said["Bottle rated for"] == "116.0\u202fpsi"
    answers = {row.label: row.value for section in answer_sections(sheet(GIVEN), mine) for row in section.rows}
    assert answers["Keg pressure"].endswith("psi")


@given(
    st.sampled_from(["gravity", "gravity fall", "temperature", "pressure", "volume", "mass"]),
    st.floats(0.001, 0.05),
    st.sampled_from(["SG", "°P"]),
    st.sampled_from(["°C", "°F"]),
    st.sampled_from(["L", "US gal"]),
    st.sampled_from(["kPa", "bar", "psi"]),
)
def test_what_is_typed_in_ones_own_unit_comes_back_as_it_was(
    quantity: Quantity, small: float, gravity: Any, temperature: Any, volume: Any, pressure: Any
) -> None:
    mine = Preferences(gravity_unit=gravity, temperature_unit=temperature, volume_unit=volume, pressure_unit=pressure)
    value = {"gravity": 1 + small, "gravity fall": small}.get(quantity, 1000 * small)
    assert mine.units.entered(mine.units.shown(value, quantity), quantity) == pytest.approx(value, rel=1e-9)


def test_the_picture_marks_the_rating_and_is_absent_where_nothing_is_known() -> None:
    distribution = sheet(GIVEN).bottle_pressure_distribution
    assert ">rating<" in pressure_svg(distribution, 800, Preferences())
    assert ">rating<" not in pressure_svg(distribution, None, Preferences())
    assert pressure_svg((), 800, Preferences()) == ""


def test_on_a_phone_no_danger_is_behind_a_tap():
    burst = sheet({**GIVEN, "bottle_rating_kpa": 150, "finished": False, "hold_met": False})
    word, reasons = screen.light(burst, (), Preferences())
    assert word == "stop"
    shown = screen.verdict_html(word, reasons, screen.open_reasons(burst))
    first, _, more = shown.partition("<details>")
    assert len(burst.dangers) > 3
    for danger in burst.dangers:
        assert str(escape(worded(danger, Preferences().units))) in first
    assert more.count("<li>") == len(reasons) - len(burst.dangers) > 0
    assert f"{len(reasons) - len(burst.dangers)} more to know" in more
