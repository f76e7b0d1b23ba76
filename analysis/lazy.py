"""Faces that load what they name only when it is asked for.

Commands such as ``tunroom sheet`` need a small part of the analysis and must answer at once; scipy and polars cost a
second of CPU. A package whose face would load them for everyone names its public things under ``TYPE_CHECKING``, for
type checkers and readers, and hands the same names to `attribute_of`.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Final

_LOADING: Final = threading.RLock()
_faces: dict[str, tuple[str, ...]] = {}
"""The modules of each face that is in memory."""


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
    _faces[package] = tuple(f"{package}.{module}" for module in homes)

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


def load_all(*modules: str) -> None:
    """Import these modules, and whatever the faces then in memory name; cheap where all of it is there.

    A program of several threads calls this in each before it uses any of it, so that one thread imports while the
    others wait. Where two import across each other, Python breaks the deadlock by giving one of them a module that is
    half made (``importlib._bootstrap._lock_unlock_module``), and what it was wanted for fails.
    """
    with _LOADING:
        for module in modules:
            import_module(module)
        loaded: set[str] = set()
        while missing := {home for face, homes in _faces.items() if face in sys.modules for home in homes} - loaded:
            for module in sorted(missing):
                import_module(module)
            loaded |= missing
