"""Whose words: the voice that speaks in a person's units and time zone."""

from __future__ import annotations

from datetime import UTC, datetime

from analysis.wording import Voice, zone_of
from ingest.model import Preferences


def voice_of(preferences: Preferences, now: datetime | None = None) -> Voice:
    """The voice for these choices, seen from `now`; where that is not given, from the present moment."""
    return Voice(preferences.units, zone_of(preferences.time_zone), now or datetime.now(UTC))
