"""A person's words in places where Streamlit reads Markdown: headings, labels of buttons and boxes, short notices."""

from __future__ import annotations

import re
from typing import Final

_SIGNS: Final = re.compile(r"[\\`*_\[\]<>#|~$&!{}@]|:(?!\s|$)(?!(?<=\d:)\d)")
"""What may begin emphasis, code, a link, HTML, a heading, a table, a formula or a sign; not the colon of a time."""
_AT_START: Final = re.compile(r"^(\s*)(?:([-+=])|(\d+)([.)]))", re.MULTILINE)
"""What begins a list or a line across."""
_WEB: Final = re.compile(r"\b(www)\.", re.IGNORECASE)
"""An address without its scheme, which would become a link by itself."""


def plain(text: str) -> str:
    """The text as Markdown that shows exactly it, on one line; for whatever holds a name or a note.

    Examples
    --------
    >>> plain(":red[x] costs $5")
    '\\\\:red\\\\[x\\\\] costs \\\\$5'
    """
    line = " ".join(text.split())
    line = _SIGNS.sub(lambda found: "\\" + found[0], line)
    line = _WEB.sub(r"\1\\.", line)
    return _AT_START.sub(lambda found: f"\\{found[2]}" if found[2] else f"{found[3]}\\{found[4]}", line)
