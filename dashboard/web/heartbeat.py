"""Tells systemd that the dashboard can be reached, and from then on that web server and ingest live."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from typing import Final

from dashboard import context
from ingest import logs, service, systemd

_AGAIN_S: Final = 0.05


async def beat(host: str, port: int, reached: Callable[[], None] = lambda: None) -> None:
    """Run until cancelled, as a task of the web server's own loop: where that hangs, no sign of life goes out.

    `reached` is called once the server can be.
    """
    while not await _answers(host, port):  # the server listens only after its start-up has run through
        await asyncio.sleep(_AGAIN_S)
    systemd.notify(systemd.READY)
    reached()
    while True:
        logs.adopt()
        context.service().sign_of_life()
        await asyncio.sleep(systemd.watchdog_every_s() or service.SIGN_EVERY_S)


async def _answers(host: str, port: int) -> bool:
    here = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)  # noqa: S104  only compared, not bound
    with contextlib.suppress(OSError):
        _reader, writer = await asyncio.open_connection(here, port)
        writer.close()
        return True
    return False
