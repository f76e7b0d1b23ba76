"""The demo: an invented cellar whose devices send everything, history included, through a broker of its own."""

from __future__ import annotations

import argparse
import contextlib
import json
import logging
import threading
from collections import deque
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

import paho.mqtt.client as mqtt
import platformdirs
from paho.mqtt.enums import CallbackAPIVersion

from dashboard.demo import backfill, trials
from dashboard.demo.batches import enter_batch
from ingest import control
from ingest.errors import StoreInUse
from ingest.model import (
    CalibrationRecord,
    Device,
    Placement,
    Preferences,
    Vessel,
    Yeast,
)
from ingest.service import Service
from ingest.settings import DATABASE, load
from ingest.store import Store
from sample_data.cellar import demo_cellar
from sample_data.demo_model import DemoCellar, DemoDevice, DemoSample
from sample_data.hop_trial import hop_trial

log = logging.getLogger(__name__)

_STORY: Final = "story.json"
_SENT: Final = "devices.json"
_SEED: Final = 7
_LIVE_EVERY_S: Final = 15.0
_UNDERWAY: Final = 800
"""Messages that the devices have sent and not yet seen acknowledged; more would only pile up in memory."""


def run(arguments: argparse.Namespace) -> int:
    """Show the demo until interrupted; return the exit status."""
    from dashboard import app

    data_dir = arguments.data or platformdirs.user_data_path("tunroom-demo", appauthor=False)
    settings = load(arguments.config, data_dir)
    server_settings, broker = settings.server, settings.broker
    if arguments.port is not None:
        server_settings = replace(server_settings, port=arguments.port)
    if arguments.broker_port is not None:
        broker = replace(broker, port=arguments.broker_port)
    # Whatever the settings say, the demo speaks only to a broker of its own, on this machine.
    broker = replace(broker, host=None, listen="127.0.0.1", user=None, password=None, tls=False)
    settings = replace(settings, server=server_settings, broker=broker, rules=())
    host, port = settings.server.host, settings.server.port
    app.check_port(host, port, what="the dashboard", option="--port", setting="server.port")
    app.check_port("127.0.0.1", broker.port, what="the demo's broker", option="--broker-port", setting="broker.port")
    if (pid := control.owner(settings.data_dir)) is not None:
        raise StoreInUse(f"A demo already runs here (process {pid}). Open its page, or stop it with Ctrl-C first.")
    if arguments.fresh:
        _forget(settings.data_dir)
    print(f"An invented cellar, kept in {settings.data_dir}", flush=True)
    history = backfill.History()
    app.run(settings, extra=lambda service: _devices(service, settings.data_dir, history), holding=history.holds)
    return 0


def _forget(data_dir: Path) -> None:
    for name in (DATABASE, f"{DATABASE}.wal", _STORY, _SENT):
        (data_dir / name).unlink(missing_ok=True)


@contextlib.contextmanager
def _devices(service: Service, data_dir: Path, history: backfill.History) -> Iterator[None]:
    """Tell the story once, then let the devices send for as long as the block runs."""
    cellar = demo_cellar(_anchor(data_dir), _SEED)
    if not service.store.all(Vessel):
        enter(service.store, cellar)
        trials.enter(service.store, hop_trial(cellar.anchor, _SEED), cellar.anchor, _SEED)
    devices = Devices(cellar, service, data_dir / _SENT)
    devices.start()
    history.start(service, cellar.anchor)
    try:
        yield
    finally:
        history.close()
        devices.close()


def _anchor(data_dir: Path) -> datetime:
    """When this demo was first started; its whole story hangs on it."""
    path = data_dir / _STORY
    if path.exists():
        return datetime.fromisoformat(json.loads(path.read_text())["began_at"])
    now = datetime.now(UTC).replace(microsecond=0)
    path.write_text(json.dumps({"began_at": now.isoformat()}))
    return now


def enter(store: Store, cellar: DemoCellar) -> None:
    """Enter vessels, yeasts, batches, devices and events, through the store calls that the screens use."""
    store.save(Preferences(cellar_name="The lamp-lit cellar", time_zone=_local_zone()))
    for yeast in cellar.yeasts:
        store.save(
            Yeast(
                name=yeast.name,
                attenuation_low=yeast.attenuation_low,
                attenuation_high=yeast.attenuation_high,
                diastatic=yeast.diastatic,
            )
        )
    vessels = {
        vessel.name: store.save(
            Vessel(
                name=vessel.name,
                volume_l=vessel.volume_l,
                temperature_low_c=vessel.temperature_low_c,
                temperature_high_c=vessel.temperature_high_c,
            )
        ).vessel_id
        for vessel in cellar.vessels
    }
    for batch in sorted(cellar.batches, key=lambda b: b.pitched_at):
        enter_batch(store, batch, vessels[batch.vessel_name])
    for device in cellar.devices:
        if device.vessel_name is not None:
            _enter_device(store, device, vessels[device.vessel_name])


