"""`python -m tests.system.seldom_sent serve …`: the program as on a machine so busy that it sends pages only seldom."""

from __future__ import annotations

import sys

SENDS_EVERY_S = 8.0
"""Longer than a live part rests: it is drawn anew while the next page still waits to leave."""


def seldom_sent_main(arguments: list[str]) -> int:
    """Run the program with these arguments."""
    from streamlit.runtime import runtime

    runtime.MESSAGE_FLUSH_INTERVAL_SECS = SENDS_EVERY_S  # type: ignore[misc]

    from dashboard.__main__ import main

    return main(arguments)


if __name__ == "__main__":
    sys.exit(seldom_sent_main(sys.argv[1:]))
