"""The one way to HTML: templates that escape whatever is put into them.

Longer pieces stand in files beside this one, in a folder per screen, and are made by `render`; a line or two stands
where it is used, and is made by `fill`. Both give `Markup`, the type of HTML that may be shown. A plain string that is
put into a template is text and is escaped; what is `Markup` already goes in as it is. A text alone is made HTML by
`escape`, in a tenth of a template's time. It knows nothing of Streamlit, so that the command line can print a sheet
without it.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template
from markupsafe import Markup, escape

__all__ = ["Markup", "escape", "fill", "join", "render"]

_ENVIRONMENT: Final = Environment(
    loader=FileSystemLoader(Path(__file__).parent),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
    auto_reload=False,  # else each of two hundred rows asks the disk whether its template has changed
)


def render(name: str, /, **values: Any) -> Markup:
    """The template in the file `name`, such as ``today/row.html``, with these values.

    Raises
    ------
    jinja2.UndefinedError
        If the template names a value that is not given.
    """
    return Markup(_ENVIRONMENT.get_template(name).render(values))  # noqa: S704 - the engine escaped it


def fill(source: str, /, **values: Any) -> Markup:
    """A template that is written out where it is used; `source` is a literal, never put together from text.

    Raises
    ------
    jinja2.UndefinedError
        If the template names a value that is not given.
    """
    return Markup(_compiled(source).render(values))  # noqa: S704 - the engine escaped it


def join(parts: Iterable[Markup], between: str = "") -> Markup:
    """Pieces of HTML one after the other; a plain string among them is escaped."""
    return Markup(between).join(parts)  # noqa: S704 - a separator of our own, such as a line's end


@lru_cache(maxsize=512)
def _compiled(source: str) -> Template:
    return _ENVIRONMENT.from_string(source)
