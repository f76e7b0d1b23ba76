from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from analysis.model import Batch
from analysis.planning.plan import Plan
from ingest.model import BatchRecord, Vessel
from ingest.monitoring import watcher as watcher_module
from ingest.monitoring.notifier import Notifier
from ingest.monitoring.outlook import Outlook
from ingest.monitoring.watcher import Hooks, Watcher, watching
from ingest.store.store import Store
from tests.analysis.situations import free_day
from tests.ingest.messages import assessed

NOW = datetime(2026, 3, 3, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


class Says:
    """Outlooks that say what the test wants of every batch."""

    def __init__(self, store: Store, **given: Any) -> None:
        self._store = store
        self.given = given
        self.plan = Plan(made_at=NOW, packaging_day=date(2026, 3, 20), reason=free_day(date(2026, 3, 20)))

    def recall(self) -> None:
        pass

    def learn(self, *, pause: Callable[[], None]) -> None:
        pass

    def of(self, batch_id: str, *, now: datetime | None = None, wait: bool = True) -> Outlook:
        record = self._store.get(BatchRecord, batch_id)
        assert record is not None
        return Outlook(
            record=record,
            vessel=self._store.get(Vessel, record.vessel_id),
            batch=Batch(pitched_at=record.pitched_at),
            readings=pl.DataFrame(),
            assessment=assessed(now or NOW, **self.given),
            plan=replace(self.plan, made_at=now or NOW),
            computed_at=NOW,
        )


@pytest.fixture
def store() -> Iterator[Store]:
    with Store.in_memory() as opened:
        fill(opened)
        yield opened


def fill(store: Store) -> None:
    store.save(Vessel(vessel_id="vessel-3", name="Vessel 3"))
    store.save(BatchRecord(batch_id="batch-7", name="Saison", vessel_id="vessel-3", pitched_at=NOW - 100 * HOUR))


def watcher(
    store: Store, says: Says, said: list[tuple[str, bytes]] | None = None, hooks: Hooks | None = None
) -> Watcher:
    publish = None if said is None else lambda topic, payload: said.append((topic, payload))
    return Watcher(store, says, Notifier(store), publish, hooks)  # type: ignore[arg-type]


def test_what_was_said_is_kept_once_and_again_only_when_it_changes(store: Store) -> None:
    says = Says(store)
    watches = watcher(store, says)
    for minute in range(30):
        watches.look(NOW + timedelta(minutes=minute))
    assert len(store.assessments("batch-7")) == 1
    says.given = {"phase": "slowing"}
    watches.look(NOW + HOUR)
    says.plan = replace(says.plan, packaging_day=date(2026, 3, 22))
    watches.look(NOW + 1.1 * HOUR)
    kept = store.assessments("batch-7")
    assert [(a.phase, a.packaging_day) for a in kept] == [
        ("active", "2026-03-20"),
        ("slowing", "2026-03-20"),
        ("slowing", "2026-03-22"),
    ]
    assert kept[0].detail["evidence"] == ["Too early to say anything: so far there is one gravity reading to go by."]


def test_a_restart_does_not_say_the_same_again(tmp_path: Path) -> None:
    for start in range(2):
        with Store.open(tmp_path) as store:
            if start == 0:
                fill(store)
            watcher(store, Says(store)).look(NOW + start * timedelta(minutes=5))
            assert len(store.assessments("batch-7")) == 1


def test_the_verdict_is_published_at_start_and_when_it_changes(store: Store) -> None:
    said: list[tuple[str, bytes]] = []
    says = Says(store)
    watches = watcher(store, says, said)
    watches.look(NOW)
    watches.look(NOW + timedelta(minutes=1))
    assert [topic for topic, _ in said] == ["verdict/Vessel 3"]
    says.given = {"finished": True, "hold_met": True}
    watches.look(NOW + HOUR)
    assert [json.loads(payload)["finished"] for _, payload in said] == [False, True]
    again: list[tuple[str, bytes]] = []
    watcher(store, says, again).look(NOW + HOUR)
    assert len(again) == 1


def test_a_verdict_is_weighed_once_an_outlook_and_sent_again_after_it_was_taken_off(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    says, said, weighed = Says(store), [], []
    outlook = says.of("batch-7")
    weigh = watcher_module.verdict_message
    monkeypatch.setattr(watcher_module, "verdict_message", lambda *given: weighed.append(1) or weigh(*given))
    monkeypatch.setattr(says, "of", lambda *_, **__: outlook)
    watches = watcher(store, says, said)
    for second in range(20):
        watches.look(NOW + timedelta(seconds=5 * second))
    assert (len(weighed), len(said)) == (1, 1)  # of two hundred batches it took an eighth of a core
    store.save(replace(store.preferences(), gravity_unit="°P"))
    watches.look(NOW + HOUR)
    assert len(weighed) == 2  # its sentence is in the person's units
    monkeypatch.setattr(says, "of", lambda *_, **__: None)
    watches.look(NOW + HOUR)
    monkeypatch.setattr(says, "of", lambda *_, **__: outlook)
    watches.look(NOW + HOUR)
    assert [bool(payload) for _, payload in said][-2:] == [False, True]


def test_the_verdict_of_a_batch_that_ended_is_taken_off_the_broker_even_after_a_restart(store: Store) -> None:
    watcher(store, Says(store), []).look(NOW)
    record = store.get(BatchRecord, "batch-7")
    assert record is not None
    store.save(replace(record, ended_at=NOW + HOUR))
    said: list[tuple[str, bytes]] = []
    restarted = watcher(store, Says(store), said)
    restarted.look(NOW + 2 * HOUR)
    restarted.look(NOW + 3 * HOUR)
    assert said == [("verdict/Vessel 3", b"")]


def test_a_stumble_is_told_and_the_watch_goes_on(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    says = Says(store)
    monkeypatch.setattr("ingest.monitoring.watcher._LOOK_S", 0.01)
    stumbles = iter([True])
    usual = says.of

    def once(batch_id: str, **more: Any) -> Outlook:
        if next(stumbles, False):
            raise RuntimeError("out of the blue")
        return usual(batch_id, **more)

    monkeypatch.setattr(says, "of", once)
    with watching(store, says, Notifier(store)) as watches:  # type: ignore[arg-type]
        deadline = datetime.now(UTC) + timedelta(seconds=20)
        while not store.assessments("batch-7") and datetime.now(UTC) < deadline:
            time.sleep(0.01)
        assert store.assessments("batch-7")
        while watches.problem is not None and datetime.now(UTC) < deadline:
            time.sleep(0.01)
        assert watches.problem is None


def test_a_watcher_that_holds_looks_at_nothing_until_it_may(store: Store) -> None:
    asked: list[str] = []
    answers = iter((True, True, False))
    hooks = Hooks(holding=lambda _store: asked.append("held?") or next(answers))  # type: ignore[func-returns-value]
    watcher = Watcher(store, Says(store), Notifier(store), hooks=hooks)  # type: ignore[arg-type]
    watcher.look = lambda _now: asked.append("looked") or watcher._stop.set() or []  # type: ignore[func-returns-value, method-assign]
    watcher._run()
    assert asked == ["held?", "held?", "held?", "looked"]


def test_of_a_batch_that_was_not_heard_of_nothing_is_kept(store: Store) -> None:
    says = Says(store, newest_reading_at=None)
    watcher(store, says).look(NOW)
    [record] = store.active_batches()
    assert store.assessments(record.batch_id) == []
    says.given = {}
    watcher(store, says).look(NOW)
    assert len(store.assessments(record.batch_id)) == 1


def test_a_watcher_gives_way_to_whoever_opens_a_page_but_not_for_ever(store: Store) -> None:
    says = Says(store)
    busy = iter((True, True, False))
    asked: list[bool] = []

    def opening() -> bool:
        asked.append(answer := next(busy, False))
        assert store.assessments("batch-7") == []
        return answer

    told: list[str] = []
    hooks = Hooks(gives_way=opening, looked_at=lambda outlook: told.append(outlook.record.batch_id))
    first = watcher(store, says, hooks=hooks)
    first.look(NOW)
    assert told == ["batch-7"]
    assert asked[:3] == [True, True, False]
    assert store.assessments("batch-7")

    second = watcher(store, says, hooks=Hooks(gives_way=lambda: True))
    assert [o.record.batch_id for o in second.look(NOW)] == ["batch-7"]


def test_a_batch_that_cannot_be_looked_at_does_not_end_the_look_at_the_others(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.save(Vessel(vessel_id="vessel-4", name="Vessel 4"))
    store.save(BatchRecord(batch_id="batch-0", name="Odd one", vessel_id="vessel-4", pitched_at=NOW - 200 * HOUR))
    says = Says(store)
    usual = says.of

    def stumbling(batch_id: str, **more: Any) -> Outlook:
        if batch_id == "batch-0":
            raise ValueError("out of the blue")
        return usual(batch_id, **more)

    monkeypatch.setattr(says, "of", stumbling)
    watches = watcher(store, says)
    assert [o.record.batch_id for o in watches.look(NOW)] == ["batch-7"]
    assert watches.problem is not None
    assert "Odd one" in watches.problem
    monkeypatch.setattr(says, "of", usual)
    watches.look(NOW)
    assert watches.problem is None


class Learns(Says):
    """Outlooks whose learning takes as long as the test wants."""

    def __init__(self, store: Store, **given: Any) -> None:
        super().__init__(store, **given)
        self.began, self.ended = threading.Event(), threading.Event()

    def learn(self, *, pause: Callable[[], None]) -> None:
        self.began.set()
        try:
            while True:
                pause()
        finally:
            self.ended.set()


def test_batches_are_watched_while_it_learns_and_closing_ends_that(store):
    says = Learns(store)
    looked = threading.Event()
    watching = watcher(store, says, hooks=Hooks(looked_at=lambda _outlook: looked.set()))
    watching.start()
    assert says.began.wait(20)
    assert looked.wait(20)
    assert not says.ended.is_set()
    watching.close()
    assert says.ended.is_set()
