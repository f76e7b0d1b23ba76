"""Word that reaches the person: messages by the apprise library, and the retained verdict for MQTT.

A message is put into an outbox in the store before it is sent and taken out after, so that a restart loses none; a
crash between the two sends that one again. Nothing is sent unless the person has set up an address.
"""

from __future__ import annotations

import hashlib
import json
import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any, Final, cast
from zoneinfo import ZoneInfo

from analysis.display_units import DisplayUnits
from analysis.model import Assessment
from analysis.planning import (
    Act,
    ToDo,
    days_to_come,
    done_so_far,
    first_of,
    moved,
    reading_fresh,
    release_of_the_gravity,
)
from analysis.wording import float_shows, reason
from analysis.wording import moved as moved_words
from ingest import logs, program
from ingest.errors import StoreError
from ingest.model import BatchRecord, Device, Preferences
from ingest.monitoring.alert_conditions import NOTIFY_KINDS, Condition, Eve, NotifyKind, conditions, mark_of
from ingest.monitoring.lots import LotWarning, lot_warnings

if TYPE_CHECKING:
    from ingest.monitoring.outlook import Outlook
    from ingest.store import DeviceStatus, Store

__all__ = ["NOTIFY_KINDS", "Message", "Notifier", "NotifyKind", "Sent", "apprise_send", "escaped", "verdict_message"]

log = logging.getLogger(__name__)
logging.getLogger("apprise").setLevel(logging.CRITICAL)  # its warnings may hold addresses with passwords

Send = Callable[[Sequence[str], str, str], bool]
"""Takes addresses, title and body; True once every address took it."""

_NOTE: Final = "notify"
_FIRST_RETRY: Final = timedelta(minutes=1)
_LONGEST_RETRY: Final = timedelta(hours=6)
_KEEP_FOR: Final = timedelta(days=7)
"""A message that nobody took for a week is old news and is dropped, with a line in the log."""
_MOVE_LASTS: Final = timedelta(hours=2)
"""A date must stay moved for this long before it is told."""


def apprise_send(urls: Sequence[str], title: str, body: str) -> bool:
    """Send by apprise to every address (e-mail, push, chat); False if one cannot be read or did not take it.

    The body is declared to be plain text: apprise then escapes it wherever a service shows HTML or Markdown, and a name
    such as ``<b>`` stays in the text of a mail.
    """
    import apprise  # loads for a while, and nobody's start is to wait for it

    sender = apprise.Apprise()
    readable = [bool(sender.add(url)) for url in urls]
    if not readable or not all(readable):
        return False
    return bool(sender.notify(body=body, title=title, body_format=apprise.NotifyFormat.TEXT))


@dataclass(slots=True)
class Message:
    """One message in the outbox; times are RFC 3339."""

    kind: str
    title: str
    body: str
    at: str
    not_before: str
    tries: int = 0
    taken_by: list[str] = field(default_factory=list)
    """Digests of the addresses that took it already, so that one that refuses does not repeat it to the others."""
    key: str = ""
    batch_id: str = ""
    act: str = ""
    """The act that it asks for or speaks of, with its dose; it is not sent once that is done."""
    dose: int = 1
    doses: int = 1
    day: str = ""
    """Of an act that is announced the day before; in sending it says "today" where it is late."""
    subject: str = ""
    reason: str = ""
    done: str = ""
    """What had been done when this was said; the plan's `reason` is left out of what is sent once more has been."""

    @property
    def eve(self) -> Eve | None:
        """What it announces, where it announces an act."""
        if not self.day:
            return None
        return Eve(cast("Act", self.act), self.dose, self.doses, date.fromisoformat(self.day), self.subject)


@dataclass(frozen=True, slots=True)
class Sent:
    """How a test message went, in a sentence."""

    good: bool
    sentence: str


