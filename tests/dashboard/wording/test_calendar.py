from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

from dashboard.charts.calendar import calendar_figure
from dashboard.queries.queries import standings, voice
from dashboard.wording import voice_of
from dashboard.wording.calendar import Item, agenda, opening
from ingest.model import Preferences

SAY = voice_of(Preferences(time_zone="UTC"), datetime(2026, 11, 25, 12, tzinfo=UTC))


def test_the_next_thing_is_said_first():
    items = [Item(date(2026, 11, 28), "Dry hop Vessel 3 (Harbour Pale)", "likely", "b")]
    assert opening(items, SAY) == "Next: dry hop Vessel 3 (Harbour Pale), Saturday."
    assert opening([], SAY) == "No day can be named yet."
    both = [items[0], replace(items[0], what="Package Vessel 4 (Mill Porter)"), replace(items[0], what="Dry hop it")]
    assert (
        opening(both[:2], SAY) == "Next: dry hop Vessel 3 (Harbour Pale) and package Vessel 4 (Mill Porter), Saturday."
    )
    assert opening(both, SAY).endswith("package Vessel 4 (Mill Porter) and one more, Saturday.")


def test_the_days_ahead_are_in_order_and_none_lies_in_the_past(cellar):
    say = voice()
    outlooks = [s.outlook for s in standings(say) if s.outlook]
    items = agenda(outlooks, say)
    assert items
    assert [i.day for i in items] == sorted(i.day for i in items)
    assert min(i.day for i in items) >= say.today()


def test_every_batch_has_a_row_on_the_time_line(cellar):
    say = voice()
    outlooks = [s.outlook for s in standings(say) if s.outlook]
    figure = calendar_figure(outlooks, say, Preferences(), "light")
    names = [each.text for each in figure.layout.annotations if each.yanchor == "bottom"]
    assert len(names) == len(outlooks) == 4
    without = [each.text for each in figure.layout.annotations if each.yanchor != "bottom"]
    nothing = [o for o in outlooks if not o.to_do(say.today()) and o.assessment.finish is None]
    assert len(without) == len([o for o in nothing if not o.assessment.finished]) > 0
    assert set(without) <= {"no date yet", "stalled: no date"}


def test_a_batch_that_follows_its_siblings_has_their_range_in_its_row(cellar):
    say = voice()
    outlooks = [s.outlook for s in standings(say) if s.outlook]
    [follower] = [o for o in outlooks if o.assessment.stalled]  # any that has neither a date nor a day
    finish = tuple(say.now + timedelta(days=n) for n in (1, 3, 6))
    plain = calendar_figure(outlooks, say, Preferences(), "light")
    figure = calendar_figure(outlooks, say, Preferences(), "light", {follower.record.batch_id: finish})
    [bar] = [s for s in figure.layout.shapes if s.line.dash == "dot" and s.type == "rect"]
    assert (bar.x0, bar.x1) == tuple(say.local(finish[n]).replace(tzinfo=None) for n in (0, 2))
    assert len(figure.data[0].x) == len(plain.data[0].x) + 1
    assert "by its siblings about" in " ".join(figure.data[0].text)
    assert "no date" not in " ".join(each.text for each in figure.layout.annotations)


def test_what_is_due_today_stands_no_earlier_than_now(cellar):
    say = voice()
    outlooks = [s.outlook for s in standings(say) if s.outlook]
    due = min(each.day for o in outlooks for each in o.to_do(say.today()))
    late = replace(say, now=datetime.combine(due, time(22), say.zone).astimezone(UTC))
    figure = calendar_figure(outlooks, late, Preferences(), "light")
    assert min(figure.data[1].x) >= late.local(late.now).replace(tzinfo=None)


def test_days_off_lie_in_shade(cellar):
    weekends = Preferences(time_zone="UTC", hop_weekdays=(5, 6), package_weekdays=(5, 6))
    outlooks = [s.outlook for s in standings(voice()) if s.outlook]
    figure = calendar_figure(outlooks, SAY, weekends, "light")
    shaded = {s.x0.date() for s in figure.layout.shapes if s.type == "rect" and s.layer == "below"}
    assert shaded
    assert all(day.weekday() < 5 for day in shaded)
    assert date(2026, 11, 26) in shaded


def test_a_likely_finish_that_goes_on_beyond_the_picture_ends_in_an_arrow(cellar):
    say = voice()
    outlooks = [s.outlook for s in standings(say) if s.outlook]
    figure = calendar_figure(outlooks, say, Preferences(), "light")
    [running] = [o for o in outlooks if o.assessment.finish is not None and not o.assessment.finished][:1]
    late = tuple(at + 60 * 86_400 for at in running.assessment.finish.instants)
    far = replace(running.assessment, finish=replace(running.assessment.finish, instants=late))
    others = [replace(o, assessment=far) if o is running else o for o in outlooks]
    cut = calendar_figure(others, say, Preferences(), "light")
    assert (len(figure.data[2].x), len(cut.data[2].x)) == (0, 1)


def test_no_word_of_a_mark_is_struck_through_by_the_line_of_now(cellar):
    say = voice()
    outlooks = [s.outlook for s in standings(say) if s.outlook]
    due = min(each.day for o in outlooks for each in o.to_do(say.today()))
    late = replace(say, now=datetime.combine(due, time(22), say.zone).astimezone(UTC))
    marks = calendar_figure(outlooks, late, Preferences(), "light").data[1]
    now = late.local(late.now).replace(tzinfo=None)
    beside = [place for at, place in zip(marks.x, marks.textposition, strict=True) if at <= now]
    assert beside
    assert set(beside) == {"middle right"}
