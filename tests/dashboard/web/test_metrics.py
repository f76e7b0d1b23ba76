from __future__ import annotations

import asyncio

import pytest
from prometheus_client.parser import text_string_to_metric_families
from starlette.requests import Request

from dashboard import access
from dashboard.web import metrics


def ask(client: str = "127.0.0.1", host: str = "localhost:8600", **headers: str):
    named = [(name.replace("_", "-").encode(), value.encode()) for name, value in {"host": host, **headers}.items()]
    scope = {
        "type": "http", "method": "GET", "path": access.METRICS, "query_string": b"", "scheme": "http",
        "headers": named, "client": (client, 50000), "server": ("127.0.0.1", 8600),
    }  # fmt: skip
    return asyncio.run(metrics.metrics(Request(scope)))


def numbers() -> dict[str, float]:
    answer = ask()
    assert answer.status_code == 200
    families = text_string_to_metric_families(answer.body.decode())
    return {sample.name: sample.value for family in families for sample in family.samples}


def test_the_cellar_stands_in_the_numbers(cellar):
    found = numbers()
    assert found["tunroom_readings"] == cellar.store.counts()["readings"] > 0
    assert found["tunroom_last_reading_age_seconds"] >= 0
    for name in ("readings_taken_total", "readings_repeated_total", "messages_refused_total", "errors_total"):
        assert f"tunroom_{name}" in found
    assert found["tunroom_healthy"] == found["tunroom_broker_connected"] == 1


def test_what_is_wrong_for_a_person_is_wrong_for_a_program(cellar, monkeypatch):
    monkeypatch.setattr(cellar.broker, "problem", "The broker refuses the login.")
    assert numbers()["tunroom_healthy"] == 0


def test_without_nightly_backups_no_age_is_invented(cellar):
    assert "tunroom_backup_age_seconds" not in numbers()


@pytest.mark.parametrize(
    "asked",
    [
        {"client": "192.168.1.20"},
        {"host": "cellar.example"},  # what a proxy on this machine hands on
        {"x_forwarded_for": "203.0.113.9"},
        {"forwarded": "for=203.0.113.9"},
        {"client": "not an address"},
    ],
)
def test_only_programs_on_this_machine_may_ask(cellar, asked):
    answer = ask(**asked)
    assert answer.status_code == 403
    assert b"readings" not in answer.body


def test_a_setting_opens_it(cellar, monkeypatch):
    from dataclasses import replace

    from dashboard import context

    service = context.service()
    opened = replace(service.settings, server=replace(service.settings.server, open_metrics=True))
    monkeypatch.setattr(service, "settings", opened)
    assert ask(client="192.168.1.20", host="cellar.example").status_code == 200
