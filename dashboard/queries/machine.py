"""What this process takes of the machine, and what the machine still has."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final

_STATUS: Final = Path("/proc/self/status")
_MEMINFO: Final = Path("/proc/meminfo")
_LIMIT: Final = Path("/sys/fs/cgroup/memory.max")
_TAKEN: Final = Path("/sys/fs/cgroup/memory.current")


@dataclass(frozen=True, slots=True)
class Memory:
    """In bytes; None where the system does not say."""

    used: int | None
    free: int | None
    """What may still be taken: of the machine, or of the container's limit where that is nearer."""


def memory() -> Memory:
    """As Linux tells it (proc(5)); elsewhere only the most that this process ever took is known."""
    if sys.platform == "win32":
        return Memory(None, None)
    used = _kibibytes(_STATUS, "VmRSS")
    if used is None:
        import resource

        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        used = most if sys.platform == "darwin" else most * 1024  # getrusage(2): bytes there, kibibytes elsewhere
    left = [_kibibytes(_MEMINFO, "MemAvailable"), _left_of_limit()]
    return Memory(used, min((each for each in left if each is not None), default=None))


def _kibibytes(file: Path, name: str) -> int | None:
    try:
        found = re.search(rf"^{name}:\s+(\d+) kB$", file.read_text(encoding="ascii"), re.MULTILINE)
    except OSError:
        return None
    return int(found[1]) * 1024 if found else None


def _left_of_limit() -> int | None:
    """Of the memory that a container may take (control groups, version 2); None without a limit."""
    try:
        limit, taken = _LIMIT.read_text(encoding="ascii").strip(), _TAKEN.read_text(encoding="ascii").strip()
    except OSError:
        return None
    return max(0, int(limit) - int(taken)) if limit.isdigit() and taken.isdigit() else None
