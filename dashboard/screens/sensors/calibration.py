"""Calibration of one device: its curve or offset, from when it holds, and the hand samples that re-anchor it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Final

import streamlit as st

from analysis.calibration import inclination_curve, offset
from analysis.display_units import Quantity
from analysis.errors import CalibrationError
from analysis.wording import Voice
from dashboard import access, context
from dashboard.charts import calibration
from dashboard.templates import fill
from dashboard.ui import Form, Scale, components, forms, plain
from ingest.errors import EntryError
from ingest.model import BatchRecord, CalibrationKind, CalibrationRecord, Device, HandSample
from ingest.store import DeviceStatus

Point = tuple[float, float]

_TITLES: Final[dict[CalibrationKind, str]] = {
    "inclination": "Inclination to gravity",
    "gravity offset": "Gravity offset",
    "temperature offset": "Temperature offset",
}
_DEGREES: Final = Scale("°", 0.1, "%.2f")
_FIRST_ROWS: Final[dict[CalibrationKind, int]] = {"inclination": 4, "gravity offset": 1, "temperature offset": 2}
_HOW: Final[dict[CalibrationKind, str]] = {
    "inclination": "Let the float come to rest in water, then in sugar solutions up to your strongest wort or must, at "
    "{room}. For each, enter what it says and what a hydrometer reads.",
    "gravity offset": "What the float said, and what a hydrometer read at the same time.",
    "temperature offset": "Hold it in well stirred ice water, which is at {ice}, then beside a thermometer you trust. "
    "For each, enter what it says and what is true.",
}

_ASKED: Final[dict[CalibrationKind, str]] = {
    "inclination": "gravity",
    "gravity offset": "hydrometer",
    "temperature offset": "true",
}
"""What is asked of a point beside what the device says. Short, as the two stand side by side on a phone."""

_LEGEND: Final = fill(
    '<p class="legend">'
    '<span><svg viewBox="0 0 16 12" width="16" height="12" aria-hidden="true">'
    '<path class="ink" d="M8 0L14 6L8 12L2 6Z"/></svg> your points</span>'
    '<span><svg viewBox="0 0 16 12" width="16" height="12" aria-hidden="true">'
    '<path class="line" d="M0 6H16"/></svg> curve, with its standard error</span>'
    '<span><svg viewBox="0 0 16 12" width="16" height="12" aria-hidden="true">'
    '<path class="line" stroke-dasharray="3 2" d="M0 6H16"/></svg> beyond the points</span></p>'
)


def show(device: Device, word: DeviceStatus | None, say: Voice) -> None:
    """Everything about this device's calibration."""
    known = context.store().all(CalibrationRecord, device_id=device.device_id)
    _known(device, known, say)
    kinds: list[CalibrationKind] = ["temperature offset"]
    if device.kind == "float":
        speaks_inclination = word is not None and word.inclination_deg is not None
        kinds = [*(["inclination"] if speaks_inclination or not word else []), "gravity offset", *kinds]  # type: ignore[list-item]
    for kind in kinds:
        with st.expander(f"{_TITLES[kind]}: {'add another' if any(c.kind == kind for c in known) else 'add'}"):
            _editor(device, kind, known, word, say)
    if device.kind == "float":
        _anchors(device, say)


def _since(record: CalibrationRecord) -> datetime:
    """From when it holds; one that holds always comes first."""
    return record.from_at or datetime.min.replace(tzinfo=UTC)


def gravity_now(word: DeviceStatus) -> float | None:
    """What the curve that holds now makes of the newest inclination, before hand samples and temperature."""
    known = context.store().all(CalibrationRecord, device_id=word.device_id, kind="inclination")
    holding = [c for c in known if c.from_at is None or c.from_at <= word.measured_at]
    newest = max(holding, key=_since, default=None)
    if newest is None or word.inclination_deg is None:
        return None
    try:
        return float(inclination_curve(newest.points).gravity_sg(word.inclination_deg))
    except CalibrationError:
        return None


