"""What may be the id of a device, whichever way it comes in."""

from __future__ import annotations

import re
from typing import Final

LONGEST_ID: Final = 128
"""Characters. A level of a topic may be longer; what names a device on a screen may not."""

_INVISIBLE: Final = r"\u061c\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff"
"""Unicode's marks of direction and of no width: with them two ids look the same, or one reads as another."""

_GOOD_ID: Final = re.compile(rf"[^\s/+#\x00-\x1f\x7f-\x9f\ud800-\udfff{_INVISIBLE}]{{1,{LONGEST_ID}}}")

ID_REMEDY: Final = (
    f"An id is one topic level of 1 to {LONGEST_ID} characters that can be seen, without spaces, +, # and /"
)


def is_good_id(device_id: str) -> bool:
    """Whether this can be a device's id."""
    return _GOOD_ID.fullmatch(device_id) is not None
