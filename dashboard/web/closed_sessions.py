"""Sessions whose browser has gone: kept for a short while, should it come back, and then freed at once.

Streamlit forgets them as well, but shuts none of them down: their event loop with its three descriptors and what they
had uploaded wait until the garbage collector happens to come by.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Final

from streamlit import config
from streamlit.runtime import get_instance
from streamlit.runtime.session_manager import SessionInfo, SessionStorage

MOST: Final = 128
"""Sessions that are kept for their return; beyond, the one that has been away longest is freed."""


class ClosedSessions(SessionStorage):
    """Keeps sessions without a browser, and ends each when its time is over. Lives on the web server's loop.

    Parameters
    ----------
    keep_s
        For how long one is kept.
    end
        Frees a session by its id; it is still known here when this is called.
    """

    def __init__(self, keep_s: float, end: Callable[[str], None]) -> None:
        self._keep_s = keep_s
        self._end = end
        self._loop = asyncio.get_running_loop()
        self._kept: dict[str, tuple[SessionInfo, asyncio.TimerHandle]] = {}

    def get(self, session_id: str) -> SessionInfo | None:
        """A session that is kept, or None."""
        kept = self._kept.get(session_id)
        return None if kept is None else kept[0]

    def save(self, session_info: SessionInfo) -> None:
        """Keep a session from now on."""
        session_id = session_info.session.id
        self.delete(session_id)
        self._kept[session_id] = (session_info, self._loop.call_later(self._keep_s, self._end, session_id))
        if len(self._kept) > MOST:
            self._loop.call_soon(self._end, next(iter(self._kept)))

    def delete(self, session_id: str) -> None:
        """Forget a session: it has come back, or is freed."""
        if (kept := self._kept.pop(session_id, None)) is not None:
            kept[1].cancel()

    def list(self) -> list[SessionInfo]:
        """All that are kept."""
        return [info for info, _ in self._kept.values()]


def free_in_time(ended: Callable[[str], None]) -> None:
    """Have the running server free what it would leave to the garbage collector; `ended` is told of each session.

    Called on the web server's loop, once its runtime is there.
    """
    runtime = get_instance()

    def end(session_id: str) -> None:
        runtime.close_session(session_id)
        ended(session_id)

    keep_s = float(config.get_option("server.disconnectedSessionTTL"))
    # Streamlit's own way to give it another storage leads past `st.App`; a test sees that this one still works.
    runtime._session_mgr._session_storage = ClosedSessions(keep_s, end)  # type: ignore[attr-defined]
