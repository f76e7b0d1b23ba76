"""What the cellar still lacks, the most needed first. No Streamlit here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from analysis.wording import joined, plural
from ingest.model import BatchRecord, Placement, Preferences, Vessel
from ingest.store import DeviceStatus, Store

_NAMED: Final = 3


@dataclass(frozen=True, slots=True)
class Lack:
    """One thing that is missing, why it matters, and the page that mends it."""

    sentence: str
    page: str
    query: dict[str, str]
    urgent: bool = False


def lacks(store: Store, words: Sequence[DeviceStatus], browser_zone: str | None = None) -> list[Lack]:
    """Everything that is missing."""
    vessels, active, preferences = store.all(Vessel), store.active_batches(), store.preferences()
    found: list[Lack] = []
    if not vessels:
        found.append(Lack("There is no vessel yet: add the first.", "set-up", {"part": "vessels"}, urgent=True))
    elif not active and not store.finished_batches():
        found.append(
            Lack("There is no batch yet: add one once its yeast is in.", "set-up", {"part": "batches"}, urgent=True)
        )
    found += _devices(words)
    found += _batches(store, active)
    found += _zone(preferences, browser_zone)
    if active and not preferences.notify_urls:
        found.append(Lack("No word is sent when something needs you: say where to.", "set-up", {"part": "word"}))
    return found


def _devices(words: Sequence[DeviceStatus]) -> list[Lack]:
    new = [w.device_id for w in words if not w.known]
    if not words:
        return [Lack("No device has spoken yet: connect a float or a probe.", "sensors", {})]
    if not new:
        return []
    who = joined(new) if len(new) <= _NAMED else plural(len(new), "new device")
    return [
        Lack(f"{who} {'speaks and waits' if len(new) == 1 else 'speak and wait'} for a vessel.", "sensors", {}, True)
    ]


def _batches(store: Store, active: Sequence[BatchRecord]) -> list[Lack]:
    measured = {p.vessel_id for p in store.all(Placement) if p.to_at is None}
    led = {b.split_of for b in active if b.split_of is not None and b.vessel_id in measured}
    names = {v.vessel_id: v.name for v in store.all(Vessel)}
    found = []
    for record in active:
        edit = {"part": "batches", "id": record.batch_id}
        if record.vessel_id not in measured and record.split_of not in led:  # else it follows its siblings
            where = ", ".join(filter(None, (names.get(record.vessel_id), record.name)))
            found.append(Lack(f"{where}: no device sits in its vessel, so nothing is measured.", "sensors", {}, True))
        if record.original_gravity_sg is None:
            found.append(
                Lack(
                    f"{record.name}: its gravity before pitching is missing; attenuation and alcohol need it.",
                    "set-up",
                    edit,
                )
            )
        if record.yeast is None:
            found.append(
                Lack(f"{record.name}: its yeast is missing; yeasts cannot be compared without it.", "set-up", edit)
            )
    return found


def _zone(preferences: Preferences, browser_zone: str | None) -> list[Lack]:
    if preferences.time_zone != "UTC" or browser_zone in (None, "UTC", "Etc/UTC", preferences.time_zone):
        return []
    return [
        Lack(
            f"Times are shown in UTC, but you seem to be in {browser_zone}.", "set-up", {"part": "cellar"}, urgent=True
        )
    ]
