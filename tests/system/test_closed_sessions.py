"""Many browsers come and go: the descriptors of their sessions are free as soon as none can come back."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.system.serving import Server

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="counts descriptors in /proc")


async def open_a_page(port: int) -> None:
    """As a browser does, until the page is there; then gone."""
    from streamlit.proto.BackMsg_pb2 import BackMsg
    from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
    from websockets.asyncio.client import connect

    url = f"ws://127.0.0.1:{port}/_stcore/stream"
    async with connect(url, max_size=None, subprotocols=["streamlit"], origin=f"http://127.0.0.1:{port}") as socket:  # type: ignore[arg-type, list-item]
        message = BackMsg()
        message.rerun_script.page_name = "how-it-works"
        await socket.send(message.SerializeToString())
        while ForwardMsg.FromString(await asyncio.wait_for(socket.recv(), 60)).WhichOneof("type") != "script_finished":  # type: ignore[arg-type]
            pass


def test_closed_sessions_leave_no_descriptors(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, wait_until: Callable[..., None]
) -> None:
    (tmp_path / ".streamlit").mkdir()
    (tmp_path / ".streamlit" / "config.toml").write_text("[server]\ndisconnectedSessionTTL = 1\n")
    monkeypatch.setenv("HOME", str(tmp_path))
    server = Server(tmp_path, "serve")
    server.start()
    try:
        wait_until(lambda: server.health().get("broker_connected"), 90, "the server")
        asyncio.run(open_a_page(server.port))  # what the first page opens stays open
        asyncio.run(asyncio.sleep(3))
        before = descriptors(server)
        for _ in range(8):
            asyncio.run(open_a_page(server.port))
        wait_until(lambda: descriptors(server) <= before + 2, 20, "the descriptors")
    finally:
        server.kill()


def descriptors(server: Server) -> int:
    return sum(1 for _ in Path(f"/proc/{server.pid}/fd").iterdir())
