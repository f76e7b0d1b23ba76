"""`python -m tests.system.seldom_sent serve …`: the program as on a machine so busy that it sends pages only seldom."""

from __future__ import annotations

import sys

SENDS_EVERY_S = 1.5
"""As long as that a page may wait on such a machine before it leaves, and be drawn anew in part meanwhile."""


def seldom_sent_main(arguments: list[str]) -> int:
    """Run the program with these arguments."""
    from streamlit.runtime import runtime

    runtime.MESSAGE_FLUSH_INTERVAL_SECS = SENDS_EVERY_S  # type: ignore[misc]

    from dashboard.__main__ import main

    return main(arguments)


if __name__ == "__main__":
    sys.exit(seldom_sent_main(sys.argv[1:]))
