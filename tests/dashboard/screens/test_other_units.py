"""Who chose other units meets no unit of the first ones: on no screen, in no picture, in no refusal."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from google.protobuf.json_format import MessageToDict
from streamlit.testing.v1 import AppTest

from dashboard import context
from dashboard.screens.how_it_works import glossary
from dashboard.screens.packaging import inputs
from dashboard.screens.sensors import first_steps
from dashboard.screens.set_up import cellar as cellar_form
from dashboard.screens.set_up import import_preview
from ingest.errors import EntryError
from ingest.model import (
    BatchRecord,
    CalibrationRecord,
    Device,
    EventRecord,
    HandSample,
    Placement,
    Preferences,
    Report,
    Vessel,
    Yeast,
)
from tests.dashboard.conftest import NOW, Cellar
from tests.dashboard.screens.test_hostile_names import SCREENS, nodes

CHOSEN = {
    "gravity_unit": "°Bx",
    "temperature_unit": "°F",
    "volume_unit": "US gal",
    "pressure_unit": "psi",
    "mass_unit": "oz",
}
FOREIGN = re.compile(
    r"\bSG\b|°C|°P|\bkPa\b|\bg/L\b|"  # names
    r"\d[ \u202f\u00a0](?:k?g|L|bar)\b|, (?:g|L|bar)$|"  # short ones only as a unit of a number or of an input
    r"\bpoints? (?:of|to go|above|below)|"
    r"(?<![\d.,])(?:0\.9[5-9]|1\.[01]\d)\d(?![\d.])",  # a specific gravity
    re.MULTILINE,
)
"""What belongs to the first units: their names, and a specific gravity."""

NAMES_OF_UNITS = {"SG", "°P", "°Bx", "kg/m³", "°C", "K", "kPa", "bar", "L", "g"}
"""The units offered for a choice name themselves."""
SCALE = re.compile(r"\d+/\d+ °[CF]")
"""What a hydrometer's scale was made for, as it is printed there."""
EXPLAINED = {
    *(text for title, text in glossary.GLOSSARY if title in ("Point", "°P", "°Bx")),
    *(words for _, words in cellar_form._UNITS.values() if words),
    *import_preview.LABELS.values(),
}
"""Definitions of the units themselves, and the columns of a file, which has them whatever the person likes."""


def fill(cellar: Cellar) -> dict[str, str]:
    """What people enter, beside the cellar's batches, each with a quantity."""
    store = cellar.store
    store.save(replace(store.preferences(), **CHOSEN))  # type: ignore[arg-type]
    first = cellar.batches["held"]
    vessel = store.get(Vessel, first.vessel_id)
    assert vessel is not None
    store.save(replace(vessel, volume_l=19.0))
    store.save(replace(first, volume_l=19.0))
    at = NOW - timedelta(days=2)
    store.save(EventRecord(batch_id=first.batch_id, kind="dry hop", at=at, amount_g=120.0))
    store.save(EventRecord(batch_id=first.batch_id, kind="feed", at=at, amount_g=1500.0, gravity_sg=1.031))
    store.save(HandSample(batch_id=first.batch_id, at=at, value=2.9, unit="°Bx", temperature_c=15.0))
    store.save(HandSample(batch_id=first.batch_id, at=at, value=7.2, unit="°Bx", instrument="refractometer"))
    angles = ((25.0, 1.000), (40.0, 1.030), (52.0, 1.060), (61.0, 1.090))
    store.save(Device(device_id="float-9", kind="float"))
    store.save(Placement(device_id="float-9", vessel_id=vessel.vessel_id, from_at=at))
    store.keep([Report(device_id="float-9", measured_at=at, received_at=at, inclination_deg=41.0, temperature_c=19.0)])
    store.save(CalibrationRecord(device_id="float-9", kind="inclination", points=angles))
    offsets = ((1.012, 1.010), (1.052, 1.051), (1.08, 1.079))
    store.save(CalibrationRecord(device_id="float-1", kind="gravity offset", points=offsets))
    warm = ((0.4, 0.0), (20.6, 20.0), (30.9, 30.0))
    store.save(CalibrationRecord(device_id="float-1", kind="temperature offset", points=warm))
    cellar.outlooks.of(first.batch_id)
    return {
        "first": first.batch_id,
        "vessel": vessel.vessel_id,
        "yeast": store.all(Yeast)[0].yeast_id,
        "ended": cellar.batches["ended Marrow"].batch_id,
        "stalled": cellar.batches["stalled"].batch_id,
    }


@pytest.fixture(scope="module")
def _other() -> Iterator[tuple[Cellar, dict[str, str]]]:
    cellar = Cellar().fill()
    yield cellar, fill(cellar)
    cellar.store.close()


@pytest.fixture
def other(_other: tuple[Cellar, dict[str, str]]) -> Iterator[dict[str, str]]:
    cellar, ids = _other
    context.set_service(cellar.service)
    yield ids
    context.set_service(None)


