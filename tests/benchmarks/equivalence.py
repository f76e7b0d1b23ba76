"""What the project says, written down so that two versions of it can be compared word by word.

``python tests/benchmarks/equivalence.py dump FILE`` judges looks of two simulated cellars, works out random packaging
sheets, and renders every page of the demo at one fixed time (``pip install time-machine`` first);
``compare OLD NEW`` prints each difference. For changes that must change nothing: run it before and after. It sees
numbers to ten significant digits and every word, but only in the situations that it draws.
"""

from __future__ import annotations

import argparse
import dataclasses
import gc
import hashlib
import json
import random
import re
import sys
from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime, timedelta
from enum import Enum
from importlib import import_module
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import polars as pl

ROOT = Path(__file__).resolve().parents[2]
sys.path[0] = str(ROOT)

AT = datetime(2031, 5, 14, 9, 20, tzinfo=UTC)
SETS = ((54, "sugars"), (55, "tails"))
EARLIER = 16
_RANDOM_ID = re.compile(r"(?<![0-9a-f])[0-9a-f]{32}(?![0-9a-f])")
_FORM_STATE = re.compile(r"(?<=/\d\.)[0-9a-f]{10}(?=/)")
_MEMORY_ADDRESS = re.compile(r"0x[0-9a-f]{6,}")


def of(*places: str) -> Any:
    """The first of ``module:name`` that is there: a version of the project may keep a thing elsewhere."""
    problem: Exception | None = None
    for place in places:
        module, _, name = place.partition(":")
        try:
            found = import_module(module)
            return getattr(found, name) if name else found
        except (ImportError, AttributeError) as error:
            problem = error
    raise ImportError(f"none of {places}") from problem


def plain(value: Any) -> Any:
    """The value in terms of JSON, floats to ten digits."""
    if isinstance(value, Enum):
        return plain(value.value)
    if value is None or isinstance(value, bool | str | int):
        return value
    if isinstance(value, float | np.floating):
        return f"{float(value):.10g}"
    if isinstance(value, np.integer | np.bool_):
        return value.item()
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, timedelta):
        return value.total_seconds()
    if isinstance(value, pl.DataFrame):
        columns = {c: [plain(v) for v in value[c].to_list()] for c in value.columns}
        digest = hashlib.sha256(json.dumps(columns, sort_keys=True).encode()).hexdigest()
        return {"rows": value.height, "columns": value.columns, "digest": digest}
    if isinstance(value, np.ndarray):
        return [plain(v) for v in value.tolist()]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, set | frozenset):
        return sorted(str(plain(v)) for v in value)
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    return str(value)


# --- looks


