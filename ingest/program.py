"""Which program this is."""

from __future__ import annotations

import functools


@functools.cache
def version() -> str:
    """The installed version."""
    from importlib.metadata import PackageNotFoundError
    from importlib.metadata import version as installed

    try:
        return installed("tunroom")
    except PackageNotFoundError:  # run from a checkout without installing
        return "0 (not installed)"
