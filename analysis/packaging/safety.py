"""What can hurt someone: the figures we hold a package against.

We say go, caution or stop, and never call a package free of danger. Every figure has its source beside it; the
sentences that stand beside them are in `analysis.wording.sheet_cautions`.
"""

from __future__ import annotations

from typing import Final, Literal

Verdict = Literal["go", "caution", "stop"]


PASTEURISING_C: Final = 65.0
"""°C; where the pressure of filled bottles that are heated is reckoned. Common practice, no source."""
