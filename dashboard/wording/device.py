"""What we say about a device: how it does, what it last said, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any, Final

from analysis.display_units import THIN, number
from analysis.wording import Voice, capital, joined, lasted, plural
from ingest import model
from ingest.model import Device, DeviceKind, Situation
from ingest.store import DeviceStatus

WEAK_DBM: Final = -85.0
"""A signal below this is often lost (common practice, no source)."""
_SIGNALS: Final = ((-65.0, "strong"), (-75.0, "good"), (WEAK_DBM, "fair"))
LOW_BATTERY_DAYS: Final = 7.0

KIND_WORDS: Final[dict[DeviceKind, str]] = {"float": "float (gravity)", "probe": "probe (temperature)"}
SITUATION_WORDS: Final[dict[Situation, str]] = {
    "in the liquid": "in the liquid",
    "around the vessel": "around the vessel, in the air or on its wall",
}
FLAG_WORDS: Final[dict[str, str]] = {
    model.NO_CLOCK: "It tells no time, so the time of receipt counts.",
    model.RELATIVE: "It tells times relative to its sending.",
    model.CLOCK_UNSET: "Its clock is not set, so the time of receipt counts.",
    model.CLOCK_AHEAD: "Its clock is ahead, so the time of receipt counts.",
    model.GUESSED_UNIT: "It does not say whether its time is in seconds or milliseconds; that was guessed.",
}


def name_of(device_id: str, device: Device | None) -> str:
    """How a device is called."""
    return device.name if device is not None and device.name else device_id


def signal(dbm: float | None) -> str:
    """A signal in words and numbers."""
    if dbm is None:
        return ""
    word = next((word for border, word in _SIGNALS if dbm >= border), "weak")
    return f"{word} signal, {number(dbm)}{THIN}dBm"


def battery(word: DeviceStatus) -> str:
    """The battery: its charge, and how long it lasts where its trend says so."""
    parts = []
    if word.battery_v is not None:
        parts.append(f"battery {number(word.battery_v, 2)}{THIN}V")
    if word.battery_pct is not None:
        parts.append(
            f"battery {number(word.battery_pct)}{THIN}%" if not parts else f"{number(word.battery_pct)}{THIN}%"
        )
    if word.battery_days_left is not None:
        days = round(word.battery_days_left)
        parts.append(f"about {plural(days, 'day')} left" if days else "about to run out")
    return ", ".join(parts)


def usual(word: DeviceStatus) -> str:
    """How often it speaks."""
    return "" if word.usual_interval_s is None else f"usually every {lasted(timedelta(seconds=word.usual_interval_s))}"


def measured(word: DeviceStatus, say: Voice) -> list[str]:
    """What it last measured, as it said it."""
    parts = []
    if word.gravity_sg is not None:
        parts.append(say.gravity(word.gravity_sg))
    if word.inclination_deg is not None:
        parts.append(f"{number(word.inclination_deg, 1)}° inclined")
    if word.temperature_c is not None:
        parts.append(say.temperature(word.temperature_c))
    return parts


def figures(word: DeviceStatus, say: Voice) -> list[str]:
    """Its last word quietly: what it measured, battery and signal."""
    return [*measured(word, say), *(p for p in (battery(word), signal(word.signal_dbm)) if p)]


def resting(word: DeviceStatus) -> bool:
    """Whether a device is put to no work now, so that its silence means nothing."""
    return word.known and word.vessel_id is None


def age(word: DeviceStatus, say: Voice) -> str:
    """How old its newest reading is, as every page says it; and when it was heard, where it sent what it had kept."""
    read = say.ago(word.measured_at)
    heard = say.ago(word.received_at)
    return f"heard {heard}" if heard == read else f"last reading {read}, heard {heard}"


def troubles(word: DeviceStatus, say: Voice) -> list[str]:
    """What is odd about a device, in sentences; empty where all is well."""
    found: list[str] = []
    if resting(word):
        return found
    if word.silent:
        how_often = f", {usual(word)}" if usual(word) else ""
        found.append(f"Silent: last heard {say.ago(word.received_at)}{how_often}.")
    if word.battery_days_left is not None and word.battery_days_left < LOW_BATTERY_DAYS:
        found.append(
            f"Its battery lasts about {plural(max(round(word.battery_days_left), 1), 'more day', 'more days')}."
        )
    if word.signal_dbm is not None and word.signal_dbm < WEAK_DBM:
        found.append(f"Its signal is weak ({number(word.signal_dbm)}{THIN}dBm); readings may be lost.")
    if word.time_flag in (model.CLOCK_UNSET, model.CLOCK_AHEAD):
        found.append(FLAG_WORDS[word.time_flag])
    return found


def sentence(word: DeviceStatus, vessel_name: str | None, say: Voice) -> str:
    """How a device does, in one or two sentences."""
    odd = troubles(word, say)
    if odd:
        return " ".join(odd)
    heard = age(word, say)
    if not word.known:
        return f"New: waits for a vessel, {heard}."
    if vessel_name is None:
        return f"At rest, in no vessel; {heard}."
    often = f", {usual(word)}" if usual(word) else ""
    return f"{capital(heard)}{often}."


def rank(word: DeviceStatus, say: Voice) -> tuple[int, str]:
    """The silent and odd first, then the new, then those at work, then those at rest."""
    if resting(word):
        order = 5
    elif word.silent:
        order = 0
    elif troubles(word, say):
        order = 1
    elif not word.known:
        order = 2
    else:
        order = 4
    return order, word.device_id


def lead(words: Sequence[DeviceStatus], devices: dict[str, Device], say: Voice) -> str:
    """The first line: are the instruments telling the truth?"""
    if not words:
        return "No device has spoken yet."

    def names(of: Sequence[DeviceStatus]) -> str:
        called = [name_of(w.device_id, devices.get(w.device_id)) for w in of]
        return joined(called) if len(called) < 4 else plural(len(called), "device")

    at_work = [w for w in words if not resting(w)]
    silent = [w for w in at_work if w.silent]
    odd = [w for w in at_work if not w.silent and troubles(w, say)]
    new = [w for w in at_work if not w.known and not w.silent]
    parts = []
    if silent:
        parts.append(f"{names(silent)} {'is' if len(silent) == 1 else 'are'} silent")
    if odd:
        parts.append(f"{names(odd)} {'needs' if len(odd) == 1 else 'need'} a look")
    if new:
        parts.append(f"{names(new)} {'waits' if len(new) == 1 else 'wait'} for a vessel")
    if parts:
        text = f"{joined(parts)}."
        return text if text.startswith(tuple(w.device_id for w in words)) else capital(text)
    if not at_work:
        return "No device is at work."
    return (
        "The one device at work speaks."
        if len(at_work) == 1
        else f"All {plural(len(at_work), 'device')} at work speak."
    )


def value_text(value: Any) -> str:
    """Anything a device sent, short enough for a line."""
    text = str(value)
    return text if len(text) <= 60 else text[:57] + "…"
