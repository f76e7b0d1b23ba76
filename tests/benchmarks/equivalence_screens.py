"""What the demo shows, sends and prints at a fixed moment: the largest part of a dump."""

from __future__ import annotations

import contextlib
import dataclasses
import html
import importlib
import io
import itertools
import json
import os
import pkgutil
import random
import re
import secrets
import sys
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from google.protobuf.json_format import MessageToDict
from streamlit.testing.v1 import AppTest

from tests.benchmarks.equivalence_places import PACKAGES, ROOT, canonical, find, place

NOT_IMPORTED = ("dashboard.main",)
"""Runs a page as soon as it is imported."""

NOW = datetime(2026, 3, 20, 12, 0, tzinfo=UTC)


class _AnyDatetime(type):
    """An instant made anywhere is an instant of ours."""

    def __instancecheck__(cls, instance: object) -> bool:
        return isinstance(instance, datetime)


class _Frozen(datetime, metaclass=_AnyDatetime):
    """`datetime`, standing at `NOW`. What it makes are plain instants, so that nothing else can tell."""

    def __new__(cls, *parts: Any, **named: Any) -> Any:
        return datetime(*parts, **named)  # noqa: DTZ001  whoever calls says the zone or leaves it

    @classmethod
    def now(cls, tz: Any = None) -> datetime:
        return NOW.astimezone(tz) if tz else NOW.astimezone().replace(tzinfo=None)


def freeze() -> None:
    """Stop the clock for our own modules, and number what is drawn at random."""
    for package in PACKAGES:
        found = importlib.import_module(package)
        for module in pkgutil.walk_packages(found.__path__, f"{package}."):
            if module.name not in NOT_IMPORTED:
                importlib.import_module(module.name)
    for name, module in list(sys.modules.items()):
        if name.partition(".")[0] in PACKAGES and getattr(module, "datetime", None) is datetime:
            module.datetime = _Frozen  # type: ignore[attr-defined]
    numbers = itertools.count(1)
    secrets.token_hex = lambda size=32: f"{next(numbers):0{2 * size}x}"
    secrets.token_urlsafe = lambda size=32: f"token-{next(numbers)}"
    random.seed(1)


def screens(folder: Path) -> dict[str, Any]:
    """Everything of the demo that can be seen without a click, and what it sends and prints."""
    freeze()
    canonical.places |= {str(folder): "<folder>", str(folder.resolve()): "<folder>"}
    os.environ["COLUMNS"] = "100"
    said: dict[str, Any] = {}
    with find("Store").open(folder / find("DATABASE")) as store:
        service, sent = _filled(store, folder)
        find("set_service")(service)
        published: dict[str, Any] = {}
        watcher = find("Watcher")(store, service.outlooks, service.notifier, published.__setitem__)
        outlooks = watcher.look(NOW)
        said["outlooks"] = {o.record.name + " " + o.record.batch_id: canonical(o) for o in outlooks}
        said["verdicts"] = {topic: json.loads(text) for topic, text in published.items()}
        said["messages"] = canonical([sent, service.notifier.waiting])
        batches = store.all(find("BatchRecord"))
        said["kept"] = canonical({b.batch_id: store.assessments(b.batch_id) for b in batches})
        said["readings"] = canonical({b.batch_id: find("readings_csv")(b.batch_id).splitlines() for b in batches})
        feeds = {name: find("calendar_text")(name) for name in ("cellar", *(b.batch_id for b in batches), "none")}
        said["feeds"] = canonical(feeds)
        said["pages"] = _pages()
        find("set_service")(None)
    said["commands"] = _commands(folder)
    return said


def _filled(store: Any, folder: Path) -> tuple[Any, list[Any]]:
    cellar = find("demo_cellar")(NOW, 7)
    find("enter")(store, cellar)
    mine = store.preferences()
    mine = dataclasses.replace(
        mine, time_zone="Europe/Lisbon", calendar_token="told", notify_urls=("json://localhost/nobody",)
    )
    store.save(mine)
    for device in cellar.devices:
        reports = []
        for sample in device.samples(datetime(1971, 1, 1, tzinfo=UTC), NOW):
            topic = f"tunroom/report/{device.device_id}"
            reports += find("decode")(topic, find("payload")(sample), received_at=sample.measured_at).reports
        store.keep(reports)
    sent: list[Any] = []
    line = SimpleNamespace(
        lifeless=lambda: None,
        status=lambda: SimpleNamespace(connected=True, queued=0, problem=None),
        listen_to=lambda _filters: None,
    )
    notifier = find("Notifier")(store, send=lambda *message: sent.append(message) is None)
    settings = find("load")(None, folder, {})
    outlooks = find("Outlooks")(store)
    service = find("Service")(settings, store, find("Pipeline")(store), line, outlooks, notifier)
    never = SimpleNamespace(wait=lambda _s=0.0: False, is_set=lambda: False, set=lambda: None)
    find("look_back")(service, NOW, never, never)
    return service, sent


