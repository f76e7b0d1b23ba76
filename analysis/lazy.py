"""Faces that load what they name only when it is asked for.

Commands such as ``tunroom sheet`` need a small part of the analysis and must answer at once; scipy and polars cost a
second of CPU. A package whose face would load them for everyone names its public things under ``TYPE_CHECKING``, for
type checkers and readers, and hands the same names to `attribute_of`.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from importlib import import_module


def attribute_of(package: str, homes: Mapping[str, tuple[str, ...]]) -> Callable[[str], object]:
    """The module-level ``__getattr__`` (PEP 562) of a face.

    Parameters
    ----------
    package
        The package's ``__name__``.
    homes
        For each module, relative to the package, the names that it gives to the face.

    Returns
    -------
    A function that imports a name's module at its first use and keeps its names in the package from then on.
    """
    module_of = {name: module for module, names in homes.items() for name in names}

    def attribute(name: str) -> object:
        if name not in module_of:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        home = import_module(f"{package}.{module_of[name]}")
        found: object = getattr(home, name)
        # All that it has, and also over a submodule of the same name as one of them, which the import has put there.
        given = {each: vars(home)[each] for each in homes[module_of[name]] if each in vars(home)}
        for each, value in {**given, name: found}.items():
            setattr(sys.modules[package], each, value)
        return found

    return attribute
