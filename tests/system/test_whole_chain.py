"""The main job, end to end: a float publishes, and the verdict stands in a real browser."""

from __future__ import annotations

import json
import socket
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from ingest.model import BatchRecord, Device, Placement, Vessel
from ingest.store.store import Store
from tests.conftest import free_port
from tests.system.serving import Server, browser


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Callable[..., Server]]:
    started: list[Server] = []

    def make(*arguments: str) -> Server:
        started.append(Server(tmp_path, *arguments))
        return started[-1]

    yield make
    for each in started:
        each.kill()


def enter_a_batch(data: Path, pitched_at: datetime) -> None:
    with Store.open(data) as store:
        vessel = store.save(Vessel(name="Cask nine"))
        store.save(
            BatchRecord(
                name="Gatepost bitter",
                vessel_id=vessel.vessel_id,
                drink="ale",
                original_gravity_sg=1.048,
                pitched_at=pitched_at,
                expected_low=0.72,
                expected_high=0.82,
                plan={"dry_hops": 1},
            )
        )
        store.save(Device(device_id="f9", kind="float"))
        store.save(Placement(device_id="f9", vessel_id=vessel.vessel_id, from_at=pitched_at))


def messages(pitched_at: datetime, hours: float) -> Iterator[bytes]:
    """What a float says of an ale that falls to 1.011 within four days: two sugars taken up one after the other."""
    rng = np.random.default_rng(3)
    for hour in np.arange(0.5, hours, 0.5):
        first = 0.026 / (1 + np.exp(-(hour - 30) / 5))
        second = 0.011 * (1 - np.exp(-max(hour - 26, 0) / 16))
        gravity = 1.048 - first - second + rng.normal(0, 0.0004)
        at = pitched_at + timedelta(hours=float(hour))
        reading = {"measured_at": at.isoformat(), "gravity_sg": round(gravity, 4), "temperature_c": 19.5}
        yield json.dumps(reading).encode()


@pytest.mark.parametrize("which", ["mosquitto", "embedded"])
@pytest.mark.chromium
def test_a_float_publishes_and_the_verdict_appears_in_a_browser(
    which, server, request, tmp_path, chromium_program, publisher, wait_until
):
    pitched_at = datetime.now(UTC) - timedelta(days=9)
    serve = server("serve")
    serve.data.mkdir()
    enter_a_batch(serve.data, pitched_at)
    if which == "mosquitto":
        request.getfixturevalue("mosquitto")(serve.broker_port)
        config = tmp_path / "real.toml"
        config.write_text(f'[broker]\nhost = "127.0.0.1"\nport = {serve.broker_port}\n')
        serve.start("--config", str(config))
    else:
        serve.start()
    wait_until(lambda: serve.health().get("broker_connected"), 60, "the connection to the broker")
    sent = list(messages(pitched_at, 9 * 24))
    sender = publisher(serve.broker_port)
    for number, payload in enumerate(sent):
        sender.publish("tunroom/report/f9", payload, number)
    wait_until(lambda: serve.health().get("readings") == len(sent), 60, "the arrival of all readings")

    with browser(chromium_program) as page:
        page.goto(f"http://127.0.0.1:{serve.port}/")
        page.get_by_text("Cask nine").first.wait_for(timeout=60_000)
        page.get_by_text("Finished").first.wait_for(timeout=60_000)
        assert "Traceback" not in page.inner_text("body")

    planned = serve.command("plan", "Cask nine", "--json")
    assert planned.returncode == 0, planned.stderr
    plan = json.loads(planned.stdout)
    assert plan["finished"] is True
    assert plan["hold_met"] is True
    assert plan["hop_day"] is not None
    contact = datetime.fromisoformat(plan["packaging_day"]) - datetime.fromisoformat(plan["hop_day"])
    assert contact.days == 3  # three days of contact end on packaging day (common practice, no source)
    assert serve.interrupt() == 0


def test_a_taken_port_is_named_with_the_way_out(server):
    demo = server("demo")
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        refused = demo.command("demo", "--port", port, "--broker-port", str(free_port()))
        assert refused.returncode == 2
        assert port in refused.stderr
        assert "--port" in refused.stderr
        refused = demo.command("demo", "--port", str(free_port()), "--broker-port", port)
        assert refused.returncode == 2
        assert port in refused.stderr
        assert "--broker-port" in refused.stderr


def test_a_second_server_is_told_who_owns_the_cellar(server, wait_until):
    first = server("serve")
    first.start()
    wait_until(lambda: first.health().get("broker_connected"), 60, "the first server")
    second = first.command("serve", "--port", str(free_port()), "--broker-port", str(free_port()))
    assert second.returncode == 2
    assert "--data" in second.stderr
    assert str(first.pid) in second.stderr
    assert first.interrupt() == 0


def test_an_empty_cellar_reports_its_health(server, wait_until):
    serve = server("serve")
    serve.start()
    wait_until(lambda: serve.health().get("broker_connected"), 60, "the server")
    health = serve.health()
    assert health["status"] == "ok"
    assert health["readings"] == 0
    assert health["last_reading_at"] is None
    assert set(health) >= {"status", "version", "readings", "last_reading_at", "broker_connected", "queued"}
    assert serve.interrupt() == 0
