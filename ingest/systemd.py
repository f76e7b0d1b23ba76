"""Tells systemd how we are (sd_notify(3)): ready, still alive, stopping. Elsewhere nothing happens.

The protocol is one datagram a message to the socket that ``NOTIFY_SOCKET`` names.
"""

from __future__ import annotations

import contextlib
import os
import socket
from collections.abc import Mapping
from typing import Final

READY: Final = "READY=1"
ALIVE: Final = "WATCHDOG=1"
STOPPING: Final = "STOPPING=1"

_SHARE: Final = 0.4
"""Of the watchdog's time between two signs of life; sd_watchdog_enabled(3) advises half of it, a little sooner spares
one that comes late on a busy machine."""


def notify(state: str, environ: Mapping[str, str] = os.environ) -> bool:
    """Say this to systemd; False where it did not start us, or does not listen."""
    address = environ.get("NOTIFY_SOCKET", "")
    if not address.startswith(("/", "@")) or not hasattr(socket, "AF_UNIX"):
        return False
    if address.startswith("@"):  # the abstract namespace of Linux
        address = "\0" + address[1:]
    with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
        channel.setblocking(False)  # where nobody takes our words, the web server must not wait for it
        channel.connect(address)
        channel.send(state.encode())
        return True
    return False


def watchdog_every_s(environ: Mapping[str, str] = os.environ) -> float | None:
    """Seconds between two signs of life; None where no watchdog waits for ours."""
    text, of = environ.get("WATCHDOG_USEC", ""), environ.get("WATCHDOG_PID", "")
    if not text.isdigit() or int(text) == 0 or (of and of != str(os.getpid())):
        return None
    return int(text) / 1e6 * _SHARE
