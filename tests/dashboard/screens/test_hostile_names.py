"""Names that are HTML, Markdown or templates: every screen and the printed sheet show them as text."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from html.parser import HTMLParser
from typing import Any

import pytest
from google.protobuf.json_format import MessageToDict
from streamlit.testing.v1 import AppTest

from analysis.packaging import sheet
from dashboard import context
from dashboard.sheet.html import sheet_html
from ingest.model import Device, EventRecord, Preferences, Vessel, Yeast
from tests.dashboard.conftest import NOW, Cellar, put_batch

NAMES = (
    "<img src=x onerror=alert(1)> **b** [a](javascript:x)",
    "\"'&<b onmouseover='x'> :red[x] $x$",
    "{{7*7}}{% raw %}<i>`c`</i>",
    "</script></style><script>alert(2)</script>",
    "<svg onload=x> " + "very long " * 6 + "![p](https://example.org)",
)
PART = re.compile(r"<img|<script|<svg onload|<b on|<i>", re.IGNORECASE)
SCREENS: tuple[tuple[str, dict[str, str]], ...] = (
    ("today", {}),
    ("calendar", {}),
    ("yeasts", {}),
    ("how-it-works", {}),
    ("sensors", {}),
    ("sensors", {"device": "float-1"}),
    ("sensors", {"device": "float-9"}),
    *(("set-up", {"part": part}) for part in ("batches", "vessels", "yeasts", "cellar", "word", "import", "health")),
    ("set-up", {"part": "batches", "id": "first"}),
    ("set-up", {"part": "vessels", "id": "vessel"}),
    ("set-up", {"part": "yeasts", "id": "yeast"}),
    ("batch", {}),
    *(("batch", {"id": "first", "part": part}) for part in ("", "What we said before", "What was entered")),
    ("batch", {"id": "first", "part": "This batch"}),
    ("batch", {"id": "ended"}),
    ("packaging", {}),
    ("packaging", {"id": "first"}),
    ("packaging", {"id": "ended"}),
)


class Found(HTMLParser):
    """What a browser would make of it: tags, attributes and text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.text = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}

    def handle_data(self, data: str) -> None:
        self.text += data


def harmless(html: str) -> Found:
    found = Found(html)
    assert not found.tags & {"img", "script"}, html
    assert not [a for a in found.attributes if a.startswith("on")], html
    return found


@pytest.fixture(scope="module")
def _hostile() -> Iterator[tuple[Cellar, dict[str, str]]]:
    cellar, ids = Cellar(), {}
    s = cellar.store
    s.save(Preferences(time_zone="Europe/Lisbon", cellar_name=NAMES[4]))
    ids["yeast"] = s.save(Yeast(name=NAMES[1], attenuation_low=0.74, attenuation_high=0.8)).yeast_id
    days = (1.7, 9, 32, 33)
    for n, (name, age) in enumerate(zip(NAMES, days, strict=False), start=1):
        over: dict[str, Any] = {"ended_at": NOW - timedelta(days=20)} if age > 30 else {}
        yeast = NAMES[1] if n != 3 else NAMES[2]
        record = put_batch(s, n, name, age, yeast=yeast, **over)
        vessel = s.get(Vessel, record.vessel_id)
        device = s.get(Device, f"float-{n}")
        assert vessel is not None
        assert device is not None
        s.save(replace(vessel, name=NAMES[n]))
        s.save(replace(device, name=NAMES[n]))
        if over:
            s.save(EventRecord(batch_id=record.batch_id, kind="package", at=NOW - timedelta(days=20, hours=1)))
            ids["ended"] = record.batch_id
        elif n == 1:
            ids |= {"first": record.batch_id, "vessel": record.vessel_id}
            s.save(EventRecord(batch_id=record.batch_id, kind="note", at=NOW - timedelta(hours=2), note=NAMES[0]))
        cellar.outlooks.of(record.batch_id)
    s.save(Device(device_id="float-9", kind="float", name=NAMES[0]))
    yield cellar, ids
    cellar.store.close()


@pytest.fixture
def hostile(_hostile: tuple[Cellar, dict[str, str]]) -> Iterator[dict[str, str]]:
    cellar, ids = _hostile
    context.set_service(cellar.service)
    yield ids
    context.set_service(None)


def nodes(node: Any) -> Iterator[Any]:
    yield node
    for child in getattr(node, "children", {}).values():
        yield from nodes(child)


@pytest.mark.parametrize(("screen", "query"), SCREENS, ids=lambda v: v if isinstance(v, str) else "-".join(v.values()))
def test_no_screen_takes_a_name_for_html_or_markdown(
    hostile: dict[str, str], screen: str, query: dict[str, str]
) -> None:
    app = AppTest.from_string(
        "from dashboard import navigation\n"
        f"[entry] = [e for e in navigation.PAGES if e.path == {screen!r}]\nentry.show()\n",
        default_timeout=60,
    )
    for name, value in query.items():
        if name == "part" and screen == "batch":
            if value:
                app.session_state["part"] = value
        else:
            app.query_params[name] = hostile.get(value, value)
    app.run()
    assert not app.exception
    shown = 0
    for node in nodes(app._tree):
        proto = getattr(node, "proto", None)
        if proto is None:
            continue
        told = MessageToDict(proto, preserving_proto_field_name=True)
        if node.type == "html":
            shown += len(harmless(told["body"]).text)
        elif node.type == "bidi_component" and told.get("component_name") == "tunroom_markup":
            shown += len(harmless(json.loads(told["json"])).text)
        elif node.type == "bidi_component" and told.get("component_name") == "tunroom_pictures":
            for picture in json.loads(told["json"]).values():
                harmless(picture)
        for label in (told.get("label"), told.get("body") if node.type in ("heading", "markdown", "toast") else None):
            if isinstance(label, str):
                assert not PART.search(re.sub(r"\\.", "", label)), label
                assert not re.search(r"(?<!\\)(:red|\*\*b|\$x|\[a\]|!\[p)", label), label
    assert shown > 20 or query.get("part") == "import"


def test_the_names_are_seen_as_they_were_typed(hostile: dict[str, str]) -> None:
    app = AppTest.from_string("from dashboard.screens.today import page\npage.show()", default_timeout=60).run()
    told = [json.loads(e.proto.json) for e in app.get("bidi_component") if e.proto.component_name == "tunroom_markup"]
    text = Found("".join(told)).text.replace("\N{NO-BREAK SPACE}", " ")
    for name in NAMES[:3]:
        assert name in text


@pytest.mark.parametrize("name", NAMES)
def test_the_printed_sheet_takes_no_name_for_html(name: str) -> None:
    given = {"volume_l": 19, "drink": "ale", "package": "bottle", "bottle_rating_kpa": 900}
    page = sheet_html(sheet(given), title=name, made=name)
    assert name in harmless(str(page)).text
