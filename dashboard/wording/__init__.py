"""Sentences that screens say; those that messages share are in `analysis.wording`."""

from dashboard.wording.calendar import Item, agenda, name_of, opening
from dashboard.wording.following import finish_by_siblings, follows, follows_fully
from dashboard.wording.voice import voice_of

__all__ = ["Item", "agenda", "finish_by_siblings", "follows", "follows_fully", "name_of", "opening", "voice_of"]
