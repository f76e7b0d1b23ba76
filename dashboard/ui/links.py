"""Addresses of our pages, for links in HTML."""

from __future__ import annotations

from urllib.parse import quote, urlencode

from dashboard.templates import Markup, fill


def link(page: str, text: str, **query: str) -> Markup:
    """An HTML link to a page of ours, such as ``link("batch", "…", id="batch-1")``; a plain `text` is escaped."""
    return fill('<a href="{{ to }}" data-go="{{ to }}">{{ text }}</a>', to=address(page, **query), text=text)


def underlined(page: str, text: str, **query: str) -> Markup:
    """A link that is drawn as one, within or instead of a sentence."""
    return link(page, fill("<u>{{ text }}</u>", text=text), **query)


def address(page: str, **query: str) -> str:
    """The address of a page; whatever characters an id holds, its query says the same id."""
    return f"{quote(page)}?{urlencode(query, quote_via=quote)}" if query else quote(page)
