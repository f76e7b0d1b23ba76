"""The installed version."""

from importlib.metadata import PackageNotFoundError
from importlib.metadata import version as _installed


def text() -> str:
    try:
        return _installed("tunroom")
    except PackageNotFoundError:  # run from a checkout without installing
        return "0 (not installed)"
