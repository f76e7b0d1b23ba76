"""Where the memory of this process is, and what of it grows: for the benchmarks that watch it (Linux, glibc)."""

from __future__ import annotations

import ctypes
import gc
import re
import sys
import tracemalloc
from collections import Counter
from pathlib import Path
from typing import Final

_FIELDS: Final = (
    "arena", "ordblks", "smblks", "hblks", "hblkhd", "usmblks", "fsmblks", "uordblks", "fordblks", "keepcost",
)  # fmt: skip


class _MallocInfo(ctypes.Structure):
    """What mallinfo2(3) gives."""

    _fields_ = [(name, ctypes.c_size_t) for name in _FIELDS]


def parts() -> dict[str, float]:
    """MB by where they are.

    Returns
    -------
    dict[str, float]
        `own` and `files`: what is resident of its own and of mapped files (RssAnon and RssFile of proc(5));
        `malloc`: what was asked of glibc's malloc and not given back; `free`: what malloc holds on to beside that;
        `blocks`: thousands of Python's small objects.
    """
    status = Path("/proc/self/status").read_text(encoding="ascii")
    found = {
        name: int(match[1]) * 1024 / 1e6
        for name, key in (("own", "RssAnon"), ("files", "RssFile"))
        if (match := re.search(rf"{key}:\s+(\d+)", status))
    }
    library = ctypes.CDLL(None)
    if hasattr(library, "mallinfo2"):
        library.mallinfo2.restype = _MallocInfo
        info = library.mallinfo2()
        found |= {"malloc": (info.uordblks + info.hblkhd) / 1e6, "free": info.fordblks / 1e6}
    return {**found, "blocks": sys.getallocatedblocks() / 1e3}


class Growth:
    """What has come since it was made and is still there, by line of source and by type of object."""

    def __init__(self, frames: int = 12) -> None:
        tracemalloc.start(frames)
        gc.collect()
        self._lines = self._taken()
        self._types = _types()

    @staticmethod
    def _taken() -> tracemalloc.Snapshot:
        own = (tracemalloc.Filter(False, tracemalloc.__file__), tracemalloc.Filter(False, __file__))
        return tracemalloc.take_snapshot().filter_traces(own)

    def told(self, most: int = 15) -> str:
        """The places and types that grew most."""
        gc.collect()
        lines = self._taken().compare_to(self._lines, "lineno")[:most]
        types = (_types() - self._types).most_common(most)
        said = [f"  {each.size_diff / 1e3:+9.1f} kB {each.count_diff:+7} {each.traceback[0]}" for each in lines]
        return "\n".join(("by line:", *said, "by type:", *(f"  {n:+7} {name}" for name, n in types)))


def _types() -> Counter[str]:
    return Counter(f"{type(each).__module__}.{type(each).__qualname__}" for each in gc.get_objects())
