"""How many examples a property is tried on."""

from __future__ import annotations

import os
from typing import Final

EXPLORES: Final = os.environ.get("TUNROOM_EXPLORE") == "1"


def examples(number: int) -> int:
    """`number` in the ordinary run, whose examples are the same each time; twenty times as many, all new, to explore.

    A property of ours either fails within the first hundred or needs thousands (tried on the mended faults).
    """
    return 20 * number if EXPLORES else number
