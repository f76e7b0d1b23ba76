"""Addresses of our pages, for links in HTML."""

from __future__ import annotations

from html import escape


def link(page: str, text: str, **query: str) -> str:
    """An HTML link to a page of ours, such as ``link("batch", "…", id="batch-1")``; `text` is HTML already."""
    target = address(page, **query)
    return f'<a href="{target}" data-go="{target}">{text}</a>'


def address(page: str, **query: str) -> str:
    """The address of a page, for links in HTML."""
    rest = "&amp;".join(f"{escape(k)}={escape(v)}" for k, v in query.items())
    return f"{escape(page)}?{rest}" if rest else escape(page)
