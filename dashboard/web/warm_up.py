"""Pays beforehand what the first visitor would wait for: imports, lazily loaded parts, and the main pages once."""

from __future__ import annotations

import asyncio
import gc
import logging
from typing import Final

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.runtime import SessionClient, get_instance

from analysis.lazy import load_all
from dashboard import context

log = logging.getLogger(__name__)

_LOOK_S: Final = 0.5
_MOST_S: Final = 120.0


class _Visitor(SessionClient):
    """Opens a page as a browser does, and keeps nothing of it."""

    def __init__(self) -> None:
        self.finished = asyncio.Event()

    def write_forward_msg(self, msg: ForwardMsg) -> None:
        if msg.WhichOneof("type") == "script_finished":
            self.finished.set()


def load() -> None:
    """Load all that pages are made of, in one thread; whoever is about to use it in another waits. Cheap afterwards."""
    load_all("dashboard.navigation")


async def open_pages() -> None:
    """Open the first screen and, as soon as a batch has been judged, its page. Runs on the web server's own loop."""
    try:
        async with asyncio.timeout(_MOST_S):
            await asyncio.to_thread(load)
            await asyncio.to_thread(_load_figures)
            await _open("today")
            if (batch_id := await _judged()) is not None:
                await _open("batch", f"id={batch_id}")
        gc.collect()
        gc.freeze()  # what stands by now stays: collections while pages are made need not go over it
    except Exception:
        log.warning("the pages were not opened beforehand: their first visitor waits a little longer", exc_info=True)


async def _judged() -> str | None:
    """A batch that has been judged, waited for; None while none is under way."""
    store, outlooks = context.store(), context.service().outlooks
    while records := store.active_batches():
        for record in records:
            if outlooks.latest(record.batch_id) is not None:
                return record.batch_id
        await asyncio.sleep(_LOOK_S)
    return None


async def _open(page: str, query: str = "") -> None:
    server, visitor = get_instance(), _Visitor()
    session_id = server.connect_session(visitor, user_info={})
    try:
        message = BackMsg()
        message.rerun_script.page_name = page
        message.rerun_script.query_string = query
        server.handle_backmsg(session_id, message, client=visitor)
        await visitor.finished.wait()
    finally:
        server.close_session(session_id)


def _load_figures() -> None:
    """Let the library of figures load its parts, also where no batch has one yet."""
    import plotly.graph_objects as go

    go.Figure([{"type": "scatter", "x": [0], "y": [0]}], {"shapes": [{}], "annotations": [{}], "xaxis": {}}).to_json()
