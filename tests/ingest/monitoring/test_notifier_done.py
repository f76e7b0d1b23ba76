"""Messages about hops and packaging: none is sent for what is done, and a late one says which day it is."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any

import pytest

from analysis.display_units import DisplayUnits
from analysis.planning import Hold, HopThenPackage
from analysis.planning.plan import Plan
from analysis.wording import reason
from ingest.model import BatchRecord, EventRecord, Preferences, Vessel
from ingest.monitoring.notifier import Notifier, verdict_message
from ingest.monitoring.outlook import Outlook
from ingest.store.store import Store
from tests.analysis.situations import free_day
from tests.ingest.messages import ADDRESS, HOUR, NOW, Post, outlook

# apprise 2.3 imports a module that Python 3.13 drops; it brings its own stand-in there.
pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")

TOMORROW = date(2026, 3, 4)
MORNING = NOW + 20 * HOUR  # eight o'clock on the day itself
EVES = [
    ("dry hop", Plan(made_at=NOW, hop_day=TOMORROW, reason=free_day(TOMORROW))),
    ("package", Plan(made_at=NOW, packaging_day=TOMORROW, reason=free_day(TOMORROW))),
]


HOPS_ON_FRIDAY = HopThenPackage(
    hop=TOMORROW + timedelta(days=2),
    out=TOMORROW + timedelta(days=5),
    package=TOMORROW + timedelta(days=5),
    hold=Hold(48.0),
    rest_days=0.0,
    contact_days=3.0,
    chance=0.9,
    waited=False,
    bottles=False,
)


@pytest.fixture
def store() -> Iterator[Store]:
    with Store.in_memory() as opened:
        opened.save(Preferences(notify_urls=(ADDRESS,), quiet_from=time(11), quiet_to=time(7)))
        opened.save(Vessel(vessel_id="vessel-3", name="Vessel 3"))
        opened.save(BatchRecord(batch_id="batch-7", name="Saison", vessel_id="vessel-3", pitched_at=NOW - 200 * HOUR))
        yield opened


def as_entered(store: Store, plan: Plan, **given: Any) -> Outlook:
    """The outlook with the batch as it stands in the store."""
    return replace(outlook(plan=plan, **given), batch=store.batch("batch-7"))


def look(notifier: Notifier, store: Store, at: datetime, seen: Outlook) -> None:
    notifier.consider(at, [seen], (), store.preferences())


def log(store: Store, kind: Any, at: datetime = NOW) -> EventRecord:
    return store.save(EventRecord(batch_id="batch-7", kind=kind, at=at))


@pytest.mark.parametrize(("kind", "plan"), EVES)
@pytest.mark.parametrize("restarts", [False, True])
def test_an_act_logged_while_its_message_waits_is_not_asked_for(
    store: Store, kind: str, plan: Plan, restarts: bool
) -> None:
    post = Post()
    notifier = Notifier(store, send=post)
    look(notifier, store, NOW, as_entered(store, plan))
    assert notifier.send_due(NOW) == 0  # quiet hours
    assert len(notifier.waiting) == 1
    log(store, kind, NOW + HOUR)
    if restarts:
        notifier = Notifier(store, send=post)
    notifier.send_due(MORNING)  # with no look between: the entry itself is asked
    assert (post.sent, notifier.waiting) == ([], ())


@pytest.mark.parametrize(("kind", "plan"), EVES)
def test_an_act_whose_entry_is_taken_back_is_announced_again(store: Store, kind: str, plan: Plan) -> None:
    post = Post()
    notifier = Notifier(store, send=post)
    look(notifier, store, NOW, as_entered(store, plan))
    log(store, kind)
    store.save(replace(store.preferences(), quiet_from=None, quiet_to=None))
    notifier.send_due(NOW)
    store.undo(), store.undo()
    store.save(replace(store.preferences(), quiet_from=None, quiet_to=None))
    look(notifier, store, NOW + HOUR, as_entered(store, plan))
    notifier.send_due(NOW + HOUR)
    assert [title.endswith("tomorrow") for title in post.titles] == [True]


@pytest.mark.parametrize(("plan", "opening"), [(EVES[0][1], "Hops go in today,"), (EVES[1][1], "Packaging today,")])
def test_a_late_message_says_today_on_the_day_and_nothing_after_it(store: Store, plan: Plan, opening: str) -> None:
    post = Post()
    notifier = Notifier(store, send=post)
    look(notifier, store, NOW, as_entered(store, plan))
    notifier.send_due(MORNING)
    [(title, body)] = post.sent
    assert title.endswith(" today")
    assert body.startswith(f"{opening} Wednesday 4 Mar: Saison in Vessel 3.")
    assert "tomorrow" not in title + body
    assert reason(plan.reason, DisplayUnits()) in body

    late = Notifier(store, send=post)
    moved = replace(plan, **{k: TOMORROW + timedelta(days=7) for k in ("hop_day", "packaging_day") if getattr(plan, k)})
    look(late, store, NOW + 7 * 24 * HOUR, as_entered(store, moved))
    late.send_due(NOW + 9 * 24 * HOUR - 4 * HOUR)
    assert len(post.sent) == 1
    assert late.waiting == ()


def test_a_day_that_moved_while_its_message_waited_is_not_announced(store: Store) -> None:
    post = Post()
    notifier = Notifier(store, send=post)
    look(notifier, store, NOW, as_entered(store, EVES[0][1]))
    later = replace(EVES[0][1], hop_day=TOMORROW + timedelta(days=1))
    look(notifier, store, NOW + 2 * HOUR, as_entered(store, later))
    assert notifier.waiting == ()
    look(notifier, store, NOW + 3 * HOUR, as_entered(store, EVES[0][1]))
    notifier.send_due(MORNING)
    assert len(post.sent) == 1


def test_a_batch_that_was_ended_or_removed_is_asked_nothing(store: Store) -> None:
    post = Post()
    for end in (
        lambda record: store.save(replace(record, ended_at=NOW + HOUR)),
        lambda record: store.remove(record),
    ):
        notifier = Notifier(store, send=post)
        look(notifier, store, NOW, as_entered(store, EVES[1][1]))
        end(store.get(BatchRecord, "batch-7"))
        notifier.send_due(MORNING)
        assert (post.sent, notifier.waiting) == ([], ())
        store.undo()


def test_a_finish_told_late_does_not_ask_for_the_hops_that_are_in(store: Store) -> None:
    plan = Plan(made_at=NOW, hop_day=TOMORROW + timedelta(days=2), reason=HOPS_ON_FRIDAY)
    post = Post()
    notifier = Notifier(store, send=post)
    look(notifier, store, NOW, as_entered(store, plan, finished=True))
    log(store, "dry hop")
    notifier.send_due(MORNING)
    [(title, body)] = post.sent
    assert title.endswith("finished")
    assert "Hops go in" not in body


def test_neither_early_packaging_nor_the_next_dose_is_a_date_that_moved(store: Store) -> None:
    store.save(replace(store.preferences(), quiet_from=None, quiet_to=None))
    post = Post()
    notifier = Notifier(store, send=post)

    def watch(plan: Plan, *hours: int) -> None:
        for hour in hours:
            look(notifier, store, NOW + hour * HOUR, as_entered(store, plan))
            notifier.send_due(NOW + hour * HOUR)

    first, second, far = date(2026, 3, 3), date(2026, 3, 6), date(2026, 3, 12)
    watch(Plan(made_at=NOW, hop_day=first, hop_days=(first, second), packaging_day=far), 0)
    log(store, "dry hop")
    watch(Plan(made_at=NOW, hop_day=second, hop_days=(first, second), hop_chance=1.0, packaging_day=far), 1, 2, 4, 6)
    log(store, "package")
    watch(Plan(made_at=NOW, hop_day=first, hop_days=(first,), packaging_day=first, packaging_chance=1.0), 7, 8, 10, 12)
    assert post.sent == []


def test_the_retained_verdict_names_only_days_that_are_still_to_come(store: Store) -> None:
    first, second, far = date(2026, 3, 3), date(2026, 3, 6), date(2026, 3, 12)
    plan = Plan(made_at=NOW, hop_day=first, hop_days=(first, second), hop_chance=0.9, packaging_day=far)

    def said() -> tuple[str | None, float | None, str | None]:
        verdict = json.loads(verdict_message(as_entered(store, plan), DisplayUnits())[1])
        return verdict["hop_day"], verdict["hop_chance"], verdict["packaging_day"]

    assert said() == ("2026-03-03", 0.9, "2026-03-12")
    log(store, "dry hop")
    assert said() == ("2026-03-06", None, "2026-03-12")
    log(store, "dry hop")
    assert said() == (None, None, "2026-03-12")
    log(store, "package")
    assert said() == (None, None, None)
    store.undo()
    assert said() == (None, None, "2026-03-12")
