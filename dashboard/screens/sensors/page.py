"""Are the instruments telling the truth?"""

from __future__ import annotations

from typing import Final

import streamlit as st

from analysis.wording import Voice, plural
from dashboard import context
from dashboard.queries import queries
from dashboard.screens.sensors import device as device_page
from dashboard.screens.sensors import first_steps, placement, rejected
from dashboard.templates import Markup, fill, join
from dashboard.ui import components
from dashboard.wording import device as words_device
from ingest.model import Device, Vessel
from ingest.store import DeviceStatus

_SEEN: Final = "new devices seen"
_FORMS: Final = 4


def show() -> None:
    device_id = st.query_params.get("device")
    if device_id:
        device_page.show(device_id)
        return
    st.session_state[_SEEN] = _state()
    everything()
    # Each part keeps its place, empty or not: what is typed in one survives when another comes or goes.
    with st.container(key="newcomers"):
        newcomers()
    with st.container(key="rejections"):
        rejected.show()
    with st.expander("Connect a float or a probe", expanded=not context.store().device_statuses()):
        st.html(first_steps.connect_html(context.service().settings))


def _state() -> tuple[tuple[str, ...], int]:
    """What the still part of this page is made from."""
    waiting = tuple(word.device_id for word in queries.newcomers())
    return waiting, queries.counts(queries.voice())["rejected"]


@components.live
def everything() -> None:
    """All devices, those that need a look first; worked out once for however many look at them."""
    say = queries.voice()
    st.html(queries.kept(("sensors",), lambda: list_html(say), queries.of_all(say)))
    if st.session_state.get(_SEEN) != _state():  # only a refresh of this part can see a difference
        st.rerun()


def list_html(say: Voice) -> Markup:
    """What the page leads with and a row for each device, as HTML."""
    store = context.store()
    words = sorted(store.device_statuses(), key=lambda word: words_device.rank(word, say))
    devices = {d.device_id: d for d in store.all(Device)}
    vessels = {v.vessel_id: v.name for v in store.all(Vessel)}
    quiet = [d for d in devices.values() if d.device_id not in {w.device_id for w in words}]
    rows = [_row(w, devices.get(w.device_id), vessels.get(w.vessel_id or ""), say) for w in words]
    rows += [_never_heard(d) for d in sorted(quiet, key=lambda d: d.device_id)]
    listed = fill('<ul class="entries">{{ rows }}</ul>', rows=join(rows))
    names = [words_device.name_of(w.device_id, devices.get(w.device_id)) for w in words]
    return components.lead(components.in_one_piece(words_device.lead(words, devices, say), names)) + listed


def _row(word: DeviceStatus, device: Device | None, vessel: str | None, say: Voice) -> Markup:
    where = vessel or ("new" if not word.known else "in no vessel")
    kind = device.kind if device is not None else word.kind
    says = words_device.sentence(word, vessel, say)
    return _listed(
        word.device_id,
        words_device.name_of(word.device_id, device),
        components.with_ages(says, (word.measured_at, word.received_at), say),
        " · ".join([kind, where, *words_device.figures(word, say)]),
        "needy" if words_device.troubles(word, say) else "",
    )


def _listed(device_id: str, name: str, says: str, figures: str, kind: str = "") -> Markup:
    """A row that leads to the device wherever it is tapped, but for an age, which says its exact time."""
    body = (
        '<li class="apart {{ kind }}"><a href="{{ to }}" data-go="{{ to }}"><b>{{ name }}</b></a>'
        '<span class="says">{{ says }}</span><span class="figures">{{ figures }}</span></li>'
    )
    to, whole = components.address("sensors", device=device_id), components.in_one_piece(name, [name])
    return fill(body, kind=kind, to=to, name=whole, says=says, figures=figures)


def _never_heard(device: Device) -> Markup:
    return _listed(device.device_id, device.name or device.device_id, "Never heard yet.", device.kind)


def newcomers() -> None:
    """Devices that speak and wait to be put to work."""
    placement.taken_up_elsewhere(context.store(), queries.voice())
    waiting = queries.newcomers()
    if not waiting:
        return
    st.subheader("Put to work")
    for word in waiting[:_FORMS]:
        placement.take_up(word, queries.voice())
    if len(waiting) > _FORMS:
        line = '<p class="quiet">{{ more }} can be put to work from the list.</p>'
        st.html(fill(line, more=plural(len(waiting) - _FORMS, "more new device")))