def looks(count: int) -> Iterator[tuple[str, Any]]:
    """Assessments and plans of looks at runs of the tuning sets, with what earlier batches taught."""
    load_set = of("tests.benchmarks.forecast_cuts:load_set")
    learn, assess = of("analysis:learn"), of("analysis:assess")
    plan = of("analysis.planning.plan:plan", "analysis.planning:plan")
    constraints = of("analysis.planning:Constraints", "analysis.planning:Wishes")
    rng = random.Random(3)
    for seed, family in SETS:
        runs, earlier = load_set(seed, family)
        priors = learn(earlier[:EARLIER])
        yield f"look/{family}/priors", json.loads(priors.to_json())
        each = max(1, count // len(SETS) // 4)
        for run in rng.sample(runs, each):
            previous = None
            for k, share in enumerate(sorted(rng.random() for _ in range(4))):
                hour = 12 + share * (run.end_h - 12)
                batch = run.known(hour)
                now = run.when(hour)
                said = assess(run.readings(hour), batch, now=now, priors=priors if k % 4 else None, previous=previous)
                previous = said
                yield f"look/{family}/{run.name}/{k}/assessment", plain(said)
                wishes = constraints(
                    destination=rng.choice(["bottle", "keg", "undecided"]), dry_hops=rng.choice([0, 1, 2, None])
                )
                yield f"look/{family}/{run.name}/{k}/plan", plain(plan(said, batch, wishes, now=now))


# --- sheets


def sheets(count: int) -> Iterator[tuple[str, Any]]:
    """Random sheets, usable ones and others."""
    fields = of("analysis.packaging:fields", "analysis.sheet:fields")()
    sheet = of("analysis.packaging:sheet", "analysis.sheet:sheet")
    text = of("dashboard.sheet.text:sheet_text", "dashboard.sheet_text:sheet_text")
    html = of("dashboard.sheet.html:sheet_html", "dashboard.sheet_html:sheet_html")
    units = of("analysis.display_units:DisplayUnits", "analysis.display_units:Say", "analysis.sheet_say:Say")
    preferences = of("ingest.model:Preferences")
    rng = random.Random(5)
    for k in range(count):
        given = drawn(fields, rng)
        say = units(rng.choice(["SG", "°P"]), rng.choice(["°C", "°F"]), rng.choice(["kPa", "bar", "psi"]))
        try:
            answer = sheet(given, say=say)
        except ValueError as error:
            yield f"sheet/{k}/refused", [str(e) for e in getattr(error, "all", [error])]
            continue
        yield f"sheet/{k}/answer", plain(answer if isinstance(answer, dict) else answer.as_json())
        people = preferences(
            gravity_unit=say.gravity_unit, temperature_unit=say.temperature_unit, pressure_unit=say.pressure_unit
        )
        yield f"sheet/{k}/text", text(answer, people)
        yield f"sheet/{k}/html", html(given, answer, title="A batch", preferences=people)


def drawn(fields: Any, rng: random.Random) -> dict[str, Any]:
    """One draw over the sheet's inputs, mostly in the usual range."""
    typical = {
        "original_gravity_sg": (1.035, 1.11), "final_gravity_sg": (0.995, 1.02), "volume_l": (4, 40),
        "carbonation_volumes": (1.6, 3.6), "warmest_c": (2, 26), "storage_c": (10, 32),
        "bottle_rating_kpa": (300, 1200),
        "keg_rating_kpa": (300, 1000), "serving_c": (1, 20), "forced_test_sg": (0.994, 1.02),
        "lowest_plausible_sg": (0.99, 1.01), "remaining_fall_sg": (0, 0.004), "expected_low": (0.65, 0.75),
        "expected_high": (0.76, 0.9), "ph": (3, 4.5), "hop_creep_fall_sg": (0, 0.004),
    }  # fmt: skip
    given: dict[str, Any] = {}
    often = rng.random()
    for each in fields:
        if rng.random() > 0.25 + 0.7 * often:
            continue
        if each.kind == "number":
            low, high = typical.get(each.key, (each.low, each.high))
            value = rng.choice([low, high]) if rng.random() < 0.05 else rng.uniform(low, high)
            given[each.key] = each.high * 2 + 5 if rng.random() < 0.004 else round(value, 4)
        elif each.kind == "yes or no":
            given[each.key] = rng.random() < 0.75
        elif each.kind == "choice":
            given[each.key] = rng.choice(each.choices)
        elif each.kind == "shares":
            given[each.key] = {"Brindle": 2, "Osprey": round(rng.uniform(0, 3), 1)}
        else:
            given[each.key] = "a word"
    return given


# --- screens


def screens() -> Iterator[tuple[str, Any]]:
    """Every page of the demo at one moment, the calendar feed and the verdicts for the broker."""
    import time_machine

    with time_machine.travel(AT, tick=False):
        context, store, service = _cellar()
        pages = of("dashboard.navigation:PAGES", "dashboard.pages:PAGES")
        record = of("ingest.model:BatchRecord")
        queries: list[tuple[str, dict[str, str]]] = [(e.path, {}) for e in pages]
        for batch in store.all(record):
            queries += [("batch", {"id": batch.batch_id}), ("packaging", {"id": batch.batch_id})]
        queries += [("sensors", {"device": d}) for d in store.device_ids()]
        queries += [
            ("set-up", {"part": p}) for p in ("cellar", "vessels", "word", "health", "import", "yeasts", "batches")
        ]
        ids = _names_of_ids(store)
        for path, query in queries:
            for _ in range(2):  # what is drawn in the background is there the second time
                shown = _page(path, query)
            yield f"screen/{path}/{'&'.join(ids(v) for v in query.values())}", [ids(line) for line in _lines(shown)]
        routes = of("dashboard.web.calendar_routes", "dashboard.downloads")
        yield "feed", ids(re.sub(r"UID:\S+", "UID", (routes.calendar_text() or b"").decode()))
        message = of("ingest.monitoring.notifier:verdict_message", "ingest.notify:verdict_message")
        for batch in store.active_batches():
            topic, payload = message(service.outlooks.latest(batch.batch_id))
            yield f"verdict/{topic}", ids(payload.decode())
        context.set_service(None)
        store.close()


def _cellar() -> tuple[Any, Any, Any]:
    demo = of("dashboard.demo.demo", "dashboard.demo")
    context = of("dashboard.context", "dashboard.runtime")
    decode = of("ingest.decoding.decode:decode", "ingest.decode:decode")
    outlooks = of("ingest.monitoring.outlook:Outlooks", "ingest.outlook:Outlooks")
    notifier = of("ingest.monitoring.notifier:Notifier", "ingest.notify:Notifier")
    settings = of("ingest.settings.settings:load", "ingest.settings:load")
    store = of("ingest.store.store:Store", "ingest.store:Store").in_memory()
    told = of("sample_data.cellar:demo_cellar")(AT, 7)
    demo._local_zone = lambda: "Europe/Lisbon"
    demo.enter(store, told)
    for device in told.devices:
        reports: list[Any] = []
        for sample in device.samples(datetime(1971, 1, 1, tzinfo=UTC), AT):
            topic = f"tunroom/report/{device.device_id}"
            reports += decode(topic, demo.payload(sample), received_at=sample.measured_at).reports
        store.keep(reports)
    line = SimpleNamespace(
        status=lambda: SimpleNamespace(connected=True, queued=0, problem=None), listen_to=lambda _topics: None
    )
    kept = outlooks(store)
    service = of("ingest.service:Service")(
        settings(None, Path("unused"), {}), store, of("ingest.pipeline:Pipeline")(store), line, kept, notifier(store)
    )
    context.set_service(service)
    kept.learn()
    for batch in store.active_batches():
        kept.of(batch.batch_id, now=AT)
    gc.collect()
    return context, store, service


def _names_of_ids(store: Any) -> Any:
    """Random ids become the names of what they stand for."""
    names = {}
    for kind, key in (
        ("BatchRecord", "batch_id"), ("Vessel", "vessel_id"), ("Yeast", "yeast_id"), ("Placement", "placement_id"),
        ("EventRecord", "event_id"), ("HandSample", "sample_id"), ("CalibrationRecord", "calibration_id"),
    ):  # fmt: skip
        for k, one in enumerate(store.all(of(f"ingest.model:{kind}"))):
            names[getattr(one, key)] = f"{kind}-{k}-{getattr(one, 'name', '')}"
    token = store.preferences().calendar_token
    long_first = sorted(names, key=len, reverse=True)

    def replaced(text: str) -> str:
        for identity in long_first:
            text = text.replace(identity, names[identity])
        if token:
            text = text.replace(token, "TOKEN")
        text = re.sub(r"/feed/[\w-]+/", "/feed/TOKEN/", text)
        text = _FORM_STATE.sub("STATE", _RANDOM_ID.sub("ID", text))
        return _MEMORY_ADDRESS.sub("0x", text)

    return replaced


def _page(path: str, query: Mapping[str, str]) -> Any:
    from streamlit.testing.v1 import AppTest

    navigation = "from dashboard.navigation import PAGES"
    try:
        import_module("dashboard.navigation")
    except ImportError:
        navigation = "from dashboard.pages import PAGES"
    app = AppTest.from_string(
        f"{navigation}\n[e] = [e for e in PAGES if e.path == {path!r}]\ne.show()\n", default_timeout=120
    )
    for name, value in query.items():
        app.query_params[name] = value
    return app.run()


def _lines(shown: Any) -> list[str]:
    """Every word of a page in its order; figures by their numbers."""
    lines: list[str] = [f"EXCEPTION {e.value}" for e in shown.exception]
    for element in _leaves(shown._tree):
        proto = getattr(element, "proto", None)
        if proto is None:
            continue
        text = str(proto)
        spec = getattr(proto, "spec", None)
        if isinstance(spec, str) and spec.startswith("{"):
            text = "figure " + json.dumps(plain(json.loads(spec)), sort_keys=True)
        lines.append(f"{element.type}: {text}")
    return lines


def _leaves(block: Any) -> Iterator[Any]:
    for child in getattr(block, "children", {}).values():
        if getattr(child, "children", None):
            yield from _leaves(child)
        else:
            yield child


# --- the two commands


def dump(file: Path, look_count: int, sheet_count: int, *, with_screens: bool) -> None:
    """Write everything to one JSON file."""
    said: dict[str, Any] = {}
    parts: list[Iterator[tuple[str, Any]]] = [sheets(sheet_count)]
    if with_screens:
        parts.append(screens())
    parts.append(looks(look_count))
    for part in parts:
        for path, value in part:
            said[path] = value
    file.write_text(json.dumps(said, indent=0, ensure_ascii=False, sort_keys=True), encoding="utf-8")
    print(f"{len(said):,} answers in {file}")


def differences(path: str, old: Any, new: Any, names: Mapping[str, str]) -> Iterator[str]:
    """Where two answers differ."""
    if isinstance(old, dict) and isinstance(new, dict):
        old = {names.get(k, k): v for k, v in old.items()}
        for key in sorted({*old, *new}):
            if key not in old or key not in new:
                yield f"{path}/{key}: only in the {'new' if key in new else 'old'}"
            else:
                yield from differences(f"{path}/{key}", old[key], new[key], names)
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for k, (a, b) in enumerate(zip(old, new, strict=True)):
            yield from differences(f"{path}[{k}]", a, b, names)
    elif old != new:
        a, b = str(old), str(new)
        at = next((i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), min(len(a), len(b)))
        yield f"{path}:\n   old …{a[max(0, at - 60) : at + 120]!r}\n   new …{b[max(0, at - 60) : at + 120]!r}"


def compare(old: Path, new: Path, renamed: Mapping[str, str]) -> int:
    """Print every difference; 1 if there is any."""
    a, b = (json.loads(p.read_text(encoding="utf-8")) for p in (old, new))
    found = list(differences("", a, b, renamed))
    for line in found:
        print(line)
    print(f"{len(a):,} answers before, {len(b):,} after, {len(found):,} differences")
    return 1 if found else 0


def main() -> int:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    one = commands.add_parser("dump")
    one.add_argument("file", type=Path)
    one.add_argument("--looks", type=int, default=200)
    one.add_argument("--sheets", type=int, default=500)
    one.add_argument("--no-screens", action="store_true")
    two = commands.add_parser("compare")
    two.add_argument("old", type=Path)
    two.add_argument("new", type=Path)
    two.add_argument("--renamed", action="append", default=[], metavar="OLD=NEW")
    arguments = parser.parse_args()
    if arguments.command == "dump":
        dump(arguments.file, arguments.looks, arguments.sheets, with_screens=not arguments.no_screens)
        return 0
    return compare(arguments.old, arguments.new, dict(r.split("=", 1) for r in arguments.renamed))


if __name__ == "__main__":
    sys.exit(main())
