"""`python -m tests.system.slowly_loaded serve …`: each part takes a while to load, and says who loads it.

What is loaded in two threads at once then surely crosses, as on a slow machine.
"""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Sequence
from types import ModuleType

SAID = "loads:"
TAKES_S = 0.005
PARTS = frozenset({"analysis", "ingest", "dashboard", "scipy", "plotly"})


class Slowly:
    """Asked before all other finders, finds nothing, and takes its time."""

    def find_spec(self, name: str, _path: Sequence[str] | None = None, _target: ModuleType | None = None) -> None:
        thread = threading.current_thread()
        if thread is not threading.main_thread() and name.partition(".")[0] in PARTS:
            sys.stderr.write(f"{SAID} {time.monotonic():.4f} {thread.ident} {name}\n")  # at once, so that no two mix
            sys.stderr.flush()
            time.sleep(TAKES_S)


def slowly_loaded_main(arguments: list[str]) -> int:
    """Run the program with these arguments."""
    sys.meta_path.insert(0, Slowly())  # type: ignore[arg-type]
    from dashboard.__main__ import main

    return main(arguments)


if __name__ == "__main__":
    sys.exit(slowly_loaded_main(sys.argv[1:]))
