"""The part of a curve that a reader zoomed to: it stands in the page's address, so that it survives everything."""

from __future__ import annotations

import json
import re
import time
from datetime import UTC, datetime, timedelta
from typing import Final

import streamlit as st

from dashboard.charts import Axes, Zoom

PARAMETER: Final = "zoom"
PLACE: Final = "curve-figure"
"""The key of the container that holds the figure."""
_SETTLES_S: Final = 2.0
"""A run that was asked for before the browser knew the new address may still carry the old one for so long."""
_LEAST: Final = timedelta(minutes=1)
_LEAST_SG: Final = 0.0002
_PLAUSIBLE_SG: Final = (0.95, 1.25)
_STAMP: Final = "%Y%m%dT%H%M%S"
_TEXT: Final = re.compile(r"(\d{8}T\d{6})-(\d{8}T\d{6})(?:-(\d\.\d{1,6})-(\d\.\d{1,6}))?")

# The figure says by its own events what was dragged; a double click shows the whole again. The figure may be made anew
# at any time (another size, full screen), so it is looked for now and then.
_JS: Final = """
export default function ({ data, setTriggerValue }) {
  let waiting;
  const tell = (told) => {
    clearTimeout(waiting);
    waiting = setTimeout(() => setTriggerValue("range", JSON.stringify(told)), 250);
  };
  const listen = (figure) => {
    let doubleClicked = false;
    figure.on("plotly_doubleclick", () => {
      doubleClicked = true;
      setTimeout(() => { doubleClicked = false; }, 100);
      figure.tunroomTell?.({ whole: true });
    });
    figure.on("plotly_relayout", (event) => {
      const moved = (axis) => Object.keys(event ?? {}).some((name) => name.startsWith(`${axis}.range`));
      if (doubleClicked || !(moved("xaxis") || moved("yaxis"))) return;
      const { xaxis, yaxis } = figure._fullLayout;
      figure.tunroomTell?.({ x: [...xaxis.range], y: moved("yaxis") ? [...yaxis.range] : null });
    });
  };
  const look = () => {
    for (const figure of document.querySelectorAll(`.st-key-${data} .js-plotly-plot`)) {
      if (!figure.on) continue;
      if (!figure.tunroomHeard) { figure.tunroomHeard = true; listen(figure); }
      figure.tunroomTell = tell;
    }
  };
  look();
  const looking = setInterval(look, 500);
  return () => clearInterval(looking);
}
"""


def written(zoom: Zoom | None) -> str:
    """A zoom as it stands in an address: ``20261129T145320-20261207T063133-1.0159-1.0395``; empty for the whole."""
    if zoom is None:
        return ""
    times = f"{zoom.from_at.astimezone(UTC):{_STAMP}}-{zoom.to_at.astimezone(UTC):{_STAMP}}"
    return times if zoom.low_sg is None or zoom.high_sg is None else f"{times}-{zoom.low_sg:.5f}-{zoom.high_sg:.5f}"


def read(text: str) -> Zoom | None:
    """What an address says; None for the whole, and for what makes no sense."""
    found = _TEXT.fullmatch(text)
    if found is None:
        return None
    try:
        from_at, to_at = (datetime.strptime(found[n], _STAMP).replace(tzinfo=UTC) for n in (1, 2))
    except ValueError:
        return None
    if to_at - from_at < _LEAST:
        return None
    if found[3] is None:
        return Zoom(from_at, to_at)
    return _with_gravities(Zoom(from_at, to_at), float(found[3]), float(found[4]))


def told(text: str, axes: Axes, before: Zoom | None) -> Zoom | None:
    """What the browser says was dragged, on the scales of `axes`; what it does not speak of stays as `before`."""
    try:
        said = json.loads(text)
        if said.get("whole"):
            return None
        first, last = (axes.when(x) for x in said["x"])
        from_at, to_at = (when.replace(microsecond=0) for when in (min(first, last), max(first, last)))
        zoom = Zoom(from_at, max(to_at, from_at + _LEAST))
        if said.get("y"):
            return _with_gravities(zoom, *sorted(round(axes.sg(float(y)), 5) for y in said["y"]))
    except (ValueError, KeyError, TypeError, AttributeError, OverflowError):
        return before
    return Zoom(zoom.from_at, zoom.to_at, before.low_sg, before.high_sg) if before is not None else zoom


def _with_gravities(zoom: Zoom, low: float, high: float) -> Zoom:
    if not _PLAUSIBLE_SG[0] <= low < high <= _PLAUSIBLE_SG[1] or high - low < _LEAST_SG:
        return zoom
    return Zoom(zoom.from_at, zoom.to_at, low, high)


def chosen(batch_id: str, axes: Axes) -> Zoom | None:
    """What the reader of a batch's page looks at, listening to the figure in the container `PLACE`.

    The address decides when the page is opened or the reader goes back; what is dragged is written into it.
    """
    memory = f"zoom {batch_id}"
    text, at = st.session_state.get(memory, (None, 0.0))
    asked = st.query_params.get(PARAMETER, "")
    if text is None or (asked != text and time.monotonic() - at > _SETTLES_S):
        text = asked
    zoom = read(text)
    renderer = st.components.v2.component("tunroom_zoom", js=_JS)
    heard = renderer(key="zoom", data=PLACE, on_range_change=lambda: None, height=0).get("range")
    if heard:
        zoom = told(str(heard), axes, zoom)
    _keep(memory, zoom, text, at)
    return zoom


def whole(batch_id: str) -> None:
    """Show the whole curve again."""
    _keep(f"zoom {batch_id}", None, None, 0.0)


def _keep(memory: str, zoom: Zoom | None, before: str | None, at: float) -> None:
    text = written(zoom)
    st.session_state[memory] = (text, time.monotonic() if text != before else at)
    if st.query_params.get(PARAMETER, "") == text:
        return
    if text:
        st.query_params[PARAMETER] = text
    else:
        del st.query_params[PARAMETER]
