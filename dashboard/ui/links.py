"""Addresses of our pages, for links in HTML."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import quote, urlencode

from dashboard.templates import Markup, fill, join


def link(page: str, text: str, **query: str) -> Markup:
    """An HTML link to a page of ours, such as ``link("batch", "…", id="batch-1")``; a plain `text` is escaped."""
    return fill('<a href="{{ to }}" data-go="{{ to }}">{{ text }}</a>', to=address(page, **query), text=text)


def underlined(page: str, text: str, **query: str) -> Markup:
    """A link that is drawn as one, within or instead of a sentence."""
    return link(page, fill("<u>{{ text }}</u>", text=text), **query)


def batches(named: Sequence[tuple[str, str]], most: int = 8) -> Markup:
    """Links to batches by id and name; of more than so many the newest, which come last, and how many more."""
    shown = [underlined("batch", name, id=batch_id) for batch_id, name in named[-most:]]
    if len(named) > most:
        shown.append(fill("{{ n }} more", n=len(named) - most))
    return join(shown, ", ")


def address(page: str, **query: str) -> str:
    """The address of a page; whatever characters an id holds, its query says the same id."""
    return f"{quote(page)}?{urlencode(query, quote_via=quote)}" if query else quote(page)
