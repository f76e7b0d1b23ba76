"""A person who chose °P and °F meets neither SG nor °C in any sentence about a batch."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import get_args
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.display_units import (
    DisplayUnits,
    GravityUnit,
    MassUnit,
    PressureUnit,
    Quantity,
    TemperatureUnit,
    VolumeUnit,
)
from analysis.model import PHASES, Assessment, Batch, Creep, Event, Range
from analysis.planning import (
    BottlesWait,
    BottlesWaitAgain,
    Caution,
    ColdKeg,
    Contact,
    ContactTooLong,
    Ended,
    FillColdKeg,
    Hold,
    HopEarly,
    HopThenPackage,
    Obstacle,
    Packaged,
    PlanCaution,
    PlanReason,
    TakeHopsOut,
    UnlikelyInTime,
    Unread,
    WhenContactEnds,
    outstanding,
)
from analysis.planning.constraints import Constraints, Plan
from analysis.planning.plan import plan
from analysis.wording import Voice, caution, curve_in_words, dates, next_day, reason, three_notions, verdict
from tests.analysis.situations import DAY, HOUR, NOW, assessed, batch, free_day, normal

MINE = DisplayUnits("°P", "°F", "bar", "US gal", "oz")
VOICE = Voice(MINE, ZoneInfo("America/Chicago"), NOW)
FOREIGN = re.compile(r"\bSG\b|\b[01]\.\d{3}\b|°C|\bpoints?\b|\d kPa|\bpsi\b|\d L\b")
"""What belongs to other units: their names, a specific gravity, and points, which are thousandths of one."""

TODAY = NOW.date()
FALL = Range(0.001, 0.0021, 0.004)
CONTACTS = [
    Contact(day=TODAY, asked_days=3.0, over=over, out=out, had=had)
    for over, out, had in ((False, False, None), (True, False, None), (True, True, None), (True, True, 30 * HOUR))
]
KEGS = [ColdKeg(TODAY), *(ColdKeg(TODAY, Unread(age)) for age in (None, 3 * DAY, -DAY))]
REASONS: list[PlanReason] = [
    *Obstacle,
    UnlikelyInTime(0.3, 0.8, 180),
    Ended(TODAY),
    Packaged(TODAY),
    free_day(TODAY),
    HopEarly(hop=TODAY, out=TODAY + 3 * DAY, contact_days=3.0, then=free_day(TODAY)),
    *(
        HopThenPackage(
            hop=TODAY,
            out=TODAY + 3 * DAY,
            package=TODAY + later,
            hold=Hold(48.0, 60.0),
            rest_days=1.0,
            contact_days=3.0,
            chance=0.9995,
            waited=bottles,
            bottles=bottles,
        )
        for later, bottles in itertools.product((3 * DAY, 5 * DAY), (False, True))
    ),
    *(FillColdKeg(contact=c, fall_sg=f, keg=k) for c in CONTACTS for f in (None, FALL) for k in KEGS),
    *(
        BottlesWait(day=TODAY, hold_h=36.0, chance=0.8, falling=True, fall_sg=f, keg=k)
        for f in (None, FALL)
        for k in KEGS
    ),
    *(
        WhenContactEnds(contact=c, day=TODAY, same_day=s, hold=h, chance=0.8)
        for c in CONTACTS
        for s in (True, False)
        for h in (Hold(48.0), Hold(48.0, 81.0))
    ),
]
CAUTIONS: list[PlanCaution] = [
    *Caution,
    *(Unread(age) for age in (None, 3 * DAY, -DAY)),
    BottlesWaitAgain(3.0, TODAY),
    TakeHopsOut(TODAY, 3.0, TODAY),
    ContactTooLong(9.4, 3.0, grassy=True),
]


def situations() -> Iterator[Assessment]:
    """Every phase with much, little and an uncertain amount left to fall, cold and warm, done and not."""
    rests = (
        Range(0.0001, 0.0002, 0.0004),
        Range(0.0002, 0.0006, 0.001),
        Range(0.003, 0.004, 0.005),
        Range(0.001, 0.01, 0.03),
    )
    for phase, left, done in itertools.product(PHASES, rests, (False, True)):
        yield assessed(
            phase=phase,
            finished=done,
            stalled=phase == "stalled",
            p_finished=0.97 if done else 0.2,
            held_h=60.0 if done else 3.0,
            held_since=NOW - (60 if done else 3) * HOUR,
            gravity_sg=Range(1.0105, 1.011, 1.0115),
            terminal_gravity_sg=Range(1.009, 1.0101, 1.011),
            remaining_fall_sg=left,
            temperature_c=4.0 if phase == "chilled" else 19.4,
            creep=Creep(since=NOW - DAY, fall_sg=FALL) if phase == "creeping" else None,
        )


def sentences(seen: Assessment, made: Plan, of: Batch) -> Iterator[str]:
    """All that is said of one look."""
    for brief in (False, True):
        yield verdict(seen, 48.0, VOICE, brief)
    for said in (*three_notions(seen, 48.0, VOICE), *dates(made, of, VOICE)):
        yield " ".join(said)
    yield next_day(seen, outstanding(made, of), VOICE)
    yield curve_in_words(seen, VOICE)
    yield reason(made.reason, MINE)
    yield reason(made.blocked_by, MINE)
    yield from (caution(each) for each in made.cautions)


def test_no_sentence_of_a_look_names_another_unit() -> None:
    wishes = [
        Constraints(destination=d, early_dry_hop=e) for d in ("undecided", "keg", "bottle") for e in (False, True)
    ]
    hopped = batch(Event("dry hop", NOW - 4 * DAY), Event("hops out", NOW - DAY))
    said = 0
    for seen, wish, of in itertools.product(situations(), wishes, (batch(), hopped)):
        for text in sentences(seen, plan(seen, of, wish, now=NOW), of):
            assert FOREIGN.search(text.replace("\u202f", " ")) is None, text
            said += bool(text)
    assert said > 5000


@pytest.mark.parametrize("given", REASONS, ids=lambda g: type(g).__name__)
def test_no_reason_names_another_unit(given: PlanReason) -> None:
    text = reason(given, MINE)
    assert text.endswith(".")
    assert FOREIGN.search(text.replace("\u202f", " ")) is None, text


@pytest.mark.parametrize("given", CAUTIONS, ids=lambda g: type(g).__name__)
def test_no_caution_names_another_unit(given: PlanCaution) -> None:
    text = caution(given)
    assert text.endswith(".")
    assert FOREIGN.search(text.replace("\u202f", " ")) is None, text


def test_the_search_finds_what_the_usual_units_say() -> None:
    """The pattern is one that can fail: with SG and °C it finds gravity, points and degrees."""
    usual = replace(VOICE, units=DisplayUnits())
    [chilled] = [a for a in situations() if a.phase == "chilled" and not a.finished][:1]
    [active] = [a for a in situations() if a.phase == "active" and not a.finished][2:3]
    assert FOREIGN.search(verdict(chilled, 48.0, usual).replace("\u202f", " "))
    assert FOREIGN.search(verdict(active, 48.0, usual))
    assert FOREIGN.search(usual.gravity(1.011))


# ASBC, Beer-3 table (from memory): SG 1.0401 is 10.0 °P and SG 1.0200 is 5.1 °P, so 20.1 points are 4.9 °P there.
def test_a_fall_is_said_on_the_scale_that_was_chosen() -> None:
    assert MINE.gravity(1.0401) == "10.0\u202f°P"
    assert DisplayUnits().fall(0.0021) == "2.1 points"
    assert MINE.fall(0.004) == "1.0\u202f°P"
    assert MINE.about_fall(0.004) == "about 1.0\u202f°P"
    assert MINE.fall_between(0.002, 0.005) == "0.5 to 1.3\u202f°P"
    assert MINE.one_point() == "0.3\u202f°P"


@pytest.mark.parametrize("quantity", get_args(Quantity))
@given(
    units=st.builds(
        DisplayUnits,
        *(
            st.sampled_from(get_args(unit))
            for unit in (GravityUnit, TemperatureUnit, PressureUnit, VolumeUnit, MassUnit)
        ),
    ),
    share=st.floats(0, 1),
)
def test_what_is_typed_comes_back_as_it_was_shown(quantity: str, units: DisplayUnits, share: float) -> None:
    low, high = {"gravity": (0.97, 1.2), "gravity fall": (0.0, 0.1)}.get(quantity, (-5.0, 5000.0))
    inside = low + share * (high - low)
    assert units.entered(units.shown(inside, quantity), quantity) == pytest.approx(inside, rel=1e-9, abs=1e-9)
    shown = units.shown(inside, quantity)
    assert units.shown(units.entered(shown, quantity), quantity) == pytest.approx(shown, rel=1e-9, abs=1e-7)


# NIST SP 811, appendix B: an ounce is 28.34952 g, a pound 453.5924 g.
def test_masses_are_said_with_the_digits_of_their_scales() -> None:
    ounces = DisplayUnits(mass_unit="oz")
    told = {0.45: ("0.45 g", "0.0159 oz"), 128.0: ("128 g", "4.52 oz"), 1250.0: ("1.250 kg", "2.756 lb")}
    for grams, (metric, imperial) in told.items():
        assert DisplayUnits().mass(grams).replace("\u202f", " ") == metric
        assert ounces.mass(grams).replace("\u202f", " ") == imperial
    assert ounces.mass(453.59237) == "1.000\u202flb"
    assert DisplayUnits().mass(9.996) == "10.0\u202fg"


@given(grams=st.floats(0.05, 1e6))
def test_a_mass_is_never_rounded_by_more_than_half_a_percent(grams: float) -> None:
    for units, in_g in (
        (DisplayUnits(), {"g": 1.0, "kg": 1000.0}),
        (DisplayUnits(mass_unit="oz"), {"oz": 28.349523125, "lb": 453.59237}),
    ):
        figure, unit = units.mass(grams).split("\u202f")
        assert float(figure) * in_g[unit] == pytest.approx(grams, rel=0.0051, abs=0.0051)


def test_a_sure_day_is_said_alike_in_reason_and_dates() -> None:
    """No day to come is certain; a chance of 99.9 % reads the same wherever it stands."""
    day = date(2026, 3, 7)
    said = reason(replace(free_day(day), chance=0.999), MINE)
    made = Plan(made_at=NOW, packaging_day=day, packaging_chance=0.999)
    [(_, when, _)] = dates(made, batch(), VOICE)
    for text in (said, when):
        assert "more than\u00a099\u202f%" in text


def test_spans_ahead_are_those_of_the_finish() -> None:
    """A finish that lies hours ahead is said with its day, in the zone of the person."""
    seen = assessed(phase="active", finish=normal(30, 2), remaining_fall_sg=Range(0.003, 0.004, 0.005))
    assert "about 1.0\u202f°P to go, likely done" in verdict(seen, 48.0, VOICE)


def test_a_gravity_typed_without_its_point_is_understood_and_no_other_quantity_is() -> None:
    sg, plato = DisplayUnits(), DisplayUnits(gravity_unit="°P")
    assert [sg.entered(typed, "gravity") for typed in (1050.0, 1012.0, 998.0, 1.05)] == [1.05, 1.012, 0.998, 1.05]
    assert plato.entered(12.5, "gravity") == pytest.approx(1.0505, abs=2e-4)
    assert sg.entered(1050.0, "volume") == 1050.0