@dataclass
class _State:
    """What was told and what is still to be sent; one JSON note in the store."""

    raised: dict[str, str] = field(default_factory=dict)
    over_since: dict[str, str] = field(default_factory=dict)
    holds_since: dict[str, str] = field(default_factory=dict)
    dates: dict[str, dict[str, str | None]] = field(default_factory=dict)
    judged_by: dict[str, str] = field(default_factory=dict)
    """The version of tunroom whose dates were told of each batch."""
    outbox: list[Message] = field(default_factory=list)

    @classmethod
    def read(cls, text: str | None) -> _State:
        try:
            note = json.loads(text) if text else {}
            outbox = [Message(**m) for m in note.pop("outbox", [])]
            return cls(**note, outbox=outbox)
        except (ValueError, TypeError):
            log.warning("the kept messages cannot be read; starting with none")
            return cls()

    def text(self) -> str:
        return json.dumps(asdict(self), ensure_ascii=False, sort_keys=True)


class Notifier:
    """Decides what to tell, once each, and sends it; safe to call from any thread.

    Parameters
    ----------
    store
        Keeps what was told and what is still to be sent.
    send
        How to send; apprise unless another is given.
    version
        This program's; after an upgrade the dates that moved are told in one message.
    """

    def __init__(self, store: Store, send: Send = apprise_send, *, version: str | None = None) -> None:
        self._version = version or program.version()
        self._store = store
        self._send = send
        self._guard = threading.RLock()
        self._kept = store.get_note(_NOTE)
        self._state = _State.read(self._kept)

    def consider(
        self,
        now: datetime,
        outlooks: Sequence[Outlook],
        device_statuses: Sequence[DeviceStatus],
        preferences: Preferences,
    ) -> list[Message]:
        """Put what is new into the outbox, and return it. Without an address nothing is considered told."""
        logs.hide(*preferences.notify_urls, preferences.calendar_token)  # before any of it can be logged
        if not preferences.notify_urls:
            return []
        with self._guard:
            chosen = set(preferences.notify_kinds or NOTIFY_KINDS)
            lots = lot_warnings(self._store.all(BatchRecord))
            new = [
                message
                for condition in conditions(now, outlooks, device_statuses, preferences, self._device_name, lots)
                if condition.kind in chosen and (message := self._tell(condition, now)) is not None
            ]
            if "date moved" in chosen:
                today = now.astimezone(ZoneInfo(preferences.time_zone)).date()
                new += self._upgraded(outlooks, now)
                new += [m for outlook in outlooks for m in self._moves(outlook, now, today, preferences.units)]
            self._forget(outlooks, device_statuses, lots)
            self._withdraw_moved(now, outlooks, preferences)
            self._state.outbox += new
            self._save()
            return new

    def send_due(self, now: datetime) -> int:
        """Send what is due, unless the hours are quiet; return how many were sent."""
        with self._guard:
            preferences = self._store.preferences()
            if not self._state.outbox or not preferences.notify_urls or is_quiet(now, preferences):
                return 0
            sent = 0
            for message in list(self._state.outbox):
                if datetime.fromisoformat(message.not_before) > now:
                    continue
                wording = self._as_it_stands(message, now, preferences)
                if wording is None:
                    self._withdraw(message)
                elif self._try(preferences.notify_urls, message, *wording):
                    self._state.outbox.remove(message)
                    sent += 1
                else:
                    self._later(message, now)
                self._save()
            return sent

    def test(self) -> Sent:
        """Send a test message now, whatever the hour."""
        urls = self._store.preferences().notify_urls
        logs.hide(*urls)
        if not urls:
            return Sent(False, "No address is set up yet: nothing is sent until one is.")
        import apprise

        unreadable = [str(n) for n, url in enumerate(urls, 1) if not apprise.Apprise().add(url)]
        if unreadable and self._send is apprise_send:
            return Sent(
                False, f"Address {', '.join(unreadable)} cannot be read; see the apprise documentation for its form."
            )
        message = Message("test", "A test", "This is a test message. If you read it, word will reach you here.", "", "")
        if self._try(urls, message, message.title, message.body):
            return Sent(True, "The test message was handed over. Look whether it has arrived.")
        return Sent(False, "The test message was refused. Check the address, the password and the connection.")

    @property
    def waiting(self) -> tuple[Message, ...]:
        """What is still to be sent."""
        with self._guard:
            return tuple(self._state.outbox)

    def _tell(self, condition: Condition, now: datetime) -> Message | None:
        state, key, stamp = self._state, condition.key, now.isoformat()
        if condition.state is True:
            state.over_since.pop(key, None)
            since = state.holds_since.setdefault(key, stamp)
            if key in state.raised or now - datetime.fromisoformat(since) < condition.lasts:
                return None
            state.raised[key] = stamp
            message = Message(condition.kind, condition.title, condition.body, stamp, stamp, key=key)
            message.batch_id, message.reason, message.done = condition.batch_id, condition.reason, condition.done
            if (eve := condition.eve) is not None:
                message.act, message.dose, message.doses = eve.act, eve.dose, eve.doses
                message.day, message.subject = eve.day.isoformat(), eve.subject
            return message
        if condition.state is False:
            state.holds_since.pop(key, None)
            if key in state.raised:
                since = state.over_since.setdefault(key, stamp)
                if now - datetime.fromisoformat(since) >= condition.over_for:
                    del state.raised[key], state.over_since[key]
        return None

    def _moves(self, outlook: Outlook, now: datetime, today: date, units: DisplayUnits) -> list[Message]:
        told = self._state.dates.setdefault(outlook.record.batch_id, {})
        found = []
        to_do = outlook.to_do()
        for each in (first_of(to_do, "hops in"), first_of(to_do, "package")):
            if each is None:
                continue
            name, day = _called(each), each.day
            if day <= today and each.act == "hops in":  # due: no longer a date that moves
                told[name] = day.isoformat()
                continue
            before = told.get(name)
            change = moved(date.fromisoformat(before), day) if before else None
            pending = f"moved:{outlook.record.batch_id}:{name}"
            if change is None:
                self._state.holds_since.pop(pending, None)
                if before is None:
                    told[name] = day.isoformat()
                continue
            since = self._state.holds_since.setdefault(pending, now.isoformat())
            if now - datetime.fromisoformat(since) < _MOVE_LASTS:
                continue
            del self._state.holds_since[pending]
            told[name] = day.isoformat()
            title = f"{outlook.record.name}: date moved"
            stamp = now.isoformat()
            message = Message("date moved", title, moved_words(change, name), stamp, stamp)
            message.batch_id = outlook.record.batch_id
            message.act, message.dose = each.act, each.dose
            message.reason, message.done = reason(outlook.plan.reason, units), mark_of(outlook.batch)
            found.append(message)
        return found

    def _upgraded(self, outlooks: Sequence[Outlook], now: datetime) -> list[Message]:
        """Gather what an upgrade moved: of each batch the dates at the first look since, all in one message."""
        lines, before = [], set()
        for outlook in outlooks:
            batch_id = outlook.record.batch_id
            told, by = self._state.dates.get(batch_id), self._state.judged_by.get(batch_id, "an earlier version")
            self._state.judged_by[batch_id] = self._version
            if not told or by == self._version:
                continue
            to_do = outlook.to_do()
            for each in (first_of(to_do, "hops in"), first_of(to_do, "package")):
                if each is None or (was := told.get(_called(each))) is None:
                    continue
                self._state.holds_since.pop(f"moved:{batch_id}:{_called(each)}", None)
                change = moved(date.fromisoformat(was), each.day)
                if change is not None:
                    told[_called(each)] = each.day.isoformat()
                    lines.append(f"{outlook.record.name}: {moved_words(change, _called(each))}")
                    before.add(by)
        if not lines:
            return []
        dates = "1 date" if len(lines) == 1 else f"{len(lines)} dates"
        because = (
            f"tunroom was upgraded from {' and '.join(sorted(before))} to {self._version}, which judges some things "
            "otherwise; what was read meanwhile counts as well."
        )
        stamp = now.isoformat()
        title = f"After the upgrade: {dates} moved"
        return [Message("date moved", title, "\n".join((because, *lines)), stamp, stamp)]

    def _as_it_stands(self, message: Message, now: datetime, preferences: Preferences) -> tuple[str, str] | None:
        """Title and body as they are true at this moment; None where it asks for what is done, or over.

        The store is asked and not the outlook that the message was made from: an entry may be newer than that.
        """
        title, body = message.title, message.body
        if not message.batch_id:
            return title, body
        record = self._store.get(BatchRecord, message.batch_id)
        over = record is None or (record.ended_at is not None and record.ended_at <= now)
        batch = None if over else self._store.batch(message.batch_id)
        if message.act and (batch is None or done_so_far(batch).has(cast("Act", message.act), message.dose)):
            return None
        if (eve := message.eve) is not None:
            today = now.astimezone(ZoneInfo(preferences.time_zone)).date()
            if eve.day < today:
                return None
            title, body = eve.title(today), eve.body(today)
        if message.reason and batch is not None and mark_of(batch) == message.done:
            body = f"{body} {message.reason}"
        return title, body

    def _withdraw_moved(self, now: datetime, outlooks: Sequence[Outlook], preferences: Preferences) -> None:
        """Take back what still waits and announces a day that the plan has left meanwhile."""
        today = now.astimezone(ZoneInfo(preferences.time_zone)).date()
        plans = {outlook.record.batch_id: outlook for outlook in outlooks}
        for message in list(self._state.outbox):
            eve, outlook = message.eve, plans.get(message.batch_id)
            if eve is None or outlook is None:
                continue
            days = {(t.act, t.dose): t.day for t in outlook.to_do(today)}
            if days.get((eve.act, eve.dose)) != eve.day:
                self._withdraw(message)

    def _withdraw(self, message: Message) -> None:
        """Unsent, it counts as not told: should it come true again, by an undone entry, it is said again."""
        self._state.outbox.remove(message)
        if not message.taken_by:
            self._state.raised.pop(message.key, None)

    def _forget(
        self, outlooks: Sequence[Outlook], device_statuses: Sequence[DeviceStatus], lots: Sequence[LotWarning]
    ) -> None:
        """Drop what was told of batches that have ended and devices that are gone, so that the note stays small."""
        alive = {o.record.batch_id for o in outlooks} | {w.device_id for w in device_statuses}
        alive |= {lot.record.batch_id for lot in lots}
        for kept in (self._state.raised, self._state.over_since, self._state.holds_since):
            for key in [k for k in kept if not any(f":{name}" in k for name in alive)]:
                del kept[key]
        for by_batch in (self._state.dates, self._state.judged_by):
            for batch_id in [b for b in by_batch if b not in alive]:
                del by_batch[batch_id]

    def _device_name(self, device_id: str) -> str:
        device = self._store.get(Device, device_id)
        return device.name if device is not None and device.name else device_id

    def _try(self, urls: Sequence[str], message: Message, title: str, body: str) -> bool:
        """Hand the message to every address that has not taken it; True once all have."""
        for url in urls:
            digest = _digest(url)
            if digest in message.taken_by:
                continue
            try:
                taken = self._send([url], title, body)
            except Exception:  # whatever a library of many services raises, the watch goes on and the message is kept
                taken = False
            if taken:
                message.taken_by.append(digest)
        if all(_digest(url) in message.taken_by for url in urls):
            return True
        log.warning("a message of the kind %r was not taken by every address; it will be tried again", message.kind)
        return False

    def _later(self, message: Message, now: datetime) -> None:
        message.tries += 1
        if now - datetime.fromisoformat(message.at) > _KEEP_FOR:
            log.warning("a message of the kind %r was not taken for a week and is dropped", message.kind)
            self._state.outbox.remove(message)
            return
        wait = min(_FIRST_RETRY * 2 ** min(message.tries - 1, 10), _LONGEST_RETRY)
        message.not_before = (now + wait).isoformat()

    def _save(self) -> None:
        text = self._state.text()
        if text == self._kept:
            return
        try:
            self._store.set_note(_NOTE, text)
            self._kept = text
        except StoreError as error:
            log.warning("messages could not be kept, they stay in memory: %s", error)


