"""What is worth a message: for each kind, when it holds, when it is over, and what to say.

Every condition has three answers: it holds, it is over, or neither (no change). Together with the times it must last
before it counts either way, that is the hysteresis: a value that dithers about a border is told once.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Final, Literal, get_args
from zoneinfo import ZoneInfo

from analysis.display_units import THIN, DisplayUnits, number
from analysis.display_units import day as day_words
from analysis.model import Batch, events_of
from analysis.planning import Act, cold_keg, done_so_far
from analysis.wording import FORECAST_ONLY, how_sure, reason
from analysis.wording import cold_keg as cold_keg_words
from ingest.model import Preferences
from ingest.monitoring.wished import wished_c

if TYPE_CHECKING:
    from ingest.monitoring.lots import LotWarning
    from ingest.monitoring.outlook import Outlook
    from ingest.store import DeviceStatus

NotifyKind = Literal[
    "finished",
    "stalled",
    "hop day tomorrow",
    "packaging tomorrow",
    "date moved",
    "temperature outside its range",
    "renewed fall after hops",
    "sensor silent",
    "battery low",
    "lot gushed or burst",
]
NOTIFY_KINDS: Final[tuple[NotifyKind, ...]] = get_args(NotifyKind)
"""The kinds a person can choose among; none chosen means all of them."""

_TEMPERATURE_MARGIN_C: Final = 0.3
"""°C; how far outside its range a temperature must be to be told. No source: a probe's usual error."""
_EVES: Final[dict[Act, NotifyKind]] = {"hops in": "hop day tomorrow", "package": "packaging tomorrow"}
_EVE_HOUR: Final = 9
"""Local hour from which the day before is told."""

# Common practice for small lithium cells, no source: low near 3.5 V or a sixth of the charge.
_BATTERY_LOW = (3.5, 15.0, 3.0)
_BATTERY_FINE = (3.7, 30.0, 10.0)

Name = Callable[[str], str]


@dataclass(frozen=True, slots=True)
class Eve:
    """An act that is announced the day before, and its words: a late message says "today" on the day."""

    act: Act
    dose: int
    doses: int
    day: date
    subject: str

    def title(self, today: date) -> str:
        """Such as ``Saison in Vessel 3: hop day tomorrow``."""
        return f"{self.subject}: {'packaging' if self.act == 'package' else 'hop day'} {self._when(today)}"

    def body(self, today: date) -> str:
        """The sentence, without the plan's reason."""
        dose = f", dose {self.dose} of {self.doses}," if self.doses > 1 else ""
        act = "Packaging" if self.act == "package" else f"Hops go in{dose}"
        forecast = f" {FORECAST_ONLY}" if self.act == "package" else ""
        return f"{act} {self._when(today)}, {day_words(self.day)}: {self.subject}.{forecast}"

    def _when(self, today: date) -> str:
        return "today" if self.day <= today else "tomorrow"


def mark_of(batch: Batch) -> str:
    """What is done so far with a batch, as short text: it changes with every dose, hops out and packaging logged."""
    done = done_so_far(batch)
    return f"{done.doses}{' out' if done.hops_out else ''}{' packaged' if done.packaged else ''}"


@dataclass(frozen=True, slots=True)
class Condition:
    """One thing that may be told, at one moment. `state` is True (holds), False (over) or None (neither)."""

    key: str
    kind: NotifyKind
    state: bool | None
    title: str = ""
    body: str = ""
    lasts: timedelta = timedelta(0)
    over_for: timedelta = timedelta(hours=12)
    reason: str = ""
    """The plan's, which is added in sending while nothing was done meanwhile that makes it old."""
    batch_id: str = ""
    done: str = ""
    """What had been done with the batch when this was said; see `mark_of`."""
    eve: Eve | None = None


def conditions(
    now: datetime,
    outlooks: Sequence[Outlook],
    device_statuses: Sequence[DeviceStatus],
    preferences: Preferences,
    device_name: Name,
    lots: Sequence[LotWarning] = (),
) -> Iterator[Condition]:
    """Every condition of every kind, whether it holds or not."""
    yield from map(_of_lot, lots)
    vessels = {}
    for outlook in outlooks:
        yield from _of_batch(now, outlook, preferences)
        vessels[outlook.vessel.vessel_id if outlook.vessel else outlook.record.vessel_id] = outlook
    for word in device_statuses:
        if word.known and word.vessel_id in vessels:
            yield from _of_device(now, word, _subject(vessels[word.vessel_id]), device_name)


def _of_lot(warning: LotWarning) -> Condition:
    """Told once for each lot and result; quiet once somebody has found all packages in doubt."""
    name, found = warning.record.name, warning.found
    others = [related.record.name for related in warning.related]
    also = f" Also in doubt, of the same wort or yeast: {', '.join(others)}." if others else ""
    did = "burst" if found.result == "burst" else "gushed"
    return Condition(
        f"lot:{warning.record.batch_id}:{found.result}",
        "lot gushed or burst",
        not warning.looked_after,
        f"{name}: a bottle {did}",
        f"{warning.sentence} Do not carry, shake, open or warm the bottles of this lot; keep people away, and tell "
        f"whoever has some. Its packaging page says what to do.{also}",
    )


def _subject(outlook: Outlook) -> str:
    where = outlook.vessel.name if outlook.vessel else ""
    return f"{outlook.record.name} in {where}" if where and where != outlook.record.name else outlook.record.name


def _of_batch(now: datetime, outlook: Outlook, preferences: Preferences) -> Iterator[Condition]:
    a, what, batch_id = outlook.assessment, _subject(outlook), outlook.record.batch_id
    yield _of_finish(outlook, what, preferences.units)
    yield Condition(
        f"stalled:{batch_id}",
        "stalled",
        a.stalled,
        f"{what}: stalled",
        f"{what} has stopped short of where it should end. Take a hand sample first: a stuck float looks the same.",
    )
    yield _of_renewed_fall(now, outlook, what)
    yield _of_temperature(outlook, what, preferences.units)
    yield from _of_eves(now, outlook, what, preferences)


