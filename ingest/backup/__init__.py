"""The whole cellar in one file that can be carried away, and back from it."""

from ingest.backup.backup import BackedUp, Restored, back_up, restore
from ingest.backup.nightly import LATE_AFTER, Nightly, NightlyState, state_of

__all__ = [
    "LATE_AFTER",
    "BackedUp",
    "Nightly",
    "NightlyState",
    "Restored",
    "back_up",
    "restore",
    "state_of",
]
