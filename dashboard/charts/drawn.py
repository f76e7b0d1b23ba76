"""A figure that is shown as it was drawn."""

from __future__ import annotations

import functools
from typing import Any

import plotly.graph_objects as go


class Drawn(go.Figure):  # type: ignore[misc]  # plotly has no types
    """A figure of plain dicts, handed to whoever looks without being checked or copied.

    ``go.Figure`` checks all when it is made and copies all each time it is shown, which took half of the time of a
    batch's page. Who asks for a part of it, as the tests do, gets it checked; `ValueError` where something is wrong.
    """

    def __init__(self, data: list[dict[str, Any]], layout: dict[str, Any]) -> None:
        # Not through the parent's own way to make attributes, which begins with checking.
        self.__dict__["_given"] = data, layout

    @property
    def names(self) -> frozenset[str]:
        """What is drawn, by the names of its traces."""
        return frozenset(trace["name"] for trace in self._given[0])

    @functools.cached_property
    def _checked(self) -> go.Figure:
        return go.Figure(*self._given)

    @property
    def data(self) -> Any:
        return self._checked.data

    @property
    def layout(self) -> Any:
        return self._checked.layout

    def to_dict(self) -> dict[str, Any]:
        """What the browser draws: all but the name of a template, which only Python knows; its default is plain."""
        data, layout = self._given
        return {"data": data, "layout": {name: part for name, part in layout.items() if name != "template"}}
