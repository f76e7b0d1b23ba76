"""A live part that is drawn anew while a page is still on its way to the browser leaves no hole in it.

Streamlit then drops what was not yet sent of that part, and sends what comes after it first. Its front end refuses an
element whose place is further on than the next free one, with "Bad delta path index", and the page stays blank.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.runtime.forward_msg_queue import ForwardMsgQueue
from streamlit.testing.v1 import AppTest, local_script_runner

import dashboard

MAIN = Path(dashboard.__file__).parent / "main.py"
SCREENS = ("today", "calendar", "sensors", "device", "health", "batch", "packaging", "compare")

Place = tuple[int, ...]


class Holes(Exception):
    """An element came for a place that does not exist yet."""


def arrive(sent: Sequence[ForwardMsg]) -> None:
    """Lay the elements out as the front end does: each at a place that is there, or at the next one."""
    counts: dict[Place, int] = {(root,): 0 for root in range(4)}  # by block: how many it holds
    for message in sent:
        path = tuple(message.metadata.delta_path)
        parent, index = path[:-1], path[-1]
        if parent not in counts or index > counts[parent]:
            raise Holes(f"{list(path)}, where {list(parent)} holds {counts.get(parent)}")
        counts[parent] = max(counts[parent], index + 1)
        if message.delta.WhichOneof("type") == "add_block":
            counts.setdefault(path, 0)


def seen_of(shown: AppTest, monkeypatch: pytest.MonkeyPatch) -> list[ForwardMsg]:
    """All elements that a run of the page sends, in order."""
    found: list[ForwardMsg] = []
    real = local_script_runner.parse_tree_from_messages

    def note(messages: list[ForwardMsg]) -> Any:
        found[:] = [m for m in messages if m.HasField("delta")]
        return real(messages)

    monkeypatch.setattr(local_script_runner, "parse_tree_from_messages", note)
    shown.run()
    assert not shown.exception
    return found


def after_a_refresh(sent: Sequence[ForwardMsg], part: str) -> list[ForwardMsg]:
    """What Streamlit sends where a live part is drawn anew before anything of the page has left."""
    queue = ForwardMsgQueue()
    for message in sent:
        queue.enqueue(message)
    queue.clear(retain_lifecycle_msgs=True, fragment_ids_this_run=[part])
    for message in sent:
        if message.delta.fragment_id == part:
            queue.enqueue(message)
    return queue.flush()


def page_of(screen: str, cellar: Any) -> AppTest:
    if screen == "today":
        return AppTest.from_file(str(MAIN), default_timeout=60)
    query = {
        "device": {"device": "float-1"},
        "health": {"part": "health"},
        "batch": {"id": cellar.batches["active"].batch_id},
        "packaging": {"id": cellar.batches["held"].batch_id},
        "compare": {"ids": cellar.batches["active"].batch_id},
    }.get(screen, {})
    path = {"device": "sensors", "health": "set-up"}.get(screen, screen)
    shown = AppTest.from_string(
        "from dashboard import navigation\nfrom dashboard.ui import components\n"
        f"components.screen(next(e for e in navigation.PAGES if e.path == {path!r}).show)()\n",
        default_timeout=60,
    )
    for name, value in query.items():
        shown.query_params[name] = value
    return shown


@pytest.mark.parametrize("screen", SCREENS)
def test_a_part_that_is_drawn_anew_before_the_page_has_arrived_leaves_no_hole(
    cellar: Any, monkeypatch: pytest.MonkeyPatch, screen: str
) -> None:
    sent = seen_of(page_of(screen, cellar), monkeypatch)
    arrive(sent)
    parts = {message.delta.fragment_id for message in sent} - {""}
    assert parts
    for part in parts:
        arrive(after_a_refresh(sent, part))


def test_without_a_place_of_its_own_such_a_part_would_leave_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """The check can fail."""
    shown = AppTest.from_string(
        "import streamlit as st\nst.write('before')\nst.fragment(lambda: st.write('live'))()\nst.write('after')\n",
        default_timeout=60,
    )
    sent = seen_of(shown, monkeypatch)
    arrive(sent)
    [part] = {message.delta.fragment_id for message in sent} - {""}
    with pytest.raises(Holes):
        arrive(after_a_refresh(sent, part))
