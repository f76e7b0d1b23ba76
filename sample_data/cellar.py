"""The demo cellar: vessels, yeasts, batches and devices of our own invention.

`demo_cellar(anchor, seed)` is a function of the instant at which the demo was first started. Everything a device
would say, before or after it, is a function of time: after a restart it can send what it had "buffered".
Nothing here is a real brewery, yeast, hop or device.
"""

from __future__ import annotations

from datetime import UTC, datetime

from sample_data.demo_model import DemoCellar


def demo_cellar(anchor: datetime, seed: int = 7) -> DemoCellar:
    """The demo cellar as it stands at `anchor`, with what its devices have said and will say."""
    from sample_data.cellar_story import tell

    return tell(anchor.astimezone(UTC).replace(microsecond=0), seed)
