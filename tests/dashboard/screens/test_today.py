"""Today for thirty vessels: by lot, sorted, filtered; a vessel without a float is no blank."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from analysis.following import Following
from analysis.model import Range
from dashboard.queries import Siblings, queries
from dashboard.queries.attention import needs_of
from dashboard.screens.batch import schedule
from dashboard.screens.today import arrangement, page, vessel_list
from dashboard.screens.today.arrangement import Arrangement
from dashboard.wording import follows, follows_fully
from ingest.errors import EntryError
from ingest.model import BatchRecord

NOW = datetime.now(UTC).replace(microsecond=0)
TOLD = Following(("Vessel 3",), Range(1.013, 1.018, 1.024), None, True)


def text_of(markup):
    return " ".join(re.sub(r"<[^>]*>", " ", str(markup)).split())


@pytest.fixture
def found(cellar):
    return queries.standings(queries.voice())


def test_a_wort_in_several_vessels_is_one_line_with_what_they_share(found):
    say = queries.voice()
    two = [replace(s, record=replace(s.record, split_of="Tuesday wort", name="Tuesday wort")) for s in found[:2]]
    [(lot, those), (rest, alone)] = vessel_list.by_lot([*two, *found[2:]])
    assert lot == "Tuesday wort"
    assert those == two
    assert rest is None
    assert alone == found[2:]
    html = vessel_list.lot_html(lot, those, say, dense=True)
    text = text_of(html)
    assert text.count("Tuesday wort") == 1  # once for all, not in each row
    assert 'href="several?part=event&amp;lot=Tuesday%20wort"' in html
    assert 'href="compare?lot=Tuesday%20wort"' in html


def test_a_row_is_drawn_again_when_its_vessel_says_something_else_and_only_then(cellar, found, monkeypatch):
    say, drawn = queries.voice(), []
    row = vessel_list.row
    monkeypatch.setattr(vessel_list, "row", lambda s, *a, **k: drawn.append(s.record.name) or row(s, *a, **k))

    def names(now):
        drawn.clear()
        vessel_list.rows(queries.standings(now), now, "All", dense=True)
        return sorted(drawn)

    names(say)
    assert names(say) == []  # two hundred rows took a tenth of a second for each who opened the page
    words = cellar.store.device_statuses()
    spoke = [replace(w, temperature_c=18.5) if w.vessel_id == found[0].record.vessel_id else w for w in words]
    monkeypatch.setattr(cellar.store, "device_statuses", lambda *_: spoke)
    assert names(say) == [found[0].record.name]
    later = replace(say, now=say.now + timedelta(minutes=1))  # every age is a minute older
    assert names(later) == sorted(s.record.name for s in found)
    cellar.store.save(replace(found[0].record, name="Renamed"))
    assert "Renamed" in names(later)
    cellar.store.undo()


def test_a_wort_of_which_one_vessel_is_left_is_no_lot(found):
    one = [replace(found[0], record=replace(found[0].record, split_of="Tuesday wort")), *found[1:]]
    assert vessel_list.by_lot(one) == [(None, one)]


def test_the_vessels_are_put_in_order_and_picked(found):
    def names(look):
        return [s.vessel.name for s in arrangement.arranged(found, look)]

    assert names(Arrangement("By vessel")) == ["Vessel 1", "Vessel 2", "Vessel 3", "Vessel 10"]
    assert names(Arrangement()) == [s.vessel.name for s in found]
    assert set(names(Arrangement(part="Want you"))) == {s.vessel.name for s in found if s.pressing}
    assert names(Arrangement(part="Finished")) == ["Vessel 2"]
    assert "Vessel 2" not in names(Arrangement(part="Fermenting"))
    assert names(Arrangement(part="Without a float")) == []
    assert names(Arrangement("By finish"))[0] == "Vessel 2"


def test_an_order_that_is_asked_for_holds_for_all_vessels_whatever_they_want_and_whichever_wort_they_hold(found):
    _, text, _ = page.cellar_html(queries.voice(), Arrangement("By vessel"))
    order = re.findall(r"Vessel \d+(?=</b>)", str(text))
    assert order == ["Vessel 1", "Vessel 2", "Vessel 3", "Vessel 10"]
    assert [s.vessel.name for s in found] != order


def test_a_vessel_without_a_float_says_whom_it_follows_and_asks_for_its_sample(found):
    say = queries.voice()
    calm = next(s for s in found if not s.pressing and s.outlook is not None)
    bare = replace(calm.outlook, assessment=replace(calm.outlook.assessment, gravity_sg=None, newest_reading_at=None))
    due = needs_of(bare, (), say, Siblings(TOLD, sample_due=True))
    assert [need.kind for need in due] == ["sample due"]
    assert "Follows Vessel 3" in due[0].sentence
    row = vessel_list.row(replace(calm, outlook=bare, needs=tuple(due), beside=Siblings(TOLD, True)), say)
    assert 'href="several?part=samples"' in row
    assert text_of(row).index("Take a hand sample") < text_of(row).index("Follows Vessel 3")  # what is wanted leads
    assert "unwatched" not in [n.kind for n in needs_of(bare, (), say, Siblings(TOLD))]
    quiet = vessel_list.row(replace(calm, outlook=bare, needs=(), beside=Siblings(TOLD)), say)
    assert "likely 1.018 (1.013 to 1.024)" in text_of(quiet).replace("\u202f", " ")
    assert [n.kind for n in needs_of(bare, (), say)] == ["unwatched"]


def test_what_all_vessels_of_a_wort_want_is_said_once_and_each_row_says_what_differs(found):
    say = queries.voice()
    calm = next(s for s in found if not s.pressing and s.outlook is not None)
    bare = replace(calm.outlook, assessment=replace(calm.outlook.assessment, gravity_sg=None, newest_reading_at=None))
    other = replace(TOLD, gravity_sg=Range(1.010, 1.012, 1.014))

    def sibling(n, told, lot="Tuesday wort", **more):
        record = replace(calm.record, batch_id=f"b{n}", split_of=lot, **more)
        needs = tuple(needs_of(bare, (), say, Siblings(told, sample_due=True)))
        return replace(
            calm, record=record, vessel=replace(calm.vessel, name=f"Cask {n}"), outlook=bare, needs=needs,
            beside=Siblings(told, True),
        )  # fmt: skip

    alone = next(s for s in found if s.pressing)
    five = [sibling(1, TOLD), sibling(2, TOLD), sibling(3, other), sibling(4, TOLD), sibling(5, TOLD)]
    html = vessel_list.needy_html([alone, *five], say, dense=False)
    assert text_of(html).count("Take a hand sample and type it in.") == 1
    assert text_of(html).count("1.012 (1.010 to 1.014)") == 1  # what differs stands in its row
    assert html.count('href="several?part=samples"') == 5  # still one tap to each
    assert all(f"<b>Cask {n}</b>" in html for n in range(1, 6))
    assert text_of(html).index(alone.vessel.name) < text_of(html).index("five vessels that want the same")
    same = text_of(vessel_list.needy_html([five[0], five[1]], say, dense=False))
    assert same.count("Follows Vessel 3") == 1
    for apart in (
        [five[0], alone],
        [five[0], sibling(6, TOLD, lot="Friday wort")],
        [sibling(n, TOLD, None) for n in (7, 8)],
    ):
        assert "want the same" not in vessel_list.needy_html(apart, say, dense=False)


def test_what_it_follows_is_said_to_be_a_guess_and_a_sample_that_differs_is_told(found):
    say = queries.voice()
    text = " ".join(follows_fully(replace(TOLD, like_warm=False), say))
    for part in ("not a measurement", "Take a hand sample", "equally warm", "no date yet", "never called finished"):
        assert part in text
    assert "go by samples" in follows(replace(TOLD, agrees=False), say)


def test_a_temperature_outside_of_the_batch_s_own_schedule_wants_somebody(found):
    say = queries.voice()
    calm = next(s for s in found if s.outlook is not None and s.outlook.assessment.temperature_c == 19.0)
    plan = {"temperatures": [[0, 10.0, 12.0]]}
    outlook = replace(calm.outlook, record=replace(calm.outlook.record, plan=plan))
    kinds = [need.kind for need in needs_of(outlook, calm.devices, say)]
    assert "temperature" in kinds
    assert "temperature" not in [need.kind for need in needs_of(calm.outlook, calm.devices, say)]
    hot = vessel_list.row(replace(calm, outlook=outlook, needs=tuple(needs_of(outlook, calm.devices, say))), say)
    assert "outside of what is wished" in hot


def test_a_schedule_is_typed_by_day_and_shown_with_what_comes_next(cellar):
    say = queries.voice()
    record = BatchRecord(name="Slow lager", vessel_id="v", pitched_at=NOW - timedelta(days=3))
    kept = schedule.with_schedule(record, [(2.0, 10.0, 12.0), (None, None, None), (9.0, 16.0, None)])
    assert kept.plan["temperatures"] == [[2.0, 10.0, 12.0], [9.0, 16.0, None]]
    told = schedule.now_and_next(kept, None, say).replace("\u202f", " ")
    assert "10 to 12 °C now" in told
    assert "at least 16.0 °C from" in told
    assert schedule.with_schedule(kept, [(None, None, None)]).plan == {}
    assert schedule.now_and_next(record, None, say) == ""


@pytest.mark.parametrize(
    ("asked", "where"),
    [
        ([(None, 10.0, 12.0)], "day/0"),
        ([(1.0, 10.0, 12.0), (1.0, 11.0, 12.0)], "day/1"),
        ([(1.0, 14.0, 12.0)], "low/0"),
        ([(1.0, None, None)], "low/0"),
        ([(1.0, None, 99.0)], "high/0"),
    ],
)
def test_a_wrong_step_is_refused_beside_its_input(asked, where):
    record = BatchRecord(name="Slow lager", vessel_id="v", pitched_at=NOW)
    with pytest.raises(EntryError) as wrong:
        schedule.with_schedule(record, asked)
    assert wrong.value.field == where
