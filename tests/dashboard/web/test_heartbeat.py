from __future__ import annotations

import asyncio
import contextlib

from dashboard.web import heartbeat
from ingest import systemd


def test_what_waits_for_the_server_begins_once_it_answers_and_that_was_said(port, monkeypatch):
    said: list[str] = []
    monkeypatch.setattr(systemd, "notify", lambda state: said.append(state) or True)
    monkeypatch.setattr(heartbeat.context, "service", lambda: heartbeat.service)  # type: ignore[attr-defined]
    monkeypatch.setattr(heartbeat.service, "sign_of_life", lambda: None, raising=False)

    async def story() -> list[str]:
        beats = asyncio.create_task(heartbeat.beat("127.0.0.1", port, lambda: said.append("begins")))
        await asyncio.sleep(0.15)
        before = list(said)
        async with await asyncio.start_server(lambda _reader, writer: writer.close(), "127.0.0.1", port):
            while "begins" not in said:
                await asyncio.sleep(0.01)
            beats.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await beats
        return before

    assert asyncio.run(story()) == []
    assert said == [systemd.READY, "begins"]
