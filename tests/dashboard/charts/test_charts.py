from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree as ET

import numpy as np
import polars as pl
import pytest

from analysis.evidence import FloatOff, NothingYet
from analysis.model import PHASES, Assessment, Event, Forecast, PhaseSpan, Range
from analysis.schemas import COURSE, MARKED
from dashboard.charts import batch
from dashboard.charts.base import Curve, View, Zoom, course_until
from dashboard.charts.batch import _in_lines, batch_figure
from dashboard.charts.drawn import Drawn
from dashboard.charts.palette import PALETTES
from dashboard.charts.sparkline import AHEAD, BACK, HEIGHT, WIDTH, phase_glyph, sparkline_svg
from dashboard.screens.batch.page import _legend
from dashboard.wording import voice_of
from ingest.model import Preferences

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
PITCHED = NOW - timedelta(days=4)
SAY = voice_of(Preferences(time_zone="Europe/Lisbon"), NOW)


def assessed(readings: int = 384, days: float = 4.0) -> Assessment:
    day = np.linspace(0, days, readings)
    pitched = NOW - timedelta(days=days)
    gravity = 1.011 + 0.041 / (1 + np.exp((day - 1.6) / 0.45))
    aside: list[str | None] = [None] * readings
    aside[readings // 3] = "jumps away and back"
    gravity[readings // 3] = 1.2
    by_hand = [False] * readings
    by_hand[readings // 2] = True
    marked = pl.DataFrame(
        {
            "measured_at": [pitched + timedelta(days=float(d)) for d in day],
            "gravity_sg": gravity,
            "temperature_c": 19 + np.sin(day),
            "by_hand": by_hand,
            "set_aside": aside,
        },
        schema=MARKED,
    )
    ahead = np.linspace(0, days + 6, 200)
    course = 1.011 + 0.041 / (1 + np.exp((ahead - 1.6) / 0.45))
    return Assessment(
        now=NOW,
        phase="slowing",
        finished=False,
        stalled=False,
        p_finished=0.1,
        finish=Forecast(tuple((NOW + timedelta(days=d)).timestamp() for d in (0, 1, 2, 3, 4)), (0, 0.1, 0.5, 0.9, 1)),
        held_since=None,
        held_h=0.0,
        hold_met=False,
        gravity_sg=Range(1.012, 1.0125, 1.013),
        terminal_gravity_sg=Range(1.010, 1.011, 1.012),
        remaining_fall_sg=Range(0.001, 0.0015, 0.002),
        original_gravity_sg=Range(1.051, 1.052, 1.053),
        apparent_attenuation=0.75,
        temperature_c=19.0,
        evidence=(),
        phases=(PhaseSpan("lag", pitched), PhaseSpan("active", pitched + timedelta(hours=12))),
        newest_reading_at=NOW,
        marked=marked,
        course=pl.DataFrame(
            {
                "at": [pitched + timedelta(days=float(d)) for d in ahead],
                "gravity_p10_sg": course - 0.001,
                "gravity_p50_sg": course,
                "gravity_p90_sg": course + 0.001,
            },
            schema=COURSE,
        ),
    )


def figure(view: View | None = None, a: Assessment | None = None, **facts):
    curve = Curve(
        assessment=a or assessed(),
        pitched_at=PITCHED,
        original_gravity_sg=1.052,
        view=view or View(),
        **facts,
    )
    return batch_figure(curve, SAY)


def trace(fig, name):
    [found] = [t for t in fig.data if t.name == name]
    return found


def test_measured_set_aside_and_hand_samples_are_told_apart_by_their_mark():
    fig = figure()
    assert "open" in trace(fig, "set aside").marker.symbol
    assert trace(fig, "hand sample").marker.symbol == "diamond"
    assert trace(fig, "measured").marker.color == PALETTES["light"].ink
    assert trace(fig, "inferred course").line.color == PALETTES["light"].inferred


def test_the_words_beside_a_figure_explain_what_is_drawn_and_nothing_else():
    names = figure().names
    assert {"measured", "set aside", "hand sample", "inferred course", "likely finish"} <= names
    assert names.isdisjoint({"as sent", "classical curve"})
    legend = str(_legend(names))
    assert "set aside" in legend
    assert "classical" not in legend
    assert "as the float sent it" in str(_legend(names | {"as sent"}))


# Beyond the line of now where that leaves room, else before it; and the line ends below the words of events.
@pytest.mark.parametrize(("ahead", "share"), [(timedelta(days=0.4), 0.9), (timedelta(days=6), 1.0)])
def test_why_dots_lie_beside_the_line_stands_on_one_side_of_now(ahead, share):
    off = replace(assessed(), evidence=(FloatOff(0.002, 1.0125),))
    drawn = figure(a=off, until=NOW + ahead)
    begin, end = (datetime.fromisoformat(str(t)).replace(tzinfo=UTC) for t in drawn.layout.xaxis.range)
    now = (NOW - begin) / (end - begin)
    [note] = [n for n in drawn.layout.annotations if "Dots lie" in n.text]
    left = note.x - batch._WIDTH_OF_A_LETTER * max(map(len, note.text.split("<br>")))
    assert note.x == pytest.approx(share, abs=0.06)
    assert note.x < now or left > now
    [strip] = [s for s in drawn.layout.shapes if s.line.dash == "dot" and s.xref == "x3"]
    assert strip.y1 < 0.3


def test_a_figure_is_sent_as_it_was_drawn_and_checked_for_who_asks():
    drawn = figure()
    sent = drawn.to_dict()
    assert sent["data"][0] is drawn.to_dict()["data"][0]  # not copied for each who looks
    assert "template" not in sent["layout"]  # its name means something in Python only
    assert json.loads(drawn.to_json())["layout"]["height"] == drawn.layout.height
    with pytest.raises(ValueError, match="colour"):
        _ = Drawn([{"type": "scatter", "colour": "red"}], {}).data


def test_a_set_aside_point_says_why():
    assert "jumps away and back" in trace(figure(), "set aside").text


def test_what_was_set_aside_does_not_squash_the_curve():
    low, high = figure().layout.yaxis.range
    assert high < 1.06
    assert low > 1.0


def test_temperature_has_its_own_panel_and_never_a_second_axis():
    fig = figure(temperature_range_c=(18.0, 21.0))
    assert trace(fig, "temperature").yaxis == "y2"
    assert fig.layout.yaxis2.overlaying is None
    wished = [s for s in fig.layout.shapes if s.type == "rect" and s.y0 == 18.0]
    assert len(wished) == 1


def test_the_finish_stands_on_the_time_axis():
    fig = figure()
    bars = [s for s in fig.layout.shapes if s.type == "rect" and s.xref == "x3"]
    first = min(bars, key=lambda s: s.x0)
    assert first.x0 == (NOW + timedelta(days=1)).replace(tzinfo=None)
    assert first.x1 == (NOW + timedelta(days=3)).replace(tzinfo=None)


def test_events_stand_with_their_word():
    fig = figure(events=[Event("dry hop", NOW - timedelta(days=1), note="60 g")])
    assert trace(fig, "event").text == ("Dry hops in",)


def test_no_word_of_an_event_lies_on_another_where_they_crowd():
    kinds = ("nutrient", "feed", "dry hop", "transfer")
    events = [Event(kind, PITCHED + timedelta(hours=10 * n)) for n, kind in enumerate(kinds)]
    shown = (PITCHED - timedelta(hours=4), PITCHED + timedelta(days=20))
    places = batch._places(events[:3], shown, NOW)
    assert len({level for level, _ in places}) == 3
    # A word that fits beside the first again goes back to its level.
    late = Event("note", PITCHED + timedelta(days=12))
    assert batch._places([*events[:3], late], shown, NOW)[-1][0] == 0
    # At the right edge the word stands left of its mark.
    assert batch._places([Event("note", shown[1] - timedelta(hours=1))], shown, NOW) == [(0, True)]


def test_the_word_of_the_present_phase_is_there_however_new_it_is_and_runs_into_no_other():
    began = (PITCHED, PITCHED + timedelta(hours=12), NOW - timedelta(hours=26), NOW - timedelta(hours=3))
    spans = tuple(PhaseSpan(p, at) for p, at in zip(("lag", "active", "slowing", "creeping"), began, strict=True))
    shown = figure(a=replace(assessed(), phases=spans), until=NOW + timedelta(days=4))
    words = {n.text: n for n in shown.layout.annotations if n.yref == "y domain" and n.xref == "x"}
    assert "Not begun" not in words
    assert words["Falling again"].xanchor == "left"
    assert words["Falling again"].x == began[3].replace(tzinfo=None)
    assert words["Active"].xanchor == "center"
    assert began[1].replace(tzinfo=None) < words["Active"].x < began[2].replace(tzinfo=None)


def test_days_are_counted_from_pitching():
    xs = trace(figure(View("SG", "Days since pitching")), "measured").x
    assert min(xs) == pytest.approx(0.0)
    assert max(xs) == pytest.approx(4.0)


def test_plato_and_attenuation_are_the_same_curve_in_other_units():
    # ASBC, Beer-3 table (from memory): SG 1.0526 is 12.98 °P.
    plato = trace(figure(View("°P")), "inferred course").y
    assert plato[0] == pytest.approx(12.5, abs=0.3)
    gone = trace(figure(View("Attenuation")), "inferred course").y
    assert gone[0] == pytest.approx(2.5, abs=1.5)
    assert gone[-1] == pytest.approx(78, abs=2)


def test_without_an_original_gravity_attenuation_falls_back_to_gravity():
    a = replace(assessed(), original_gravity_sg=None)
    curve = Curve(assessment=a, pitched_at=PITCHED, view=View("Attenuation"))
    assert batch_figure(curve, SAY).layout.yaxis.tickformat == ".3f"


def test_half_a_year_of_readings_is_thinned_and_keeps_its_extremes():
    a = assessed(readings=60_000, days=180)
    fig = figure(a=a)
    points = trace(fig, "measured")
    assert len(points.x) <= 4 * 300
    used = a.marked.filter(pl.col("set_aside").is_null() & ~pl.col("by_hand"))
    assert max(points.y) == pytest.approx(used["gravity_sg"].max(), abs=5e-6)


def test_a_batch_without_readings_still_has_a_figure():
    bare = replace(
        assessed(),
        marked=pl.DataFrame(schema=MARKED),
        course=pl.DataFrame(schema=COURSE),
        finish=None,
        phases=(),
        newest_reading_at=None,
    )
    assert figure(a=bare).layout.height > 0


def test_what_a_reader_drags_stays_until_scales_or_zoom_change():
    zoomed = Zoom(NOW - timedelta(days=2), NOW - timedelta(days=1))
    assert figure().layout.uirevision == figure().layout.uirevision
    assert figure().layout.uirevision != figure(View("°P")).layout.uirevision
    assert figure().layout.uirevision != figure(zoom=zoomed).layout.uirevision


@pytest.mark.parametrize("until", [None, NOW + timedelta(days=3), NOW + timedelta(days=9)])
def test_a_zoom_holds_wherever_the_time_axis_would_end(until):
    zoomed = Zoom(NOW - timedelta(days=2), NOW - timedelta(days=1), 1.012, 1.030)
    shown = figure(zoom=zoomed, until=until)
    # Lisbon keeps UTC in winter.
    assert shown.layout.xaxis.range == tuple(t.replace(tzinfo=None) for t in (zoomed.from_at, zoomed.to_at))
    assert shown.layout.xaxis3.range == shown.layout.xaxis.range
    assert shown.layout.yaxis.range == pytest.approx((1.012, 1.030))


def test_a_zoom_keeps_its_place_on_other_scales():
    zoomed = Zoom(NOW - timedelta(days=2), NOW - timedelta(days=1), 1.0120, 1.0300)
    shown = figure(View("°P", "Days since pitching"), zoom=zoomed)
    assert shown.layout.xaxis.range == pytest.approx((2.0, 3.0))
    assert shown.layout.yaxis.range == pytest.approx((3.07, 7.55), abs=0.01)  # ASBC's table of extract
    attenuated = figure(View("Attenuation"), zoom=zoomed).layout.yaxis.range
    assert attenuated[0] < attenuated[1]


def test_zoomed_in_more_readings_are_drawn():
    many = assessed(40_000)
    zoomed = Zoom(NOW - timedelta(hours=6), NOW - timedelta(hours=2))

    def seen(shown):
        [trace] = [t for t in shown.data if t.name == "measured"]
        return sum(zoomed.from_at <= datetime.fromisoformat(x).replace(tzinfo=UTC) <= zoomed.to_at for x in trace.x)

    assert seen(figure(a=many, zoom=zoomed)) > 5 * seen(figure(a=many))


def test_a_small_curve_is_well_formed_and_says_what_it_shows():
    svg = sparkline_svg(assessed(), NOW, 'fell from 1.052 to <1.012> & "held"')
    root = ET.fromstring(svg)  # noqa: S314 - our own text
    assert root.get("role") == "img"
    assert root.get("aria-label") == 'fell from 1.052 to <1.012> & "held"'


def test_a_small_curve_shows_seven_days_back_and_three_ahead():
    a = assessed(readings=4000, days=30)
    svg = sparkline_svg(a, NOW, "")
    numbers = [float(n) for n in re.findall(r"[ML](-?\d+\.\d) ", svg)]
    assert min(numbers) >= -1
    assert max(numbers) <= WIDTH + 1
    here = re.search(r'class="now" d="M([\d.]+) 0V', svg)
    assert here is not None
    assert float(here[1]) == pytest.approx(WIDTH * BACK / (BACK + AHEAD), abs=0.1)


def test_no_fall_is_drawn_ahead_of_a_stalled_batch():
    def last_x(a: Assessment) -> float:
        path = re.search(r'class="course" d="([^"]+)"', sparkline_svg(a, NOW, ""))
        assert path is not None
        return max(float(n) for n in re.findall(r"[ML](-?\d+\.\d) ", path[1]))

    going, stalled = assessed(), replace(assessed(), stalled=True, finish=None)
    line_of_now = WIDTH * BACK / (BACK + AHEAD)
    assert last_x(going) > line_of_now + 10
    assert last_x(stalled) <= line_of_now + 0.1
    assert course_until(stalled, NOW)["at"].max() <= NOW
    assert course_until(going, NOW)["at"].max() > NOW


def test_the_noise_of_a_finished_batch_stays_small():
    quiet = assessed()
    rng = np.random.default_rng(0)
    flat = quiet.marked.with_columns(
        pl.Series("gravity_sg", 1.011 + rng.normal(0, 0.0004, quiet.marked.height)),
        pl.lit(None, pl.String).alias("set_aside"),
    )
    svg = sparkline_svg(replace(quiet, marked=flat, course=pl.DataFrame(schema=COURSE)), NOW, "")
    heights = [float(n) for n in re.findall(r"M-?\d+\.\d (-?\d+\.\d)h0", svg)]
    assert max(heights) - min(heights) < HEIGHT / 2


def test_a_small_curve_is_a_light_piece_of_html():
    assert len(sparkline_svg(assessed(readings=20_000, days=12), NOW, "x" * 100)) < 6_000


def test_each_phase_has_a_glyph_of_its_own():
    assert len({phase_glyph(p) for p in PHASES}) == len(PHASES)


def test_without_a_temperature_no_numbers_pass_for_degrees():
    bare = assessed()
    bare = replace(bare, marked=bare.marked.with_columns(pl.lit(None, pl.Float64).alias("temperature_c")))
    shown = figure(a=bare)
    assert shown.layout.yaxis2.showticklabels is False
    assert "No temperature was read" in [n.text for n in shown.layout.annotations]
    assert figure().layout.yaxis2.showticklabels is True


def test_of_too_few_readings_the_picture_says_no_phase():
    early = replace(assessed(), phase="lag", evidence=(NothingYet(1),), phases=(PhaseSpan("lag", PITCHED),))
    assert "Too early to say" in [n.text for n in figure(a=early).layout.annotations]


def test_where_nothing_was_read_the_small_curve_has_no_line_that_passes_for_a_gravity():
    none = replace(assessed(), marked=assessed().marked.clear(), course=assessed().course.clear())
    assert "<path" not in sparkline_svg(none, NOW, "nothing")


@pytest.mark.parametrize("told", [
    "Dots lie about 12 points high: the float's likely offset",
    "Dots lie a little low: the float's likely offset, less than one point",
    "Earlier dots lie a little low: the hand sample sets the float since Sun 29 Nov 2026, 04:26",
])  # fmt: skip
def test_why_dots_lie_beside_the_line_is_said_in_lines_that_fit_on_a_phone_and_part_no_time(told):
    for letters in (32, 24, 16):
        lines = _in_lines(told, letters)
        assert " ".join(lines).replace("\u00a0", " ") == told
        assert max(map(len, lines)) <= letters
        assert not any(line.startswith("04:26") for line in lines)
