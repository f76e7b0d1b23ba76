from __future__ import annotations

import threading
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from dashboard.demo import backfill, demo
from ingest.decoding.decode import decode
from ingest.model import AssessmentRecord, BatchRecord
from ingest.store.store import Store
from sample_data.cellar import demo_cellar
from sample_data.demo_model import DemoCellar

ANCHOR = datetime.now(UTC).replace(microsecond=0)
NAMES = ("Autumn amber", "Kitchen bitter", "Ferry ale")


@pytest.fixture(scope="module")
def told() -> DemoCellar:
    """Three earlier batches of the demo and one that was hopped and falls again, without the rest."""
    whole = demo_cellar(ANCHOR, 7)
    batches = tuple(b for b in whole.batches if b.name in NAMES)
    vessels = {b.vessel_name for b in batches}
    return replace(whole, batches=batches, devices=tuple(d for d in whole.devices if d.vessel_name in vessels))


def filled(folder, told: DemoCellar, until: datetime) -> Store:
    """A store with everything that the devices said up to `until`."""
    store = Store.open(folder / "cellar.duckdb")
    demo.enter(store, told)
    for device in told.devices:
        reports = []
        for sample in device.samples(datetime(1971, 1, 1, tzinfo=UTC), until):
            topic = f"tunroom/report/{device.device_id}"
            reports += decode(topic, demo.payload(sample), received_at=sample.measured_at).reports
        store.keep(reports)
    return store


def said(store: Store) -> list[AssessmentRecord]:
    return list(backfill._said(store, ANCHOR, threading.Event()))


def facts(record: AssessmentRecord, name: str) -> tuple[Any, ...]:
    return name, record.made_at, record.phase, record.finish_p10, record.finish_p50, record.finish_p90


def named(store: Store, records: list[AssessmentRecord], until: datetime) -> list[tuple[Any, ...]]:
    names = {b.batch_id: f"{b.name} {b.yeast}" for b in store.all(BatchRecord)}
    return [facts(r, names[r.batch_id]) for r in records if r.made_at <= until]


@pytest.mark.long
def test_what_was_said_on_a_day_rests_on_nothing_that_came_later(tmp_path, told):
    until = ANCHOR - timedelta(days=12)
    (tmp_path / "whole").mkdir()
    (tmp_path / "part").mkdir()
    with filled(tmp_path / "whole", told, ANCHOR) as whole, filled(tmp_path / "part", told, until) as part:
        everything, prefix = said(whole), said(part)
        assert sorted(named(whole, everything, until)) == sorted(named(part, prefix, until))
        assert {len([r for r in everything if r.batch_id == b.batch_id]) > 3 for b in whole.all(BatchRecord)} == {True}
        assert all(r.finish_p50 is None or r.finish_p10 <= r.finish_p50 <= r.finish_p90 for r in everything)
        assert everything == sorted(everything, key=lambda r: r.made_at)


def test_what_is_done_to_a_ready_batch_is_looked_at_again(tmp_path, told):
    with filled(tmp_path, told, ANCHOR) as store:
        ferry = next(b for b in store.all(BatchRecord) if b.name == "Ferry ale")
        hopped = next(e.at for e in store.batch(ferry.batch_id).events if e.kind == "dry hop")
        later = [r for r in said(store) if r.batch_id == ferry.batch_id and r.made_at > hopped]
        assert len(later) >= 2
        assert any(r.phase == "creeping" or not r.finished for r in later)
