"""The running service in numbers, in Prometheus' text format; loaded only once somebody asks for them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Final

from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from dashboard import version
from ingest import logs
from ingest.backup import state_of
from ingest.service import Service

MEDIA_TYPE: Final = CONTENT_TYPE_LATEST


def text_of(service: Service) -> bytes:
    """All numbers, as they are at this moment."""
    registry = CollectorRegistry(auto_describe=False)
    registry.register(_Numbers(service))
    return generate_latest(registry)


class _Numbers(Collector):
    """The running service in numbers, read anew at each request."""

    def __init__(self, service: Service) -> None:
        self._service = service

    def collect(self) -> Iterator[Metric]:
        yield from self._came_in()
        yield from self._kept()
        yield from self._lives()

    def _came_in(self) -> Iterator[Metric]:
        service, counted = self._service, self._service.pipeline.counted
        yield _count("readings_taken", "New readings taken in since the start.", counted.taken)
        yield _count("readings_repeated", "Readings that were there already, since the start.", counted.repeated)
        yield _count("messages_refused", "Messages not taken in whole since the start.", counted.refused)
        yield _gauge("queue_messages", "Messages in memory and not yet on disk.", service.pipeline.queued)
        connected = service.subscriber.status().connected
        yield _gauge("broker_connected", "1 while there is a connection to the broker.", int(connected))

    def _kept(self) -> Iterator[Metric]:
        service, now = self._service, datetime.now(UTC)
        counts = service.store.counts()
        yield _gauge("readings", "Readings in the cellar.", counts["readings"])
        yield _gauge("messages_refused_unresolved", "Refused messages nobody has dealt with.", counts["rejected"])
        if (last := counts["last_reading_at"]) is not None:
            yield _gauge("last_reading_age_seconds", "Since the newest reading was measured.", _age(now, last))
        yield _gauge("database_bytes", "The cellar's file and its log on disk.", service.store_bytes())
        if service.nightly is not None:
            made = state_of(service.store).made_at
            if made is not None:  # an age that is unknown is left out, and never told as a small one
                yield _gauge("backup_age_seconds", "Since the last whole backup.", _age(now, _time(made)))
            late = service.nightly.is_late(now)
            yield _gauge("backup_late", "1 where the nightly backup was missed.", int(late))

    def _lives(self) -> Iterator[Metric]:
        service = self._service
        looks = service.watcher.looks if service.watcher is not None else 0
        yield _count("batches_judged", "Looks at a batch since the start.", looks)
        yield _count("errors", "Errors in the log since the start.", logs.errors())
        yield _gauge("healthy", "1 while /healthz says ok.", int(service.healthy()))
        info = GaugeMetricFamily("tunroom_info", "What runs.", labels=["version"])
        info.add_metric([version()], 1)
        yield info


def _count(name: str, meaning: str, value: int) -> Metric:
    return CounterMetricFamily(f"tunroom_{name}", meaning, value=value)


def _gauge(name: str, meaning: str, value: float) -> Metric:
    return GaugeMetricFamily(f"tunroom_{name}", meaning, value=value)


def _age(now: datetime, then: datetime) -> float:
    return max(0.0, (now - then).total_seconds())


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text)
