"""The demo's simulated devices, on their own, against a real broker."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any

from dashboard.demo.demo import Devices
from ingest.settings.settings import Broker
from sample_data.cellar import demo_cellar


def test_what_was_sent_before_the_broker_answers_is_sent_once_it_does(tmp_path, port, mosquitto, wait_until):
    now = datetime.now(UTC).replace(microsecond=0)
    whole = demo_cellar(now, 7)
    cellar = replace(whole, devices=tuple(d for d in whole.devices if d.vessel_name is not None)[:3])
    memory = tmp_path / "devices.json"
    # They sent all but the last day before, as after a restart: it is published at once, before any connection.
    since = now - timedelta(days=1)
    memory.write_text(json.dumps({d.device_id: since.isoformat() for d in cellar.devices}))
    speaking = {d.device_id for d in cellar.devices if d.samples(since, now)}
    assert speaking
    service: Any = SimpleNamespace(settings=SimpleNamespace(broker=Broker(port=port)), broker=None)
    devices = Devices(cellar, service, memory)
    devices.start()
    try:
        wait_until(lambda: devices._underway, 20, "the first messages")
        mosquitto(port)
        wait_until(
            lambda: not devices._underway or len(devices._acknowledged) == len(devices._underway), 30, "the rest"
        )
    finally:
        devices.close()
    told = {device_id: datetime.fromisoformat(at) for device_id, at in json.loads(memory.read_text()).items()}
    assert {device_id for device_id, at in told.items() if at > since} == speaking
