"""Names in pictures: whatever a person types shows as it was typed, in every text of every figure."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from typing import Any

import plotly.graph_objects as go
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.calibration import inclination_curve
from analysis.yeast_comparison import QUANTITIES
from dashboard import context
from dashboard.charts import base, calendar_figure, history_figure, literal
from dashboard.charts.batch import batch_figure
from dashboard.charts.calibration import curve_figure
from dashboard.queries import finished_batches, queries
from dashboard.screens.yeasts import charts as yeast_charts
from dashboard.wording import voice_of
from ingest.model import AssessmentRecord, Device, EventRecord, Preferences, Vessel
from tests.dashboard.conftest import NOW, Cellar, put_batch

NAMES = (
    "<b>x</b> &lt;i&gt;",
    "%{x} %{customdata[0]}",
    '<a href="https://example.org">y</a>',
    "$x^2$ <extra>",
    "<br>{a}",
)
OWN_TAGS = re.compile(r"<br>|<extra></extra>")
OWN_BLANKS = re.compile(r"%\{(?:x\|[^}]*|x(?::[^}]*)?|y(?::[^}]*)?|text|customdata(?:\[\d\])?)\}")


def texts(node: Any) -> Iterator[str]:
    if isinstance(node, dict):
        for each in node.values():
            yield from texts(each)
    elif isinstance(node, list):
        for each in node:
            yield from texts(each)
    elif isinstance(node, str):
        yield node


def seen(figure: go.Figure) -> str:
    """All its texts as a reader meets them; no tag and no blank in them but the picture's own."""
    parts = []
    for text in texts(json.loads(figure.to_json())):
        bare = OWN_BLANKS.sub("", OWN_TAGS.sub(" ", text))
        assert "<" not in bare, text
        assert "%{" not in bare, text
        assert "$" not in bare, text
        parts.append(html.unescape(bare))
    return "\n".join(parts)


@pytest.fixture(scope="module")
def hostile() -> Iterator[Cellar]:
    cellar = Cellar()
    store = cellar.store
    for n, (days, ended) in enumerate(((3.0, 0), (32.0, 20), (33.0, 20), (34.0, 20), (35.0, 20)), start=1):
        over: dict[str, Any] = {"ended_at": NOW - timedelta(days=ended)} if ended else {}
        record = put_batch(store, n, f"{n} {NAMES[n - 1]}", days, yeast=NAMES[n % 2], **over)
        vessel, device = store.get(Vessel, record.vessel_id), store.get(Device, f"float-{n}")
        assert vessel is not None
        assert device is not None
        store.save(replace(vessel, name=NAMES[n % 5]))
        store.save(replace(device, name=NAMES[n % 5]))
        if over:
            at = NOW - timedelta(days=20, hours=1)
            store.save(EventRecord(batch_id=record.batch_id, kind="package", at=at))
        else:
            for note in NAMES:
                at = NOW - timedelta(hours=2)
                store.save(EventRecord(batch_id=record.batch_id, kind="note", at=at, note=note))
    yield cellar
    store.close()


def test_the_calendar_shows_the_names_of_vessel_and_batch(hostile: Cellar) -> None:
    say = voice_of(Preferences(), NOW)
    outlooks = [hostile.outlooks.of(r.batch_id) for r in hostile.store.active_batches()]
    told = seen(calendar_figure(outlooks, say, Preferences(), "light"))
    assert f"{NAMES[1]} (1 {NAMES[0]})" in told


def test_the_curve_shows_what_was_noted(hostile: Cellar) -> None:
    say = voice_of(Preferences(), NOW)
    [record] = hostile.store.active_batches()
    outlook = hostile.outlooks.of(record.batch_id)
    assert outlook is not None
    told = seen(batch_figure(queries.curve(outlook, base.View(), say.now, None), say))
    for name in NAMES:
        assert name in told


def test_the_yeasts_show_their_names_and_those_of_their_batches(hostile: Cellar) -> None:
    context.set_service(hostile.service)
    try:
        batches = finished_batches.finished()
    finally:
        context.set_service(None)
    yeasts = sorted({b.outcome.yeast for b in batches})
    assert yeasts == sorted(NAMES[:2])
    told = seen(yeast_charts.courses_figure(batches, yeasts, "light", 2))
    for each in batches:
        assert each.outcome.name in told
        assert each.outcome.yeast in told
    [comparison] = finished_batches.comparisons(batches)
    for quantity in QUANTITIES:
        told = seen(yeast_charts.differences_figure(comparison, quantity, "light"))
        assert f"{comparison.differences[0].first} less {comparison.differences[0].second}" in told


def test_pictures_without_names_hold_none() -> None:
    say = voice_of(Preferences(), NOW)
    points = ((25.0, 1.0), (40.0, 1.03), (52.0, 1.06))
    assert "inclination" in seen(curve_figure(inclination_curve(points), points, 41.0, say, "light"))
    made = [NOW - timedelta(hours=n) for n in range(3)]
    records = [
        AssessmentRecord(
            batch_id="b", made_at=at, phase="active", finished=False, stalled=False, hold_met=False,
            finish_p10=NOW, finish_p50=NOW, finish_p90=NOW,
        )
        for at in made
    ]  # fmt: skip
    assert "said on" in seen(history_figure(records, say, "light"))


@given(st.text())
def test_what_is_written_is_what_is_shown(text: str) -> None:
    """Numbered references are decoded once, after tags, formulas and blanks were looked for."""
    written = literal(text)
    assert not re.search(r"[<>$%{}]", written)
    assert re.sub(r"&#(\d+);", lambda found: chr(int(found[1])), written) == text