def _known(device: Device, known: Sequence[CalibrationRecord], say: Voice) -> None:
    if not known:
        if device.kind == "float":
            st.html('<p class="quiet">None: what it sends as gravity is taken as it is.</p>')
        return
    for record in sorted(known, key=lambda c: (c.kind, _since(c))):
        with st.container(horizontal=True, vertical_alignment="center"):
            since = f"from {say.exact(record.from_at)}" if record.from_at else "always"
            st.html(
                fill(
                    "<p><b>{{ title }}</b>, {{ since }}, {{ record.points | length }} points. "
                    '<span class="quiet">{{ quality }} {{ record.note }}</span></p>',
                    title=_TITLES[record.kind],
                    since=since,
                    record=record,
                    quality=_quality(record, say),
                )
            )
            forms.remove_button(
                "Remove",
                f"remove {record.calibration_id}",
                lambda record=record: context.store().remove(record),  # type: ignore[misc]
                "The calibration is removed; the readings are read anew without it.",
            )


def _quality(record: CalibrationRecord, say: Voice) -> str:
    """How good it is, in a sentence."""
    try:
        if record.kind == "inclination":
            return calibration.in_words(inclination_curve(record.points), None, say)
        return _offset_words(record.kind, record.points, say)
    except CalibrationError as error:
        return f"{error.in_units(say.units)}."


def _offset_words(kind: CalibrationKind, points: Sequence[Point], say: Voice) -> str:
    if kind == "inclination":
        return ""
    found = offset(kind, points)
    said = points[-1][0]
    true = float(found.at(said))
    text = say.gravity if kind == "gravity offset" else say.temperature
    words = f"Where it says {text(said)} it is {text(true)}."
    if found.standard_error is not None:
        off = found.standard_error
        error = say.units.gravity_error(off, true) if kind == "gravity offset" else say.units.warmer_by(off, 2)
        words += f" Standard error {error}."
    return words


def _editor(
    device: Device, kind: CalibrationKind, known: Sequence[CalibrationRecord], word: DeviceStatus | None, say: Voice
) -> None:
    """Points row by row; what they make is shown at once."""
    st.html(
        fill(
            '<p class="quiet">{{ how }}</p>',
            how=_HOW[kind].format(room=say.units.about(20.0, "temperature"), ice=say.units.about(0.0, "temperature")),
        )
    )
    name = f"calibrate {device.device_id} {kind}"
    current = max((c for c in known if c.kind == kind), key=_since, default=None)
    newest = forms.opened(name, current)
    start = newest.points if newest is not None and kind == "inclination" else ()
    form = forms.loose(name, say, shows=newest)
    points, half = _points(form, kind, start)
    now = _now(kind, word)
    error = _picture(form, kind, points, now, say)
    if half:
        error = EntryError("points", "a point is only half filled in", "Complete it, or empty it.")
    form.place("points")
    if error is not None and (points or half):
        form.wrong(error)
    left, right = st.columns(2)
    with left:
        from_at = form.moment("from_at", "Holds from (empty: always, for the past too)", None)
    with right:
        note = form.text("note", "Note", "")
    if tuple(points) != tuple(start) or half or from_at is not None or note:
        forms.not_saved()
    unusable = error is not None or not points
    if forms.tapped("Save the calibration", form.key("save"), type="primary", disabled=unusable):
        record = CalibrationRecord(
            device_id=device.device_id, kind=kind, from_at=from_at, points=tuple(points), note=note
        )

        def enter() -> None:
            problem = "changed meanwhile in another window: it was calibrated there, as the list above says"
            forms.unless_changed(name, current, problem)
            context.store().save(record)

        form.keep(enter, f"{_TITLES[kind]} is calibrated; its readings are read anew.")