def _called(each: ToDo) -> str:
    """How a date is called whose moves are told; the next dose has a day of its own, to which the last did not move."""
    if each.act == "package":
        return "Packaging day"
    return "Hop day" if each.dose == 1 else f"Hop day of dose {each.dose}"


def _digest(url: str) -> str:
    """What stands for an address where the address itself, which may hold a password, must not be written."""
    return hashlib.sha256(url.encode()).hexdigest()[:12]


def is_quiet(now: datetime, preferences: Preferences) -> bool:
    """Whether the person's quiet hours hold at this instant, in their zone; they may run over midnight."""
    start, end = preferences.quiet_from, preferences.quiet_to
    if start is None or end is None or start == end:
        return False
    local: time = now.astimezone(ZoneInfo(preferences.time_zone)).time()
    return start <= local < end if start < end else local >= start or local < end


def escaped(name: str) -> str:
    """A name as one level of an MQTT topic: ``/``, ``+``, ``#``, ``%`` and control characters percent-encoded."""
    return "".join(f"%{ord(c):02X}" if c in "/+#%" or ord(c) < 32 or 127 <= ord(c) < 160 else c for c in name)


def verdict_topic(outlook: Outlook) -> str:
    """Where below the prefix the verdict of a batch is retained."""
    return f"verdict/{escaped(_place(outlook))}"