def _pages() -> dict[str, Any]:
    """Every page, and every address that one of them leads to."""
    module, name = place("run")
    said = {"whole": _shown(f"import {module}\n{module}.{name}()", {})}
    pages, screen = place("PAGES"), place("screen")
    waiting = [entry.path for entry in find("PAGES")]
    while waiting:
        address = waiting.pop(0)
        path, _, query = address.partition("?")
        script = (
            f"import {pages[0]}, {screen[0]}\n"
            f"[entry] = [e for e in {pages[0]}.{pages[1]} if e.path == {path!r}]\n"
            f"{screen[0]}.{screen[1]}(entry.show)()\n"
        )
        asked = dict(part.split("=", 1) for part in query.split("&") if part)
        said[address] = _shown(script, asked)
        links = re.findall(r'data-go=\\*"([^"\\]+)', json.dumps(said[address], ensure_ascii=False))
        waiting += sorted({html.unescape(link) for link in links} - {*said, *waiting})
    return said


def _shown(script: str, query: Mapping[str, str]) -> Any:
    app = AppTest.from_string(script, default_timeout=120)
    for name, value in query.items():
        app.query_params[name] = value
    app.run()
    if app.exception:
        raise SystemExit(f"a page failed: {[e.value for e in app.exception]}")
    return [_node(child) for child in app._tree.children.values()]


_DROPPED = {"id", "url", "element_id", "deferred_file_id", "page_script_hash", "script_hash"}
"""Numbers of Streamlit's own, made from where a page's code stands."""


def _node(node: Any) -> Any:
    proto = getattr(node, "proto", None)
    told = MessageToDict(proto, preserving_proto_field_name=True) if proto is not None else {}
    shown = {"is": node.type, **_cleaned(told)}
    if children := getattr(node, "children", None):
        shown["holds"] = [_node(child) for child in children.values()]
    return shown


def _cleaned(told: Any) -> Any:
    if isinstance(told, dict):
        return canonical({k: _cleaned(v) for k, v in told.items() if k not in _DROPPED})
    if isinstance(told, list):
        return canonical([_cleaned(each) for each in told])
    if isinstance(told, str) and told[:1] in ("{", "["):
        with contextlib.suppress(ValueError):
            return canonical(json.loads(told))
    return canonical(told)


def _commands(folder: Path) -> dict[str, Any]:
    logs = ROOT / "sample_data" / "logs"
    canonical.places[str(logs)] = "<logs>"
    ale = [
        str(logs / "invented-ale-awaiting-hops.csv"),
        "--original-gravity",
        "1.050",
        "--pitched",
        "2026-03-12T14:00Z",
    ]
    stalled = [str(logs / "invented-ale-stalled.csv"), "--original-gravity", "1.068", "--pitched", "2026-03-13T07:00Z"]
    creeping = [str(logs / "invented-ale-creeping.csv"), "--original-gravity", "1.051", "--drink", "ale"]
    creeping += ["--pitched", "2026-03-10T02:00Z", "--event", "dry hop=2026-03-18T08:00Z"]
    good, bad = folder / "good.json", folder / "bad.json"
    facts = {"volume_l": 19, "original_gravity_sg": 1.05, "final_gravity_sg": 1.01, "carbonation_volumes": 2.4}
    facts |= {"warmest_c": 20, "package": "bottle", "bottle_rating_kpa": 900, "drink": "ale"}
    good.write_text(json.dumps(facts))
    bad.write_text(json.dumps({"volume": 19, "ph": 9}))
    messages = ('{"gravity_sg": 1.012, "temperature_c": 19}', '{"gravity_sg": "1.012"}', '{"gravity": 1012}', "nothing")
    calls: list[list[str]] = [
        *([name, "--help"] for name in ("assess", "sheet", "plan", "import", "export", "check", "decode", "serve")),
        ["--help"],
        *(["assess", *log, *more] for log in (ale, stalled, creeping) for more in ([], ["--json"])),
        ["assess", *ale, "--time-zone", "Mars"],
        ["assess", str(folder / "nothing.csv")],
        *(["sheet", "--input", str(path), *more] for path in (good, bad) for more in ([], ["--json"])),
        *(["decode", "--topic", "tunroom/report/kelp-1", "--payload", text] for text in messages),
        ["check", "--data", str(folder)],
        *(
            ["plan", name, "--data", str(folder), *more]
            for name in ("Ferry ale", "nobody")
            for more in ([], ["--json"])
        ),
    ]
    return {" ".join(["tunroom", *map(str, map(canonical, call))]): canonical(_called(call)) for call in calls}


def _called(arguments: list[str]) -> dict[str, Any]:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            status = find("main")(arguments)
        except SystemExit as stop:
            status = stop.code
    return {"status": status, "out": out.getvalue(), "err": err.getvalue()}
