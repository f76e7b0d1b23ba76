from __future__ import annotations

from typing import Any

import pytest

from dashboard.access.local import asks_for_itself
from tests.dashboard.access.conftest import House


def scope(peer: str = "127.0.0.1", host: str = "127.0.0.1:8600", **headers: str) -> dict[str, Any]:
    named = [(name.replace("_", "-").encode(), value.encode()) for name, value in {"host": host, **headers}.items()]
    return {
        "type": "http", "scheme": "http", "method": "GET", "path": "/metrics", "query_string": b"",
        "headers": named, "client": (peer, 50000), "server": ("127.0.0.1", 8600),
    }  # fmt: skip


def test_a_program_on_this_machine_asks_for_itself() -> None:
    assert asks_for_itself(scope())
    assert asks_for_itself(scope(peer="::1", host="localhost:8600"))


@pytest.mark.parametrize("asked", [
    {"peer": "192.0.2.7"}, {"host": "tun.example"}, {"x_forwarded_for": "203.0.113.9"},
    {"forwarded": "for=203.0.113.9"}, {"x_real_ip": "203.0.113.9"}, {"via": "1.1 proxy"}, {"peer": "nobody"},
])  # fmt: skip
def test_what_a_proxy_hands_on_or_comes_from_elsewhere_does_not(asked: dict[str, str]) -> None:
    assert not asks_for_itself(scope(**asked))


def test_numbers_for_programs_elsewhere_need_a_session(house: Any) -> None:
    here: House = house()
    assert here.ask("/metrics").status == 401
    assert here.reached == []
