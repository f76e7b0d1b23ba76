"""One device: how it does, where it sits, what it is, how it is calibrated, what it said."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Final

import polars as pl
import streamlit as st

from analysis.display_units import THIN, number
from analysis.wording import Voice
from dashboard import context
from dashboard.queries import queries
from dashboard.screens.sensors import calibration, placement
from dashboard.templates import fill
from dashboard.ui import components, forms
from dashboard.wording import device as words_device
from ingest.model import DEVICE_KINDS, SITUATIONS, Device, Vessel
from ingest.store import DeviceStatus
from ingest.transfer import for_spreadsheets

_ROWS: Final = 12
_HEADINGS: Final = ["measured", "gravity", "inclination", "temperature", "battery", "signal"]
_LOOK_BACK: Final = timedelta(days=60)


def show(device_id: str) -> None:
    store, say = context.store(), queries.voice()
    st.html(fill("<p>{{ back }}</p>", back=components.link("sensors", "← All sensors")))
    device = store.get(Device, device_id)
    word = next((w for w in store.device_statuses() if w.device_id == device_id), None)
    if device is None and word is None:
        st.html('<h1 class="lead">There is no such device.</h1><p>It may have been removed.</p>')
        return
    device_status(device_id)
    if device is None:
        if word is not None:
            placement.take_up(word, say)
        _as_sent(device_id, say)
        return
    st.subheader("Where it sits")
    placement.stays(device, say)
    placement.move(device, say)
    st.subheader("Calibration", anchor="calibration")
    calibration.show(device, word, say)
    st.subheader("What it is")
    _facts(device, say)
    _as_sent(device_id, say)


@components.live
def device_status(device_id: str) -> None:
    """What it last said, and when."""
    store, say = context.store(), queries.voice()
    device = store.get(Device, device_id)
    word = next((w for w in store.device_statuses() if w.device_id == device_id), None)
    called = words_device.name_of(device_id, device)
    if word is None:
        st.html(components.lead(components.in_one_piece(called, [called])) + fill("<p>Never heard yet.</p>"))
        return
    vessel = store.get(Vessel, word.vessel_id) if word.vessel_id else None
    odd = words_device.troubles(word, say)
    says = words_device.sentence(word, vessel.name if vessel else None, say)
    facts = _cells(word, called, says, say)
    told = fill(
        '<p class="{% if odd %}wrong{% endif %}">{{ says }}</p>{% if silent %}<p>Look at its battery and at what '
        "passes its messages on. Do not open the vessel for it: silence says nothing about the fermentation.</p>"
        "{% endif %}"
        '<dl class="facts">{% for name, text in facts %}<div><dt>{{ name }}</dt><dd>{{ text }}</dd></div>'
        "{% endfor %}</dl>",
        odd=odd,
        says=says,
        silent=word.silent and odd,
        facts=facts,
    )
    st.html(components.lead(components.in_one_piece(called, [called])) + told)


def _cells(word: DeviceStatus, name: str, says: str, say: Voice) -> list[tuple[str, str]]:
    """Its facts, but for those that its `name` and what is said of it hold already."""
    cells: list[tuple[str, str]] = [("Kind", word.kind)]
    if name != word.device_id:
        cells.append(("Id", word.device_id))
    if word.gravity_sg is not None:
        cells.append(("Gravity, as sent", say.gravity(word.gravity_sg)))
    if word.inclination_deg is not None:
        cells.append(("Inclination", f"{number(word.inclination_deg, 1)}°"))
        if (gravity := calibration.gravity_now(word)) is not None:
            cells.append(("Gravity by its curve", say.gravity(gravity)))
    if word.temperature_c is not None:
        cells.append(("Temperature, as sent", say.temperature(word.temperature_c)))
    if words_device.battery(word):
        cells.append(("Battery", words_device.battery(word).removeprefix("battery ")))
    if word.signal_dbm is not None:
        cells.append(("Signal", words_device.signal(word.signal_dbm).replace(" signal", "")))
    if words_device.usual(word) and words_device.usual(word) not in says:
        cells.append(("Speaks", words_device.usual(word)))
    cells.append(("Last measured", say.exact(word.measured_at)))
    if word.time_flag in words_device.FLAG_WORDS:
        cells.append(("Clock", words_device.FLAG_WORDS[word.time_flag]))
    return cells


def _facts(device: Device, say: Voice) -> None:
    store = context.store()
    form_name = f"device {device.device_id}"
    device = forms.opened(form_name, device)
    with forms.entry(form_name, say, save="Save", shows=device) as form:
        left, right = st.columns(2)
        with left:
            name = form.text("name", "What you call it", device.name, placeholder=device.device_id)
            kind = form.choice("kind", "It is a", DEVICE_KINDS, device.kind, lambda k: words_device.KIND_WORDS[k])
        with right:
            situation = form.choice(
                "situation", "It sits", SITUATIONS, device.situation, lambda s: words_device.SITUATION_WORDS[s]
            )
            corrects = form.tick(
                "corrects_temperature",
                "It corrects for temperature itself",
                device.corrects_temperature,
                help="If so, we do not correct it a second time.",
            )
    if form.sent:
        changed = Device(
            device_id=device.device_id,
            kind=kind or device.kind,
            name=name,
            situation=situation or device.situation,
            corrects_temperature=corrects,
            first_seen_at=device.first_seen_at,
        )
        form.keep(lambda: store.save(changed, forms.based(form_name)), f"{name or device.device_id} is changed.")
    forms.remove_button(
        "Remove this device; its readings stay",
        f"remove {device.device_id}",
        lambda: store.remove(device),
        f"{device.name or device.device_id} is removed; its readings stay.",
    )


def _as_sent(device_id: str, say: Voice) -> None:
    """The newest readings as the device sent them, and all of them to take along."""
    store = context.store()
    with st.expander("What it said, as it said it"):
        sent = store.readings_as_sent(device_id, since=say.now - _LOOK_BACK)
        if sent.is_empty():
            st.html('<p class="quiet">Nothing in the last 60 days.</p>')
            return
        extra = _extra(sent)
        if extra:
            st.html(fill('<p class="quiet">It also sends: {{ extra }}</p>', extra=extra))
        rows = [_line(row, say) for row in sent.tail(_ROWS).reverse().iter_rows(named=True)]
        st.html(components.table(*_filled(_HEADINGS, rows), "its newest readings as sent", wide=True))
        st.download_button(
            "Download the last 60 days as CSV",
            lambda: for_spreadsheets(sent).write_csv().encode(),
            file_name=f"{device_id}.csv",
            mime="text/csv",
            key=f"csv {device_id}",
            on_click="ignore",
        )


def _filled(headings: list[str], rows: list[list[str]]) -> tuple[list[str], list[list[str]]]:
    """The table without the columns in which nothing stands."""
    kept = [i for i in range(len(headings)) if any(row[i] for row in rows)]
    return [headings[i] for i in kept], [[row[i] for i in kept] for row in rows]


def _line(row: dict[str, object], say: Voice) -> list[str]:
    def text(name: str, decimals: int, unit: str) -> str:
        value = row[name]
        return number(value, decimals) + unit if isinstance(value, float) else ""

    gravity, temperature = row["gravity_sg"], row["temperature_c"]
    battery = text("battery_v", 2, f"{THIN}V") or text("battery_pct", 0, f"{THIN}%")
    return [
        say.exact(row["measured_at"]),  # type: ignore[arg-type]
        say.gravity(gravity) if isinstance(gravity, float) else "",
        text("inclination_deg", 1, "°"),
        say.temperature(temperature) if isinstance(temperature, float) else "",
        battery,
        text("signal_dbm", 0, f"{THIN}dBm"),
    ]


def _extra(sent: pl.DataFrame) -> str:
    """Names that nobody asked for, with their newest value."""
    last = sent["extra"].drop_nulls()
    if last.is_empty():
        return ""
    try:
        found = json.loads(last[-1])
    except ValueError:
        return ""
    if not isinstance(found, dict):
        return ""
    return ", ".join(f"{name} {words_device.value_text(value)}" for name, value in list(found.items())[:12])
