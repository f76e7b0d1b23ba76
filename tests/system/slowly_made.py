"""`python -m tests.system.slowly_made serve …`: as `seldom_sent`, and a batch's page takes long to be made as well.

What the browser asks meanwhile, as it still shows the page before, comes while the next one is being made.
"""

from __future__ import annotations

import sys
import time

from tests.system.seldom_sent import seldom_sent_main

TAKES_S = 6.0
"""Longer than a live part rests."""


def slow_main(arguments: list[str]) -> int:
    """Run the program with these arguments."""
    from dashboard.screens.batch import page

    show = page.show

    def slowly() -> None:
        time.sleep(TAKES_S)
        show()

    page.show = slowly
    return seldom_sent_main(arguments)


if __name__ == "__main__":
    sys.exit(slow_main(sys.argv[1:]))
