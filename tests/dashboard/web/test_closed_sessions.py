from __future__ import annotations

import asyncio
from types import SimpleNamespace
from typing import Any

from dashboard.web.closed_sessions import MOST, ClosedSessions


def session(name: str) -> Any:
    return SimpleNamespace(session=SimpleNamespace(id=name))


def ends(storage: ClosedSessions, ended: list[str]) -> None:
    """What the server does with a session whose time is over."""
    storage._end = lambda name: (storage.delete(name), ended.append(name))[0]


def test_a_session_is_freed_when_its_time_is_over_and_not_before() -> None:
    async def story() -> tuple[list[str], list[str]]:
        ended: list[str] = []
        storage = ClosedSessions(0.05, ended.append)
        ends(storage, ended)
        storage.save(session("a"))
        assert storage.get("a") is not None
        before = list(ended)
        await asyncio.sleep(0.2)
        assert storage.get("a") is None
        return before, ended

    assert asyncio.run(story()) == ([], ["a"])


def test_one_that_comes_back_stays() -> None:
    async def story() -> list[str]:
        ended: list[str] = []
        storage = ClosedSessions(0.05, ended.append)
        ends(storage, ended)
        storage.save(session("a"))
        storage.delete("a")
        await asyncio.sleep(0.15)
        return ended

    assert asyncio.run(story()) == []


def test_of_too_many_the_one_that_went_first_is_freed() -> None:
    async def story() -> tuple[list[str], int]:
        ended: list[str] = []
        storage = ClosedSessions(60, ended.append)
        ends(storage, ended)
        for n in range(MOST + 2):
            storage.save(session(f"s{n}"))
            await asyncio.sleep(0)
        await asyncio.sleep(0)
        return ended, len(storage.list())

    assert asyncio.run(story()) == (["s0", "s1"], MOST)
