"""Pages as scripts, without a browser: what they say, what they link to, and that none shows a traceback."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

import dashboard
from dashboard import context, navigation
from dashboard.charts import base
from dashboard.charts import batch as charts
from dashboard.queries import queries
from dashboard.screens.batch import page as batch_page
from dashboard.screens.batch import values
from dashboard.templates import Markup
from ingest.model import BatchRecord, EventRecord, HandSample, Report
from tests.dashboard.conftest import opened

MAIN = Path(dashboard.__file__).parent / "main.py"


def text_of(app: AppTest) -> str:
    """All HTML that a page shows, in its order by kind."""
    parts = [element.proto.body for element in app.get("html")]
    for element in app.get("bidi_component"):
        if element.proto.component_name == "tunroom_markup":
            parts.append(json.loads(element.proto.json))
    return "\n".join(parts)


def script(page: str, **query: str) -> AppTest:
    """One page by itself, as the navigation would run it."""
    app = AppTest.from_string(
        f"from dashboard.ui import components\nfrom dashboard import navigation\n"
        f"[entry] = [e for e in navigation.PAGES if e.path == {page!r}]\n"
        f"components.screen(entry.show)()\n",
        default_timeout=60,
    )
    for name, value in query.items():
        app.query_params[name] = value
    return app.run()


def test_the_first_screen_leads_with_what_wants_the_person(cellar):
    app = AppTest.from_file(str(MAIN), default_timeout=60).run()
    text = text_of(app)
    assert not app.exception
    assert "vessels want you today." in text
    assert text.index("Mill Porter") < text.index("Harbour Pale")
    assert "Stalled at 1.0" in text
    assert "Take a hand sample first" in text


def test_the_silent_float_is_named_with_its_age(cellar):
    text = text_of(AppTest.from_file(str(MAIN), default_timeout=60).run())
    # Fifteen where this machine is slow: the cellar is filled once for all of these tests.
    assert re.search("Float-10 is silent: last heard 1[45]\u202fh ago", re.sub("<[^>]*>", "", text))


def test_every_row_leads_to_the_address_of_its_batch(cellar):
    text = text_of(AppTest.from_file(str(MAIN), default_timeout=60).run())
    for record in cellar.store.active_batches():
        assert f'href="batch?id={record.batch_id}"' in text or f'href="packaging?id={record.batch_id}"' in text


def test_an_empty_cellar_offers_the_two_ways_to_begin(empty):
    text = text_of(AppTest.from_file(str(MAIN), default_timeout=60).run())
    assert "Connect a float or a probe" in text
    assert "Import a log" in text


def test_a_cellar_whose_batches_are_all_packaged_is_not_called_empty(empty, add_batch):
    add_batch(empty.store, 1, "Gone", 9, ended_at=datetime.now(UTC))
    text = text_of(script("today"))
    assert "Nothing ferments now; one finished batch on record." in text
    assert "This cellar is empty" not in text


def test_a_device_that_speaks_up_is_named_on_the_first_screen(empty):
    now = queries.voice().now
    empty.store.keep([Report(device_id="newcomer", measured_at=now, received_at=now, gravity_sg=1.05)])
    assert "One new device speaks and waits" in text_of(AppTest.from_file(str(MAIN), default_timeout=60).run())


@pytest.mark.parametrize("page", [entry.path for entry in navigation.PAGES])
def test_no_page_shows_a_failure_in_an_empty_cellar(empty, page):
    app = script(page)
    assert not app.exception
    assert 'role="alert"' not in text_of(app)


@pytest.mark.parametrize("page", [entry.path for entry in navigation.PAGES])
def test_no_page_shows_a_failure_in_a_full_cellar(cellar, page):
    app = script(page, id=cellar.batches["held"].batch_id)
    assert not app.exception
    assert "Something went wrong" not in text_of(app)


@pytest.mark.parametrize("page", [entry.path for entry in navigation.PAGES])
def test_no_page_says_nan_none_or_null(cellar, page):
    text = re.sub(r"<style>.*?</style>", "", text_of(script(page, id=cellar.batches["active"].batch_id)), flags=re.S)
    words = re.sub(r"<[^>]*>", " ", text)
    assert not re.search(r"\b(nan|NaN|None|null|inf)\b", words)


@pytest.mark.parametrize("batch", ["active", "held", "stalled", "silent", "ended Dune"])
def test_a_batch_leads_with_its_verdict_and_keeps_three_notions_apart(cellar, batch):
    text = text_of(script("batch", id=cellar.batches[batch].batch_id))
    assert 'class="lead"' in text
    assert ("Packaged" in text.partition("</h1>")[0]) == batch.startswith("ended")
    asked = ("When does it finish?", "Has it finished?", "Has it been seen to hold?")
    past = ("When did it finish?", "Had it finished?", "Had it been seen to hold?")
    for question in past if batch.startswith("ended") else asked:
        assert question in text


def test_a_batch_that_has_held_says_so_and_names_both_dates(cellar):
    text = text_of(script("batch", id=cellar.batches["held"].batch_id))
    assert "Finished: the gravity has held at 1.01" in text
    assert "Dry hop" in text
    assert "Package" in text


def test_the_classical_curve_is_fitted_and_shown_only_when_it_is_switched_on(cellar, monkeypatch):
    asked = []
    real = queries.classical_fit
    monkeypatch.setattr(queries, "classical_fit", lambda *given: asked.append(1) or real(*given))
    app = script("batch", id=cellar.batches["held"].batch_id)
    assert asked == []
    assert "The classical curve" not in text_of(app)
    app.toggle(key="classical").set_value(True).run()
    assert not app.exception
    assert len(asked) == 1, "the figure and the evidence share one fit"
    assert "one standard error" in text_of(app)


def test_no_part_of_a_batchs_page_tells_of_another_moment_than_its_verdict(cellar, monkeypatch):
    batch_id = cellar.batches["held"].batch_id
    old = queries.outlook_of(batch_id)
    new = replace(old, assessment=replace(old.assessment, p_finished=0.47))
    asked = iter((old,))  # judged anew while the page is drawn
    monkeypatch.setattr(queries, "outlook_of", lambda _: next(asked, new))
    drawn = []
    monkeypatch.setattr(batch_page, "verdict_html", lambda outlook, say: drawn.append(outlook) or Markup())
    monkeypatch.setattr(batch_page, "three_notions", lambda a, hold_h, say: drawn.append(a) or [])
    assert not script("batch", id=batch_id).exception
    assert drawn == [old, old.assessment]


def test_an_unknown_batch_is_answered_with_those_there_are(cellar):
    text = text_of(script("batch", id="gone"))
    assert "Which batch?" in text
    assert "Harbour Pale" in text


def test_the_other_parts_of_a_batch_show_what_was_said_and_entered(cellar):
    batch_id = cellar.batches["held"].batch_id
    for part, expected in (("What we said before", "How our forecasts fared"), ("What was entered", "")):
        app = script("batch", id=batch_id)
        app.segmented_control(key="part").set_value(part).run()
        assert not app.exception
        assert expected in text_of(app)


def test_one_tap_logs_an_event_and_undo_takes_it_back(cellar):
    batch_id = cellar.batches["active"].batch_id
    app = opened(script("batch", id=batch_id), f"log event 0 {batch_id}")
    before = len(cellar.store.all(EventRecord, batch_id=batch_id))
    app.button_group(key="event/0").set_value("nutrient").run()
    assert not app.exception
    [event] = [e for e in cellar.store.all(EventRecord, batch_id=batch_id) if e.kind == "nutrient"]
    assert queries.voice().now - event.at < timedelta(minutes=1)
    assert app.session_state["said"][0] == "Logged: nutrient added, just now."
    cellar.store.undo()
    assert len(cellar.store.all(EventRecord, batch_id=batch_id)) == before


def test_an_entry_that_changed_nothing_offers_no_undo(cellar):
    store, record = cellar.store, cellar.batches["active"]
    app = AppTest.from_string("from dashboard.ui import components\ncomponents.done_line()\n", default_timeout=60)

    def said(enter) -> AppTest:
        shell = AppTest.from_function(_enter, kwargs={"enter": enter}, default_timeout=60).run()
        app.session_state["said"] = shell.session_state["said"]
        return app.run()

    assert [b.label for b in said(lambda: store.save(record)).button] == ["Close"]
    changed = said(lambda: store.save(replace(record, name="Harbour Dark")))
    assert [b.label for b in changed.button] == ["Undo", "Keep"]
    changed.button(key="undo").click().run()
    assert not app.exception
    assert store.get(BatchRecord, record.batch_id) == record


def _enter(enter) -> None:
    from dashboard.ui import components

    components.attempt(enter, "Saved.")


def sample_input(app: AppTest) -> Any:
    return next(n for n in app.number_input if n.label == "Reading, SG")


def press_save(app: AppTest) -> AppTest:
    """The save button of the quick sample, the first on the page."""
    return next(b for b in app.button if b.label == "Save").click().run()


def test_a_hand_sample_is_one_number_and_save(cellar):
    batch_id = cellar.batches["active"].batch_id
    app = opened(script("batch", id=batch_id), f"log sample {batch_id}")
    sample_input(app).set_value(1.031)
    press_save(app)
    [sample] = cellar.store.all(HandSample, batch_id=batch_id)
    assert (sample.value, sample.unit, sample.anchors_float) == (1.031, "SG", True)
    cellar.store.undo()


def test_an_impossible_sample_is_answered_beside_it_and_stays_typed(cellar):
    batch_id = cellar.batches["active"].batch_id
    app = opened(script("batch", id=batch_id), f"log sample {batch_id}")
    sample_input(app).set_value(10.31)
    press_save(app)
    assert "10.310 SG is out of range. The usual range is 0.990 to 1.160." in text_of(app)
    assert sample_input(app).value == 10.31
    assert cellar.store.all(HandSample, batch_id=batch_id) == []


def test_a_lost_broker_is_a_banner_on_every_page(cellar):
    cellar.broker.connected = False
    try:
        text = text_of(AppTest.from_file(str(MAIN), default_timeout=60).run())
    finally:
        cellar.broker.connected = True
    assert 'role="alert"' in text
    assert "Readings are not coming in as they should." in text


def test_a_failure_is_a_sentence_and_never_a_traceback(cellar, monkeypatch, caplog):
    def fail(*_: object) -> None:
        raise RuntimeError("secret detail")

    monkeypatch.setattr(queries, "standings", fail)
    app = AppTest.from_file(str(MAIN), default_timeout=60).run()
    assert not app.exception
    assert "Something went wrong on this page." in text_of(app)
    assert "secret detail" not in text_of(app)
    assert "secret detail" in caplog.text


def test_before_the_cellar_is_open_a_page_says_how_to_open_it():
    context.set_service(None)
    app = AppTest.from_file(str(MAIN), default_timeout=60).run()
    assert "tunroom serve" in text_of(app)


def test_the_first_screen_computes_no_assessment(cellar, monkeypatch):
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("computed inside a page run")

    monkeypatch.setattr(cellar.outlooks, "of", refuse)
    app = AppTest.from_file(str(MAIN), default_timeout=60).run()
    assert "vessels want you today." in text_of(app)


def test_a_figure_is_drawn_once_until_a_reading_comes(cellar, monkeypatch):
    batch = cellar.batches["stalled"]
    outlook = cellar.outlooks.latest(batch.batch_id)
    drawn = []
    real = charts.batch_figure
    monkeypatch.setattr(charts, "batch_figure", lambda *a: drawn.append(1) or real(*a))
    view, say = base.View("°P", "Days since pitching", "dark"), queries.voice()
    first = queries.figure(outlook, view, say)
    assert queries.figure(outlook, view, say) is first
    assert len(drawn) == 1
    now = say.now
    cellar.store.keep([Report(device_id="float-3", measured_at=now, received_at=now, gravity_sg=1.0263)])
    again = queries.figure(outlook, view, say)
    assert len(drawn) == 2
    newest, before = (max(next(t for t in f.data if t.name == "measured").x) for f in (again, first))
    assert newest > before


def test_a_batch_that_has_ended_is_drawn_to_its_end_and_no_further(cellar):
    record = cellar.batches["ended Marrow"]
    outlook = cellar.outlooks.of(record.batch_id)
    say = queries.voice()
    end = queries.axis_end(outlook, say, None)
    assert record.ended_at <= end < record.ended_at + timedelta(hours=14)
    figure = queries.figure(outlook, base.View("SG", "Date", "light"), say, end)
    course = next(t for t in figure.data if t.name == "inferred course")
    assert datetime.fromisoformat(course.x[-1]) < record.ended_at.replace(tzinfo=None) + timedelta(hours=2)
    running = cellar.outlooks.of(cellar.batches["active"].batch_id)
    assert queries.axis_end(running, say, None) > say.now


def test_units_are_chosen_once_for_all_pages(cellar):
    chosen = cellar.store.preferences()
    cellar.store.save(replace(chosen, gravity_unit="°P", temperature_unit="°F"))
    cellar.outlooks.of(cellar.batches["held"].batch_id)
    try:
        text = text_of(AppTest.from_file(str(MAIN), default_timeout=60).run())
    finally:
        cellar.store.undo()
    assert "\u202f°P" in text
    assert "\u202f°F" in text
    assert "1.011" not in text


def test_names_typed_by_a_person_cannot_become_markup(empty, add_batch):
    add_batch(empty.store, 1, "<img src=x onerror=alert(1)>", 1.0)
    text = text_of(AppTest.from_file(str(MAIN), default_timeout=60).run())
    assert "<img" not in text
    assert "&lt;img" in text


def test_the_watcher_is_told_for_as_long_as_a_page_is_made_also_where_it_fails(cellar: Any) -> None:
    script = (
        "from dashboard.ui import components\nfrom dashboard import context\n"
        "import streamlit as st\n"
        "def show():\n"
        "    st.write(f'waits: {context.someone_waits()}')\n"
        "    raise ValueError('this page fails')\n"
        "components.screen(show)()\n"
    )
    app = AppTest.from_string(script).run()
    assert app.markdown[0].value == "waits: True"
    assert not context.someone_waits()


def test_the_small_curves_are_drawn_as_soon_as_a_batch_was_judged(cellar: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    outlooks = [cellar.service.outlooks.of(r.batch_id) for r in cellar.store.active_batches()]
    for outlook in outlooks:
        queries.draw_ahead(outlook)
    monkeypatch.setattr(queries, "sparkline_svg", lambda *_: pytest.fail("drawn again"))
    say = queries.voice()
    drawn = queries.pictures(queries.standings(say), say)
    assert len(drawn) == len(outlooks) > 0
    assert all(svg.startswith("<svg") for svg in drawn.values())


def test_a_small_curve_that_cannot_be_drawn_does_not_stop_who_judges(
    cellar: Any, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    [first, *_] = cellar.store.active_batches()
    outlook = replace(cellar.service.outlooks.of(first.batch_id), computed_at=datetime(2020, 1, 1, tzinfo=UTC))
    monkeypatch.setattr(queries, "sparkline_svg", lambda *_: 1 / 0)
    queries.draw_ahead(outlook)
    assert "could not be drawn" in caplog.text


def test_a_batchs_picture_is_there_in_numbers_for_whoever_cannot_aim_at_a_point(cellar):
    outlook, say = queries.outlook_of(cellar.batches["held"].batch_id), queries.voice()
    headings, rows = values.table(outlook, None, say)
    marked = outlook.assessment.marked.sort("measured_at", descending=True)
    assert rows[0][:2] == [say.exact(marked["measured_at"][0]), say.gravity(marked["gravity_sg"][0])]
    assert 30 < len(rows) <= values.MOST
    assert all(len(row) == len(headings) for row in rows)
    assert abs(float(rows[0][2]) - outlook.assessment.gravity_sg.p50) < 0.002
    day = base.Zoom(marked["measured_at"][0] - timedelta(days=1), marked["measured_at"][0])
    assert len(values.table(outlook, day, say)[1]) == 49
    part = script("batch", id=cellar.batches["held"].batch_id)
    assert rows[0][0] not in re.sub(r"data-exact=\"[^\"]*\"", "", text_of(part)), "it is made where it is opened"
