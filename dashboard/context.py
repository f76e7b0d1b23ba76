"""Hands the running service, and its open store, to the pages.

The server's lifespan calls `set_service` before the first page is shown. One process owns the database file, so
pages read through the same store that the subscriber writes to.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ingest.service import Service
    from ingest.store import Store

_service: Service | None = None
_turn = 0
_pages_in_the_making = 0
_counting = threading.Lock()


class NotRunning(RuntimeError):
    """A page was asked for before the service stood, or after it was stopped."""


def set_service(service: Service | None) -> None:
    """Name the service that pages use from now on; None when it stops."""
    global _service, _turn
    _service, _turn = service, _turn + 1


def turn() -> int:
    """Which service this is; answers kept of an earlier one are never taken for its own."""
    return _turn


def service() -> Service:
    """The running service.

    Raises
    ------
    NotRunning
        Outside the server, or while it starts or stops.
    """
    if _service is None:
        raise NotRunning("The cellar is not open yet. Start it with `tunroom serve` and load this page again.")
    return _service


def store() -> Store:
    """The open store of the running service."""
    return service().store


@contextlib.contextmanager
def making_a_page() -> Iterator[None]:
    """For as long as a page or a part of one is worked out."""
    global _pages_in_the_making
    with _counting:
        _pages_in_the_making += 1
    try:
        yield
    finally:
        with _counting:
            _pages_in_the_making -= 1


def someone_waits() -> bool:
    """Whether a reader waits for a page at this moment."""
    return _pages_in_the_making > 0
