"""Where each thing is found, before and after a move, and what is said in a form that can be compared."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import importlib
import json
import math
import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import polars as pl

ROOT = Path(__file__).resolve().parents[2]
# Where each thing is found: module and name, tried in order.
PLACES: dict[str, tuple[str, ...]] = {
    "assess": ("analysis:assess",),
    "learn": ("analysis:learn",),
    "plan": ("analysis.planning:plan", "analysis.planning.plan:plan"),
    "steady_plan": ("analysis.planning:steady_plan", "analysis.planning.plan:steady_plan"),
    "Wishes": (
        "analysis.wishes:Wishes",
        "analysis.planning.constraints:Wishes",
        "analysis.planning.constraints:Constraints",
    ),
    "fields": ("analysis.sheet:fields", "analysis.packaging:fields", "analysis.packaging.fields:fields"),
    "sheet": ("analysis.sheet:sheet", "analysis.packaging:sheet", "analysis.packaging.sheet:sheet"),
    "SheetInputError": (
        "analysis.sheet:SheetInputError",
        "analysis.packaging:SheetInputError",
        "analysis.packaging.validation:SheetInputError",
    ),
    "Say": ("analysis.sheet_say:Say", "analysis.display_units:Say", "analysis.display_units:DisplayUnits"),
    "reason": ("analysis.wording:reason",),
    "caution": ("analysis.wording:caution",),
    "plan_facts": ("analysis.wording:plan_facts",),
    "as_json": ("analysis.wording.sheet_json:as_json",),
    "sheet_html": ("dashboard.sheet_html:sheet_html", "dashboard.sheet.html:sheet_html"),
    "sheet_text": ("dashboard.sheet_text:sheet_text", "dashboard.sheet.text:sheet_text"),
    "make_set": ("sample_data.scenarios:make_set",),
    "cuts_of": ("tests.benchmarks.forecast_cuts:cuts_of",),
    "demo_cellar": ("sample_data.cellar:demo_cellar", "sample_data.demo_model:demo_cellar"),
    "enter": ("dashboard.demo:enter", "dashboard.demo.demo:enter"),
    "payload": ("dashboard.demo:payload", "dashboard.demo.demo:payload"),
    "look_back": ("dashboard.demo_history:look_back", "dashboard.demo.backfill:look_back"),
    "decode": ("ingest.decode:decode", "ingest.decoding:decode", "ingest.decoding.decode:decode"),
    "Preferences": ("ingest.model:Preferences",),
    "BatchRecord": ("ingest.model:BatchRecord",),
    "Store": ("ingest.store:Store", "ingest.store.store:Store"),
    "DATABASE": ("ingest.service:DATABASE", "ingest.settings:DATABASE"),
    "Service": ("ingest.service:Service",),
    "Pipeline": ("ingest.pipeline:Pipeline",),
    "Outlooks": ("ingest.outlook:Outlooks", "ingest.monitoring:Outlooks", "ingest.monitoring.outlook:Outlooks"),
    "Notifier": ("ingest.notify:Notifier", "ingest.monitoring:Notifier", "ingest.monitoring.notifier:Notifier"),
    "Watcher": ("ingest.watcher:Watcher", "ingest.monitoring:Watcher", "ingest.monitoring.watcher:Watcher"),
    "load": ("ingest.settings:load", "ingest.settings.settings:load"),
    "set_service": ("dashboard.runtime:set_service", "dashboard.context:set_service"),
    "PAGES": ("dashboard.pages:PAGES", "dashboard.navigation:PAGES"),
    "run": ("dashboard.pages:run", "dashboard.navigation:run"),
    "screen": ("dashboard.components:screen", "dashboard.ui.components:screen"),
    "calendar_text": ("dashboard.downloads:calendar_text", "dashboard.web.calendar_routes:calendar_text"),
    "readings_csv": ("dashboard.questions:readings_csv", "dashboard.queries.queries:readings_csv"),
    "main": ("dashboard.__main__:main",),
}
PACKAGES = ("analysis", "ingest", "dashboard", "sample_data")
SHORT = 24
"""Longer rows of numbers are kept as their digest and this many of them."""


def place(name: str) -> tuple[str, str]:
    """The module and the name under which a thing is found in this tree."""
    for candidate in PLACES[name]:
        module, _, attribute = candidate.partition(":")
        try:
            found = getattr(importlib.import_module(module), attribute, None)
        except ModuleNotFoundError as error:
            if error.name is None or not f"{module}.".startswith(f"{error.name}."):
                raise
            continue
        if found is not None and not isinstance(found, ModuleType):
            return module, attribute
    raise SystemExit(f"{name} is at none of: {', '.join(PLACES[name])}. Add its place to PLACES.")


def find(name: str) -> Any:
    """The thing itself."""
    module, attribute = place(name)
    return getattr(importlib.import_module(module), attribute)


class Canonical:
    """Turns anything into JSON that is the same wherever and whenever the same was said."""

    def __init__(self) -> None:
        self.places: dict[str, str] = {}
        """Text that differs from call to call, such as folders, and what stands for it."""

    def __call__(self, thing: Any) -> Any:
        """Plain dicts, lists, texts and numbers."""
        if thing is None or isinstance(thing, bool):
            return thing
        if isinstance(thing, np.generic):
            return self(thing.item())
        if isinstance(thing, int):
            return int(thing)
        if isinstance(thing, float):
            return rounded(thing)
        if isinstance(thing, str):
            return self._text(thing)
        if isinstance(thing, bytes):
            return self._text(thing.decode("utf-8", "backslashreplace"))
        if isinstance(thing, datetime | date):
            return thing.isoformat()
        if isinstance(thing, timedelta):
            return f"{thing.total_seconds():.6f} s"
        if isinstance(thing, pl.DataFrame):
            return {"height": thing.height, "columns": {n: self(thing[n].to_list()) for n in thing.columns}}
        if isinstance(thing, np.ndarray):
            return {"shape": list(thing.shape), "values": self(thing.ravel().tolist())}
        if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
            return {f.name: self(getattr(thing, f.name)) for f in dataclasses.fields(thing)}
        if isinstance(thing, Mapping):
            if {"dtype", "bdata"} <= set(thing):  # numbers of a figure, packed
                return self(np.frombuffer(base64.b64decode(thing["bdata"]), dtype=thing["dtype"]))
            return {self._text(str(k)): self(v) for k, v in thing.items()}
        if isinstance(thing, set | frozenset):
            return sorted((self(each) for each in thing), key=json.dumps)
        if isinstance(thing, Sequence):
            return self._row([self(each) for each in thing])
        return self._text(repr(thing))

    def _row(self, values: list[Any]) -> Any:
        if len(values) <= SHORT or any(isinstance(v, dict | list) for v in values):
            return values
        digest = hashlib.sha256(json.dumps(values).encode()).hexdigest()
        some = [values[round(k * (len(values) - 1) / (SHORT - 1))] for k in range(SHORT)]
        return {"count": len(values), "digest": digest, "some": some}

    def _text(self, text: str) -> str:
        for found, name in self.places.items():
            text = text.replace(found, name)
        return re.sub(r"0x[0-9a-f]{8,}", "0x…", text)


def rounded(number: float) -> float | str:
    """Ten significant digits; what is no number as its name, since JSON has none for it."""
    return float(f"{number:.10g}") if math.isfinite(number) else str(number)


canonical = Canonical()
