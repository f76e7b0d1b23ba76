"""Who may ask this server for anything: the names it answers to, and the pages that may speak with it."""

from __future__ import annotations

from dashboard.access.hosts import OwnNamesOnly, names_of

__all__ = ["OwnNamesOnly", "names_of"]
