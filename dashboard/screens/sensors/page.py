"""Are the instruments telling the truth?"""

from __future__ import annotations

from html import escape
from typing import Final

import streamlit as st

from analysis.wording import Voice, plural
from dashboard import context
from dashboard.queries import queries
from dashboard.screens.sensors import device as device_page
from dashboard.screens.sensors import first_steps, placement, rejected
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
    return waiting, context.store().counts()["rejected"]


@components.live
def everything() -> None:
    """All devices, those that need a look first."""
    say, store = queries.voice(), context.store()
    words = sorted(store.device_statuses(), key=lambda word: words_device.rank(word, say))
    devices = {d.device_id: d for d in store.all(Device)}
    vessels = {v.vessel_id: v.name for v in store.all(Vessel)}
    quiet = [d for d in devices.values() if d.device_id not in {w.device_id for w in words}]
    rows = [_row(w, devices.get(w.device_id), vessels.get(w.vessel_id or ""), say) for w in words]
    rows += [_never_heard(d) for d in sorted(quiet, key=lambda d: d.device_id)]
    lead = escape(words_device.lead(words, devices, say))
    st.html(f'<h1 class="lead">{lead}</h1><ul class="entries">{"".join(rows)}</ul>')
    if st.session_state.get(_SEEN) != _state():  # only a refresh of this part can see a difference
        st.rerun()


def _row(word: DeviceStatus, device: Device | None, vessel: str | None, say: Voice) -> str:
    needy = "needy" if words_device.troubles(word, say) else ""
    where = vessel or ("new" if not word.known else "in no vessel")
    kind = device.kind if device is not None else word.kind
    title = f"<b>{escape(words_device.name_of(word.device_id, device))}</b>"
    quiet = " · ".join(escape(each) for each in [kind, where, *words_device.figures(word, say)])
    says = f'<span class="says">{escape(words_device.sentence(word, vessel, say))}</span>'
    body = f'{title}{says}<span class="figures">{quiet}</span>'
    return f'<li class="{needy}">{components.link("sensors", body, device=word.device_id)}</li>'


def _never_heard(device: Device) -> str:
    body = f'<b>{escape(device.name or device.device_id)}</b><span class="says">Never heard yet.</span>'
    body += f'<span class="figures">{device.kind}</span>'
    return f"<li>{components.link('sensors', body, device=device.device_id)}</li>"


def newcomers() -> None:
    """Devices that speak and wait to be put to work."""
    waiting = queries.newcomers()
    if not waiting:
        return
    st.subheader("Put to work")
    for word in waiting[:_FORMS]:
        placement.take_up(word, queries.voice())
    if len(waiting) > _FORMS:
        st.html(
            f'<p class="quiet">{plural(len(waiting) - _FORMS, "more new device")} can be put to work from the list.</p>'
        )