def _enter_device(store: Store, device: DemoDevice, vessel_id: str) -> None:
    store.save(
        Device(
            device_id=device.device_id,
            kind=device.kind,  # type: ignore[arg-type]  # the store refuses any other
            name=device.name,
            situation=device.situation,  # type: ignore[arg-type]
        )
    )
    if device.calibration:
        store.save(CalibrationRecord(device_id=device.device_id, kind="inclination", points=device.calibration))
    first = min((b.pitched_at for b in device.stays), default=datetime.fromtimestamp(device.start, UTC))
    store.save(Placement(device_id=device.device_id, vessel_id=vessel_id, from_at=first - timedelta(minutes=5)))


def _local_zone() -> str:
    """The zone of this machine by name, where its name can be found; the person can change it in Set up."""
    link = Path("/etc/localtime")
    _, found, name = str(link.resolve()).partition("zoneinfo/")
    return name if found and "/" in name else "UTC"


def payload(sample: DemoSample) -> bytes:
    """A sample as its device sends it."""
    said = {
        "measured_at": sample.measured_at.isoformat().replace("+00:00", "Z"),
        "inclination_deg": sample.inclination_deg,
        "gravity_sg": sample.gravity_sg,
        "temperature_c": sample.temperature_c,
        "battery_v": sample.battery_v,
        "signal_dbm": sample.signal_dbm,
    }
    return json.dumps({k: v for k, v in said.items() if v is not None}).encode()


class Devices:
    """The simulated devices: they send what they buffered, then go on, each message at QoS 1."""

    def __init__(self, cellar: DemoCellar, service: Service, memory: Path) -> None:
        self._cellar = cellar
        self._prefix = service.settings.broker.prefix
        self._address = service.broker.address if service.broker else ("127.0.0.1", service.settings.broker.port)
        self._memory = memory
        self._sent = self._recall()
        self._stop = threading.Event()
        self._slots = threading.Semaphore(_UNDERWAY)
        self._underway: deque[tuple[int, str, datetime]] = deque()
        self._acknowledged: set[int] = set()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="demo-devices", clean_session=True)
        self._client.max_inflight_messages_set(_UNDERWAY)
        self._client.on_publish = self._on_publish
        self._thread = threading.Thread(target=self._run, name="demo-devices", daemon=True)

    def start(self) -> None:
        self._client.connect_async(*self._address)
        self._client.loop_start()
        self._thread.start()

    def close(self) -> None:
        self._stop.set()
        self._thread.join(15)
        self._remember()
        self._client.disconnect()
        self._client.loop_stop()

    def _run(self) -> None:
        try:
            self._send_buffered()
            turn = 0
            while not self._stop.wait(_LIVE_EVERY_S):
                self._send_live(turn)
                turn += 1
        except Exception:  # a daemon thread has nobody else to tell
            log.exception("the simulated devices stopped")

    def _send_buffered(self) -> None:
        """Everything since each device last sent, oldest first across devices, as it would have happened."""
        now = datetime.now(UTC)
        waiting = []
        for device in self._cellar.devices:
            since = self._sent.get(device.device_id, datetime.min.replace(tzinfo=UTC, year=1971))
            waiting += [(s.measured_at, device, s) for s in device.samples(since, now)]
        waiting.sort(key=lambda item: item[0])
        for _, device, sample in waiting:
            self._publish(device, sample)
            if self._stop.is_set():
                break
        self._remember()
        log.info("the simulated devices sent %d buffered readings", len(waiting))

    def _send_live(self, turn: int) -> None:
        """One vessel's devices speak at each turn, so that something new comes every few seconds."""
        now = datetime.now(UTC).replace(microsecond=0)
        vessels = sorted({d.vessel_name for d in self._cellar.devices if d.vessel_name})
        spoken = vessels[turn % len(vessels)]
        for device in self._cellar.devices:
            if device.vessel_name in (spoken, None) and (sample := device.sample_at(now)) is not None:
                self._publish(device, sample)
        self._remember()

    def _on_publish(self, _client: mqtt.Client, _userdata: object, mid: int, *_: object) -> None:
        self._acknowledged.add(mid)
        self._slots.release()

    def _publish(self, device: DemoDevice, sample: DemoSample) -> None:
        while not self._slots.acquire(timeout=0.5):
            if self._stop.is_set():
                return
        info = self._client.publish(f"{self._prefix}/report/{device.device_id}", payload(sample), qos=1)
        self._underway.append((info.mid, device.device_id, sample.measured_at))

    def _recall(self) -> dict[str, datetime]:
        try:
            kept: dict[str, Any] = json.loads(self._memory.read_text())
        except (OSError, ValueError):
            return {}
        return {device_id: datetime.fromisoformat(text) for device_id, text in kept.items()}

    def _remember(self) -> None:
        """Forget what the broker has acknowledged, in order; what it has not is sent again after a restart."""
        # `MQTTMessageInfo.is_published` raises for what was published before the connection stood, though it is sent.
        while self._underway and self._underway[0][0] in self._acknowledged:
            mid, device_id, measured_at = self._underway.popleft()
            self._acknowledged.discard(mid)
            self._sent[device_id] = measured_at
        self._memory.write_text(json.dumps({k: v.isoformat() for k, v in self._sent.items()}))