def texts(node: Any) -> Iterator[str]:
    """Every text in what a page sends to the browser, that of pictures and tags too."""
    if isinstance(node, dict):
        for name, value in node.items():
            if name not in ("id", "form_id", "element_id", "query_param_key", "url", "css_content", "js_content"):
                yield from texts(value)
    elif isinstance(node, list):
        for each in node:
            yield from texts(each)
    elif isinstance(node, str):
        if node[:1] in '{["':
            try:
                yield from texts(json.loads(node))
                return
            except ValueError:
                pass
        tags_told = re.sub(r'(?:aria-label|title|alt)="([^"]*)"', r">\1<", node)
        yield from map(html.unescape, re.split(r"<[^>]*>|\n", tags_told))


def shown(app: AppTest) -> list[str]:
    found = []
    for node in nodes(app._tree):
        proto = getattr(node, "proto", None)
        if proto is not None:
            found += [t.strip() for t in texts(MessageToDict(proto, preserving_proto_field_name=True)) if t.strip()]
    return found


def foreign(told: list[str]) -> list[str]:
    """What names a unit that was not chosen; a message to copy is in the units of its keys."""
    left = []
    for text in told:
        if text in NAMES_OF_UNITS or SCALE.fullmatch(text) or text in EXPLAINED or first_steps.EXAMPLE in text:
            continue
        if FOREIGN.search(text):
            left.append(text)
    return left


def page(screen: str, query: dict[str, str], ids: dict[str, str], **state: Any) -> AppTest:
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
            app.query_params[name] = ids.get(value, value)
    for name, value in state.items():
        app.session_state[name] = value
    app.run()
    assert not app.exception
    return app


@pytest.mark.parametrize(
    ("screen", "query"),
    [*SCREENS, ("batch", {"id": "stalled"}), ("packaging", {"id": "stalled"}), ("sensors", {"device": "float-10"})],
    ids=lambda v: v if isinstance(v, str) else "-".join(v.values()),
)
def test_no_screen_has_a_unit_that_was_not_chosen(other: dict[str, str], screen: str, query: dict[str, str]) -> None:
    told = shown(page(screen, query, other))
    assert foreign(told) == []


def test_the_search_finds_what_the_usual_units_say(other: dict[str, str]) -> None:
    """The same look at the same pages finds the first units where they are chosen."""
    store = context.store()
    store.save(replace(store.preferences(), **{n: getattr(Preferences(), n) for n in CHOSEN}))  # type: ignore[arg-type]
    try:
        for screen, query in (("today", {}), ("batch", {"id": "first"}), ("packaging", {"id": "first"})):
            assert foreign(shown(page(screen, query, other))), screen
    finally:
        store.undo()


def test_the_curve_has_the_chosen_units_on_its_axes(other: dict[str, str]) -> None:
    told = shown(page("batch", {"id": "first"}, other))
    assert "Apparent extract, °Bx" in told
    assert "Temperature, °F" in told


@pytest.mark.parametrize(
    ("key", "typed", "says"),
    [
        ("storage_c", 200.0, "200\u202f°F cannot be used"),
        ("bottle_rating_kpa", 1.0, "1\u202fpsi cannot be used"),
        ("volume_l", 0.001, "0.001\u202fUS gal cannot be used"),
        ("final_gravity_sg", 60.0, "60\u202f°Bx cannot be used"),
        ("expected_low", 500.0, "500\u202f% cannot be used"),
    ],
)
def test_what_cannot_be_used_is_said_back_as_it_was_typed(
    other: dict[str, str], key: str, typed: float, says: str
) -> None:
    page("packaging", {"id": "first"}, other)
    inputs.keep_changes(
        context.store(), other["first"], {"package": "bottle"}
    )  # a form asks only what its package needs
    app = page("packaging", {"id": "first"}, other)
    [field] = [n for n in app.number_input if n.key.endswith(f"/{key}")]
    app = field.set_value(typed).run()
    try:
        told = shown(app)
        assert any(says in text for text in told), [t for t in told if "cannot be used" in t]
        assert foreign(told) == []
    finally:
        context.store().undo()
        context.store().undo()


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        (lambda: Vessel(name="Vat", temperature_low_c=90.0), "194\u202f°F is out of range"),
        (lambda: Vessel(name="Vat", volume_l=0.01), "0.00264172\u202fUS gal is out of range"),
        (lambda: BatchRecord(name="x", vessel_id="v", pitched_at=NOW, original_gravity_sg=1.5), "°Bx is out of range"),
        (lambda: BatchRecord(name="x", vessel_id="v", pitched_at=NOW, expected_low=9.0), "900\u202f% is out of range"),
        (lambda: Vessel(name="Vat", temperature_low_c=20.0, temperature_high_c=10.0), "68\u202f°F to 50\u202f°F"),
    ],
)
def test_a_record_that_cannot_be_is_refused_in_the_persons_units(entry: Any, says: str) -> None:
    with pytest.raises(EntryError) as caught:
        entry()
    mine = Preferences(**CHOSEN).units  # type: ignore[arg-type]
    told = str(caught.value.in_units(mine))
    assert says in told
    assert not FOREIGN.search(told)
    assert FOREIGN.search(str(caught.value)) or "%" in told  # without a person, in the units of the model
