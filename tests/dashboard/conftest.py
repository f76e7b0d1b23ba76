"""A small cellar for the pages: entered as a person would, read by one float a vessel, judged by the real analysis."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from streamlit.components.v2 import manifest_scanner
from streamlit.testing.v1 import AppTest

from dashboard import context
from ingest.model import BatchRecord, Device, EventRecord, Placement, Preferences, Report, Vessel, Yeast
from ingest.monitoring.notifier import Notifier
from ingest.monitoring.outlook import Outlooks
from ingest.pipeline import Pipeline
from ingest.service import Service
from ingest.settings.settings import Settings, load
from ingest.store.store import Store

NOW = datetime.now(UTC).replace(microsecond=0)


@pytest.fixture(scope="session", autouse=True)
def _installed_packages_read_once() -> Iterator[None]:
    """Streamlit reads every installed package's metadata at each AppTest; that took half of a page's test."""
    with pytest.MonkeyPatch.context() as patch:
        once = functools.cache(manifest_scanner.scan_component_manifests)
        patch.setattr(manifest_scanner, "scan_component_manifests", once)
        yield


def logistic(days: np.ndarray, original: float, end: float, middle: float, width: float = 0.42) -> np.ndarray:
    return end + (original - end) / (1 + np.exp((days - middle) / width))


def put_batch(
    store: Store,
    number: int,
    name: str,
    days: float,
    *,
    middle: float = 1.6,
    end: float = 1.011,
    silent_h: float = 0.0,
    temperature_c: float = 19.0,
    shape: Callable[[np.ndarray], np.ndarray] | None = None,
    **facts: Any,
) -> BatchRecord:
    """A vessel with a float that reported every half hour since pitching."""
    pitched = NOW - timedelta(days=days)
    vessel = store.save(Vessel(name=f"Vessel {number}", temperature_low_c=17, temperature_high_c=21))
    facts = {"drink": "ale", "yeast": "Marrow", "original_gravity_sg": 1.052, "plan": {"dry_hops": 1}, **facts}
    record = store.save(BatchRecord(name=name, vessel_id=vessel.vessel_id, pitched_at=pitched, **facts))
    device = store.save(Device(device_id=f"float-{number}", kind="float"))
    store.save(Placement(device_id=device.device_id, vessel_id=vessel.vessel_id, from_at=pitched))
    span = (facts.get("ended_at", NOW) - pitched).total_seconds() / 86400
    at = np.arange(0.01, span - silent_h / 24, 1 / 48)
    rng = np.random.default_rng(number)
    course = shape(at) if shape else logistic(at, facts["original_gravity_sg"], end, middle)
    gravity = course + rng.normal(0, 0.0005, at.size)
    reports = []
    for day, sg in zip(at, gravity, strict=True):
        when = pitched + timedelta(days=float(day))
        reports.append(
            Report(
                device_id=device.device_id,
                measured_at=when,
                received_at=when,
                gravity_sg=round(float(sg), 4),
                temperature_c=temperature_c,
                battery_v=3.9,
            )
        )
    store.keep(reports)
    return record


class Cellar:
    """The store, its outlooks, and the batches by what is happening to them."""

    def __init__(self) -> None:
        self.store = Store.in_memory()
        self.outlooks = Outlooks(self.store)
        self.broker = SimpleNamespace(connected=True, queued=0, problem=None)
        # Everything is real but the wire: nothing is started, and the broker's state is what a test says it is.
        line: Any = SimpleNamespace(lifeless=lambda: None, status=lambda: self.broker, listen_to=lambda filters: None)
        sent: list[Any] = []
        self.service = Service(
            load(None, Path("unused"), {}),
            self.store,
            Pipeline(self.store),
            line,
            self.outlooks,
            Notifier(self.store, send=lambda *message: sent.append(message) or True),
        )
        self.batches: dict[str, BatchRecord] = {}

    def fill(self) -> Cellar:
        """Four batches under way and two that ended."""
        s = self.store
        s.save(Preferences(time_zone="Europe/Lisbon", cellar_name="North cellar"))
        s.save(Yeast(name="Marrow", attenuation_low=0.74, attenuation_high=0.8))
        b = self.batches
        b["active"] = put_batch(s, 1, "Harbour Pale", 1.7)
        b["held"] = put_batch(s, 2, "Old Gate Lager", 9)
        b["stalled"] = put_batch(s, 3, "Mill Porter", 9, end=1.026, middle=1.3)
        b["silent"] = put_batch(s, 10, "Orchard Still", 3, silent_h=14, drink="cider", yeast="Dune")
        for n, (yeast, end) in enumerate((("Marrow", 1.011), ("Dune", 1.009)), start=20):
            ended = NOW - timedelta(days=20)
            record = put_batch(s, n, f"Earlier {yeast}", 32, end=end, yeast=yeast, ended_at=ended)
            b[f"ended {yeast}"] = record
            s.save(EventRecord(batch_id=record.batch_id, kind="package", at=ended - timedelta(hours=1)))
        for record in s.active_batches():
            self.outlooks.of(record.batch_id)
        return self


@pytest.fixture(scope="module")
def _filled() -> Iterator[Cellar]:
    cellar = Cellar().fill()
    yield cellar
    cellar.store.close()


@pytest.fixture
def cellar(_filled: Cellar) -> Iterator[Cellar]:
    """A filled cellar, shared within a file: a test that enters something takes it back."""
    context.set_service(_filled.service)
    yield _filled
    context.set_service(None)


@pytest.fixture
def empty() -> Iterator[Cellar]:
    """A cellar on its first day."""
    cellar = Cellar()
    context.set_service(cellar.service)
    yield cellar
    context.set_service(None)
    cellar.store.close()


@pytest.fixture
def add_batch() -> Callable[..., BatchRecord]:
    """Adds a vessel with a batch and a float that reported since pitching."""
    return put_batch


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    """The whole service around an empty cellar in memory, with no broker: what pages that enter things need."""
    store = Store.in_memory()
    subscriber: Any = SimpleNamespace(
        lifeless=lambda: None,
        status=lambda: SimpleNamespace(connected=True, queued=0, problem=None),
        listen_to=lambda _topics: None,
    )
    told: list[str] = []

    def send(_urls: Sequence[str], title: str, _body: str) -> bool:
        told.append(title)
        return True

    made = Service(
        settings=Settings(data_dir=tmp_path / "cellar"),  # what a browser hands over waits on disk
        store=store,
        pipeline=Pipeline(store),
        subscriber=subscriber,
        outlooks=Outlooks(store),
        notifier=Notifier(store, send=send),
    )
    context.set_service(made)
    yield made
    context.set_service(None)
    store.close()


@pytest.fixture
def page() -> Callable[..., AppTest]:
    """Runs one screen without a browser: ``page("sensors", device="kelp-1")``."""

    def run(screen: str, **query: str) -> AppTest:
        shown = AppTest.from_string(f"from dashboard.screens.{screen} import page\npage.show()", default_timeout=20)
        for name, value in query.items():
            shown.query_params[name] = value
        shown.run()
        assert not shown.exception
        return shown

    return run


def opened(shown: AppTest, button: str) -> AppTest:
    """The page once the button of this key was pressed: what lies below it is drawn only then."""
    shown.session_state[button] = True
    return shown.run()


def says_until_saved(shown: AppTest, label: str) -> bool:
    """Whether what bears this label stands where an entry says that it is not saved until the store has it."""

    def inside(block: Any, tapped: bool) -> bool:
        key = str(getattr(getattr(block, "proto", None), "id", ""))
        within = tapped or "-tap " in key
        if getattr(block, "label", None) == label:
            return within
        return any(inside(child, within) for child in getattr(block, "children", {}).values())

    return inside(shown.main, False)