def _place(outlook: Outlook) -> str:
    return outlook.vessel.name if outlook.vessel else outlook.record.vessel_id


def _float_shows(a: Assessment) -> float | None:
    """What the float shows, where it is off; to the point, so that the message changes only when that does."""
    shown_sg = float_shows(a)
    return None if shown_sg is None else round(shown_sg, 3)


def verdict_message(outlook: Outlook, units: DisplayUnits) -> tuple[str, bytes]:
    """The retained verdict of a batch: topic below the prefix, and JSON, its one sentence in these units.

    It carries no more than what a light, a relay or a script needs, and changes only when the verdict does. The days
    are those still to come: null once the hops are in, or it is packaged.
    """
    a, plan = outlook.assessment, outlook.plan

    def hour(when: datetime | None) -> str | None:
        return None if when is None else when.astimezone(UTC).replace(minute=0, second=0, microsecond=0).isoformat()

    days = days_to_come(outlook.to_do())

    def chance(value: Any) -> float | None:
        return None if value is None else round(value, 2)

    fresh = reading_fresh(a, plan.made_at)
    gate = release_of_the_gravity(a, outlook.batch, now=plan.made_at)
    verdict: dict[str, Any] = {
        "vessel": _place(outlook),
        "batch": outlook.record.name,
        "phase": a.phase,
        # A relay may act on it: nothing may ferment on, and the hold must have been seen, not only in the past.
        "finished": a.ready and gate.ended and fresh,
        "stalled": a.stalled,
        "hold_met": a.hold_met and fresh,
        "held_h": int(a.held_h),
        "p_finished": None if a.p_finished is None else round(a.p_finished, 2),
        "gravity_sg": None if a.gravity_sg is None else round(a.gravity_sg.p50, 4),
        "float_gravity_sg": _float_shows(a),
        "finish_p10": hour(a.finish.p10) if a.finish else None,
        "finish_p50": hour(a.finish.p50) if a.finish else None,
        "finish_p90": hour(a.finish.p90) if a.finish else None,
        "newest_reading_at": hour(a.newest_reading_at),
        "hop_day": days["hop_day"],
        "hop_chance": chance(days["hop_chance"]),
        "packaging_day": days["packaging_day"],
        "packaging_chance": chance(days["packaging_chance"]),
        "reason": reason(plan.reason, units),
        "may_package": plan.may_package,
    }
    return verdict_topic(outlook), json.dumps(verdict, ensure_ascii=False).encode()