def _of_finish(outlook: Outlook, what: str, units: DisplayUnits) -> Condition:
    a, batch_id, asked_h = outlook.assessment, outlook.record.batch_id, number(outlook.batch.hold_h)
    held = (
        f"The gravity has held for {int(a.held_h)} hours; you asked for {asked_h}."
        if a.held_h >= outlook.batch.hold_h
        else f"The gravity has held for {int(a.held_h)} of {asked_h} hours."
    )
    return Condition(
        f"finished:{batch_id}",
        "finished",
        a.finished,
        f"{what}: finished",
        f"{what} has very likely finished{how_sure(a, units)}. {held}",
        over_for=timedelta(hours=24),
        reason=reason(outlook.plan.reason, units),
        batch_id=batch_id,
        done=mark_of(outlook.batch),
    )


def _of_renewed_fall(now: datetime, outlook: Outlook, what: str) -> Condition:
    a, keg_day = outlook.assessment, outlook.plan.cold_keg_day
    hopped = bool(events_of(outlook.batch, "dry hop", "hops out"))
    since = "since the hops went in" if hopped else "after it had seemed to end"
    then = " Bottles wait until it has held again."
    if keg_day:
        then += f" {cold_keg_words(cold_keg(keg_day, a, now))}"
    if done_so_far(outlook.batch).packaged:
        then = " It is packaged: sealed bottles may build pressure. Keep the lot cold and open a test bottle with care."
    return Condition(
        f"creep:{outlook.record.batch_id}",
        "renewed fall after hops",
        a.creep is not None or a.phase == "creeping",
        f"{what}: renewed fall{' after hops' if hopped else ''}",
        f"The gravity of {what} is falling again {since}.{then}",
        over_for=timedelta(hours=24),
    )


def _of_eves(now: datetime, outlook: Outlook, what: str, preferences: Preferences) -> Iterator[Condition]:
    local = now.astimezone(ZoneInfo(preferences.time_zone))
    today, tomorrow = local.date(), local.date() + timedelta(days=1)
    for each in outlook.to_do(today):
        kind = _EVES.get(each.act)
        if kind is None or each.day != tomorrow or local.hour < _EVE_HOUR:
            continue
        eve = Eve(each.act, each.dose, each.doses, tomorrow, what)
        yield Condition(
            f"{kind}:{outlook.record.batch_id}:{tomorrow}",
            kind,
            True,
            eve.title(today),
            eve.body(today),
            reason=reason(outlook.plan.reason, preferences.units),
            batch_id=outlook.record.batch_id,
            done=mark_of(outlook.batch),
            eve=eve,
        )


def _of_temperature(outlook: Outlook, what: str, units: DisplayUnits) -> Condition:
    low, high = wished_c(outlook.record, outlook.vessel, outlook.assessment.now)
    is_c, state = outlook.temperature_here_c, None
    if low is None and high is None:
        state = False
    elif is_c is not None:
        below, above = -math.inf if low is None else low, math.inf if high is None else high
        if is_c < below - _TEMPERATURE_MARGIN_C or is_c > above + _TEMPERATURE_MARGIN_C:
            state = True
        elif below <= is_c <= above:
            state = False
    return Condition(
        f"temperature:{outlook.record.batch_id}",
        "temperature outside its range",
        state,
        f"{what}: temperature outside its range",
        f"{what} is at {units.temperature(is_c)}; you wished for {_wished(low, high, units)}." if state else "",
        lasts=timedelta(minutes=30),
        over_for=timedelta(hours=2),
    )


def _wished(low: float | None, high: float | None, units: DisplayUnits) -> str:
    if low is None:
        return f"at most {units.temperature(high)}"
    if high is None:
        return f"at least {units.temperature(low)}"
    return f"{units.temperature(low)} to {units.temperature(high)}"


def _of_device(now: datetime, word: DeviceStatus, what: str, device_name: Name) -> Iterator[Condition]:
    low = _battery_low(word)
    name = device_name(word.device_id) if word.silent or low else ""  # asks the store, so only where it is said
    silent_h = (now - word.received_at).total_seconds() / 3600
    yield Condition(
        f"silent:{word.device_id}",
        "sensor silent",
        word.silent,
        f"{name}: silent",
        f"{name}, in {what}, was last heard {number(silent_h, 1)} hours ago. Silence says nothing about the gravity.",
        over_for=timedelta(hours=1),
    )
    yield Condition(
        f"battery:{word.device_id}",
        "battery low",
        low,
        f"{name}: battery low",
        f"The battery of {name}, in {what}, is low{_battery_words(word)}.",
        lasts=timedelta(hours=1),
        over_for=timedelta(hours=6),
    )


def _battery_low(word: DeviceStatus) -> bool | None:
    said = (word.battery_v, word.battery_pct, word.battery_days_left)
    known = [(v, low, fine) for v, low, fine in zip(said, _BATTERY_LOW, _BATTERY_FINE, strict=True) if v is not None]
    if any(value <= low for value, low, _ in known):
        return True
    return False if known and all(value >= fine for value, _, fine in known) else None


def _battery_words(word: DeviceStatus) -> str:
    if word.battery_days_left is not None and word.battery_days_left <= _BATTERY_FINE[2]:
        return f": about {number(word.battery_days_left)} days left"
    if word.battery_pct is not None:
        return f": {number(word.battery_pct)}{THIN}%"
    return f": {number(word.battery_v, 2)}{THIN}V" if word.battery_v is not None else ""
