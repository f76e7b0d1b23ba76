"""What a browser makes of a person's words in a figure: Plotly itself draws them."""

from __future__ import annotations

import importlib.resources
from typing import Any

import plotly.graph_objects as go
import pytest

from dashboard.charts import literal
from tests.conftest import need_chromium
from tests.system.serving import browser

pytestmark = pytest.mark.chromium

NAMES = (
    "<b>x</b>",
    "%{x} and %{text}",
    '<a href="https://example.org">y</a>',
    "$x^2$",
    "<br>&lt;i&gt; & 'quoted' \"twice\"",
    "{{a}}",
)


@pytest.fixture(scope="module")
def page() -> Any:
    script = (importlib.resources.files("plotly") / "package_data" / "plotly.min.js").read_text(encoding="utf-8")
    with browser(need_chromium()) as opened:
        opened.set_content("<div id='here'></div>")
        opened.add_script_tag(content=script)
        yield opened


def drawn(page: Any, name: str) -> tuple[str, str]:
    """The text of an annotation and that of a hover, as a reader sees them."""
    figure = go.Figure(
        go.Scatter(x=[1], y=[2], customdata=[[name]], hovertemplate=f"{name}|%{{customdata[0]}}<extra></extra>"),
        {"annotations": [{"text": name, "x": 1, "y": 2, "showarrow": False}], "width": 900, "height": 300},
    )
    return tuple(  # type: ignore[return-value]
        page.evaluate(
            """async (figure) => {
                const here = document.getElementById('here');
                await Plotly.newPlot(here, figure.data, figure.layout);
                Plotly.Fx.hover(here, [{curveNumber: 0, pointNumber: 0}]);
                await new Promise(done => setTimeout(done, 300));
                const of = (part) => [...here.querySelectorAll(part)].map(e => e.textContent).join('');
                return [of('.annotation-text'), of('.hoverlayer text.nums')];
            }""",
            figure.to_dict(),
        )
    )


@pytest.mark.parametrize("name", NAMES)
def test_a_name_is_drawn_as_it_was_typed(page: Any, name: str) -> None:
    annotation, hover = drawn(page, literal(name))
    assert annotation == name
    assert hover == f"{name}|{name}"


def test_without_care_a_name_would_be_taken_for_markup(page: Any) -> None:
    """The check can fail: the same names as they are lose their tags and blanks."""
    for name in NAMES[:3]:
        annotation, hover = drawn(page, name)
        assert (annotation, hover) != (name, f"{name}|{name}")
