"""Two sites, each with its own Mosquitto: the one hands its readings on to the other over a line that is cut."""

from __future__ import annotations

from pathlib import Path

import pytest

from ingest.service import Service
from tests.conftest import free_port
from tests.system.conftest import Mosquitto, Proxy, wait_until
from tests.system.mqtt import numbered, publish, running
from tests.test_documentation import GUIDE, blocks

WHILE_CUT = 1500
"""Readings; more than the thousand that Mosquitto queues unless its settings say otherwise (mosquitto.conf(5))."""


def bridge(port: int) -> str:
    """The lines of the manual for a site's broker, with the test's address and restarting at once."""
    [example] = [block for block in blocks(GUIDE["several-sites"], "conf") if "connection" in block]
    lines = [line.strip() for line in example.splitlines() if not line.startswith(("listener", "persistence"))]
    lines = [f"address 127.0.0.1:{port}" if line.startswith("address") else line for line in lines]
    lines = [
        line for line in lines if not line.startswith(("bridge_cafile", "remote_", "password_", "allow_", "restart"))
    ]
    return "\n".join([*lines, "restart_timeout 1 1"])


def instants(service: Service, device_id: str) -> list[int]:
    return [int(at.timestamp()) - 1772352000 for at in service.store.readings_as_sent(device_id)["measured_at"]]


@pytest.mark.mosquitto
def test_a_site_that_was_cut_off_loses_nothing_and_keeps_its_devices_apart(mosquitto_program: str, tmp_path: Path):
    folders = {name: tmp_path / name for name in ("here", "barn")}
    for folder in folders.values():
        folder.mkdir()
    here = Mosquitto(mosquitto_program, folders["here"], free_port())
    line = Proxy(here.port)
    barn = Mosquitto(mosquitto_program, folders["barn"], free_port(), bridge(line.port))
    try:
        here.start()
        barn.start()
        with running(tmp_path, host="127.0.0.1", port=here.port, sites=("barn",)) as service:
            wait_until(lambda: service.subscriber.status().connected, what="the connection")
            publish(barn.port, numbered(0))
            publish(here.port, numbered(0), ("tunroom/report/barn:float-1", numbered(9)[1]))
            wait_until(lambda: service.store.counts()["readings"] == 2, what="a reading of each site")
            assert instants(service, "float-1") == instants(service, "barn:float-1") == [0]
            wait_until(lambda: service.store.counts()["rejected"] == 1, what="the usurper")

            line.cut()
            publish(barn.port, *(numbered(n) for n in range(1, WHILE_CUT)))
            barn.restart()  # a power cut at the site meanwhile; what it queued is on its disk
            here.stop()
            publish(barn.port, numbered(WHILE_CUT))
            here.start()
            line.heal()
            wait_until(lambda: service.store.counts()["readings"] == WHILE_CUT + 2, 60, what="all of the site")
            assert instants(service, "barn:float-1") == list(range(WHILE_CUT + 1))
            assert instants(service, "float-1") == [0]
    finally:
        barn.stop()
        here.stop()
        line.close()
