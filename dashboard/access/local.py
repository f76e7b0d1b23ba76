"""Whether a program on this machine asks for itself, and not a proxy here for somebody elsewhere."""

from __future__ import annotations

import ipaddress
from typing import Final

from starlette.datastructures import URL
from starlette.types import Scope

from ingest.settings import is_loopback

_ON_BEHALF: Final = frozenset({b"forwarded", b"x-forwarded-for", b"x-real-ip", b"via"})
"""RFC 7239, RFC 9110 (7.6.3), and what proxies send besides."""


def asks_for_itself(scope: Scope) -> bool:
    """A request from this machine, by one of its own names, that no proxy hands on.

    A request that a proxy hands on is none of these: its Host is the name that the browser asked for, and most proxies
    say for whom they ask.
    """
    client = scope.get("client")
    try:
        here = client is not None and ipaddress.ip_address(client[0]).is_loopback
    except ValueError:
        here = False
    name = URL(scope=scope).hostname or ""
    return here and is_loopback(name) and not any(header.lower() in _ON_BEHALF for header, _ in scope["headers"])
