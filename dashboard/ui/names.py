"""Names and ids within a text, as HTML."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

from dashboard.templates import Markup, escape, fill, join

_ONE_PIECE: Final = 20
"""Characters of a name that no line breaks within; a longer one would not fit on a phone."""


def in_one_piece(text: str, names: Iterable[str]) -> Markup:
    """The text, in which no line ends within a short one of these names, such as at the hyphen of ``probe-room``."""
    short = sorted({name for name in names if name and len(name) <= _ONE_PIECE}, key=len, reverse=True)
    if not short:
        return escape(text)
    parts = re.split(rf"(?<![\w-])({'|'.join(map(re.escape, short))})(?![\w-])", text, flags=re.IGNORECASE)
    return join(
        fill('<span class="whole">{{ part }}</span>', part=part) if n % 2 else escape(part)
        for n, part in enumerate(parts)
    )
