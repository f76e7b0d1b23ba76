"""Taking in a log of an earlier batch, or of a device that kept its own, in the browser."""

from __future__ import annotations


def show() -> None:
    """The import."""