def _now(kind: CalibrationKind, word: DeviceStatus | None) -> float | None:
    if word is None:
        return None
    return {
        "inclination": word.inclination_deg,
        "gravity offset": word.gravity_sg,
        "temperature offset": word.temperature_c,
    }[kind]


def _points(form: Form, kind: CalibrationKind, start: Sequence[Point]) -> tuple[list[Point], bool]:
    """The points that are complete, and whether one is only half there."""
    rows_key = form.key("rows")
    rows = st.session_state.setdefault(rows_key, max(_FIRST_ROWS[kind], len(start) + 1 if start else 0))
    points: list[Point] = []
    half = False
    pairs = st.container(key=f"pairs {kind}")
    for n in range(rows):
        said, true = start[n] if n < len(start) else (None, None)
        if kind == "temperature offset" and n == 0 and not start:
            true = 0.0
        left, right = pairs.columns(2)
        with left:
            a = form.number(
                f"said {n}", f"Point {n + 1}: it says", said, _DEGREES if kind == "inclination" else _unit(kind)
            )
        with right:
            b = form.number(f"true {n}", f"Point {n + 1}: {_ASKED[kind]}", true, _unit(kind))
        if a is not None and b is not None:
            points.append((a, b))
        elif a is not None or (b is not None and b != true):
            half = True
    if st.button("Another point", key=form.key("more"), type="tertiary"):
        st.session_state[rows_key] = rows + 1
        st.rerun()
    return points, half


def _unit(kind: CalibrationKind) -> Quantity:
    return "temperature" if kind == "temperature offset" else "gravity"


def _picture(
    form: Form, kind: CalibrationKind, points: list[Point], now: float | None, say: Voice
) -> EntryError | None:
    """What the points make, or why they make nothing."""
    if not points:
        return None
    try:
        if kind != "inclination":
            st.html(fill('<p role="status">{{ words }}</p>', words=_offset_words(kind, points, say)))
            return None
        curve = inclination_curve(points)
    except CalibrationError as error:
        return EntryError("points", error.in_units(say.units))
    figure = calibration.curve_figure(curve, points, now, say, components.edition())
    text = calibration.in_words(curve, now, say)
    st.plotly_chart(figure, key=form.key("curve"), config={"displayModeBar": False}, theme=None, alt=text)
    components.markup(_LEGEND, key=form.key("legend"))
    st.html(fill('<p role="status">{{ words }}</p>', words=text))
    return None


def _anchors(device: Device, say: Voice) -> None:
    """The hand samples that re-anchor this float, each of which can be let go."""
    store = context.store()
    active = [
        b for b in store.active_batches() if any(device.device_id == each for each, _, _ in store.device_stays(b))
    ]
    found = [(b, s) for b in active for s in store.all(HandSample, batch_id=b.batch_id)]
    if not found:
        return
    st.html(
        "<p><b>Hand samples</b> <span class='quiet'>A ticked one moves this float's readings from then on.</span></p>"
    )
    for batch, sample in sorted(found, key=lambda pair: pair[1].at, reverse=True):
        _anchor(batch, sample, say)


def _anchor(batch: BatchRecord, sample: HandSample, say: Voice) -> None:
    value = f"{sample.value:.3f}" if sample.unit == "SG" else f"{sample.value:g}"
    label = f"{say.exact(sample.at)}, {batch.name}: {value} {sample.unit}"
    key = f"anchor {sample.sample_id} {sample.anchors_float}"
    with forms.one_tap(key, "stretch"):
        ticked = st.checkbox(plain(label), sample.anchors_float, key=key, disabled=access.only_looks())
    if ticked != sample.anchors_float:
        changed = replace(sample, anchors_float=ticked)
        error = components.attempt(
            lambda: context.store().save(changed),
            f"The float {'is re-anchored on' if ticked else 'is no longer anchored on'} that sample.",
        )
        if error is None:
            st.rerun()
        components.beside(error, error.field)
