"""The command `tunroom` in a process that writes down whom beyond this machine it looks up or connects to."""

from __future__ import annotations

import ipaddress
import os
import sys
from typing import Any

MARK = "ASKED OUTSIDE"

_LOOK_UPS = {"socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr", "socket.getnameinfo"}
_SENDS = {"socket.connect", "socket.sendto", "socket.sendmsg"}


def _outside(host: Any) -> bool:
    host = host.decode(errors="replace") if isinstance(host, bytes) else host
    if host in (None, "", "localhost"):
        return False
    try:
        address = ipaddress.ip_address(str(host))
    except ValueError:
        return True
    return not (address.is_loopback or address.is_unspecified)


def watch(event: str, arguments: tuple[Any, ...]) -> None:
    """Take note of what leaves; for `sys.addaudithook`, which hears every socket of Python's (PEP 578)."""
    host: Any = None
    if event in _LOOK_UPS:
        host = arguments[0][0] if isinstance(arguments[0], tuple) else arguments[0]
    elif event in _SENDS:
        address = arguments[1]
        host = address[0] if isinstance(address, tuple) else None  # a path is a socket of this machine
    if _outside(host):
        os.write(2, f"{MARK}: {event} {host!r}\n".encode())


if __name__ == "__main__":
    sys.addaudithook(watch)
    from dashboard.__main__ import main

    sys.exit(main())
