"""What the screens ask, answered once: one function a question, kept until a new reading or a changed entry.

An answer is kept by what it was computed from (the outlook's own time, the newest reading, the store's revision),
never by its age: no stale screen, no wasted work; and a newer one takes its place.
"""

from __future__ import annotations

import functools
import logging
import re
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any, Final

import plotly.graph_objects as go
import polars as pl

from analysis.fitting import Fit
from analysis.model import Assessment
from analysis.schemas import MARKED
from analysis.wording import Voice, classical_fit, curve_in_words, natural
from dashboard import context
from dashboard.charts import Curve, base, batch, sparkline_svg
from dashboard.queries.attention import Siblings, Standing, needs_of
from dashboard.templates import Markup
from dashboard.wording import voice_of
from ingest.model import BatchRecord, Device, Vessel
from ingest.monitoring import Outlook, asks_for_sample, following_of, schedule_of, wished_c
from ingest.store import DeviceStatus
from ingest.transfer import for_spreadsheets

log = logging.getLogger(__name__)

_KEPT: Final = 8192
"""Small answers that are kept: three of each vessel, a kilobyte or two each, and what else was asked."""
_KEPT_OF: Final = {"figure": 32, "up to date": 32, "cellar": 16, "calendar": 16, "compare": 16, "trial curves": 16}
"""How many answers are kept of a kind that is large: a figure takes a third of a megabyte. Enough for all who look."""
SHARED_S: Final = 1
"""What is told of all vessels is at most this old, seconds, however many look: older, the first screen said of a batch
what its page had ceased to say (the brew day's test found it with 2)."""
_SAME_SG: Final = 0.0003
"""A reading that calibration moved by less than this looks the same as it was sent."""


class Kept:
    """The newest answer to each question; the least used go first. Safe from any thread: one computes, others wait."""

    def __init__(self, size: int = _KEPT) -> None:
        self._size = size
        self._answers: OrderedDict[Hashable, tuple[Hashable, Any]] = OrderedDict()
        self._under_way: dict[Hashable, threading.Lock] = {}
        self._guard = threading.Lock()

    def ask(self, key: Hashable, compute: Callable[[], Any], version: Hashable = None) -> Any:
        """The kept answer to `key` where it was computed from this `version`, else what `compute` gives.

        A newer answer takes the place of the one before: a screen that stands open for a month asks the same question
        of every moment.
        """
        with self._guard:
            if (there := self._answers.get(key)) is not None and there[0] == version:
                self._answers.move_to_end(key)
                return there[1]
            turn = self._under_way.setdefault((key, version), threading.Lock())
        with turn:
            with self._guard:
                if (there := self._answers.get(key)) is not None and there[0] == version:
                    return there[1]
            try:
                answer = compute()
            finally:
                with self._guard:
                    self._under_way.pop((key, version), None)
            with self._guard:
                self._answers[key] = version, answer
                self._answers.move_to_end(key)
                while len(self._answers) > self._size:
                    self._answers.popitem(last=False)
        return answer


_others = Kept()
_answers: Final = {kind: Kept(size) for kind, size in _KEPT_OF.items()}


def kept(key: tuple[Hashable, ...], compute: Callable[[], Any], version: Hashable = None) -> Any:
    """`Kept.ask` of the memory that all screens share for the kind of answer that `key` begins with.

    Answers of another store are never taken for its own.
    """
    return _answers.get(str(key[0]), _others).ask(key, compute, (context.turn(), version))


def voice() -> Voice:
    """The person's units and zone, and now."""
    return voice_of(context.store().preferences())


def standings(say: Voice) -> list[Standing]:
    """All batches under way in the order of need: what presses first, then what comes next."""
    store, outlooks = context.store(), context.service().outlooks
    by_vessel: dict[str, list[DeviceStatus]] = {}
    for word in store.device_statuses():
        if word.vessel_id is not None:
            by_vessel.setdefault(word.vessel_id, []).append(word)
    found = []
    for record in store.active_batches():
        outlook = outlooks.latest(record.batch_id)
        devices = tuple(by_vessel.get(record.vessel_id, ()))
        if outlook is None or all(device.kind != "float" for device in devices):
            found.append(_standing(record, outlook, devices, say))  # what its siblings say of it, they say anew
            continue
        make = functools.partial(_standing, record, outlook, devices, say)
        found.append(kept(("standing", record.batch_id), make, _made_of(outlook, devices, say)))
    return sorted(found, key=_by_need)


def _standing(record: BatchRecord, outlook: Outlook | None, devices: tuple[DeviceStatus, ...], say: Voice) -> Standing:
    beside = Siblings() if any(device.kind == "float" for device in devices) else siblings(record, say)
    needs = tuple(needs_of(outlook, devices, say, beside)) if outlook is not None else ()
    return Standing(record, context.store().get(Vessel, record.vessel_id), outlook, devices, needs, beside)


def _made_of(outlook: Outlook, devices: tuple[DeviceStatus, ...], say: Voice) -> Hashable:
    """All that a batch with a float is told from: every entry, the words of its devices with their ages, the minute."""
    ages = tuple(say.ago(when) for device in devices for when in (device.measured_at, device.received_at))
    minute = say.now.replace(second=0, microsecond=0)
    return context.store().revision, outlook.computed_at, outlook.plan.made_at, devices, ages, minute


def siblings(record: BatchRecord, say: Voice) -> Siblings:
    """What the siblings of a batch without a float let one expect, and whether it wants a hand sample."""
    store, outlooks = context.store(), context.service().outlooks
    if store.floats_in(record.batch_id):
        return Siblings()
    following = following_of(store, outlooks, record, say.now)
    return Siblings(following, asks_for_sample(store, record, following, say.now))


def pictures(found: Sequence[Standing], say: Voice) -> dict[str, Markup]:
    """The small curves of the rows by batch, each drawn once; they move along with now every half hour."""
    return {s.record.batch_id: picture(s.outlook, say) for s in found if s.outlook is not None}


def picture(outlook: Outlook, say: Voice) -> Markup:
    """The small curve of one batch, as it was drawn for whoever asked first."""
    half_hour, seen = int(say.now.timestamp() // 1800), (say.zone.key, say.units.gravity_unit)
    drawn: Markup = kept(
        ("picture", outlook.record.batch_id, *seen),
        lambda: sparkline_svg(outlook.assessment, say.now, curve_in_words(outlook.assessment, say)),
        (outlook.computed_at, half_hour),
    )
    return drawn


def draw_ahead(outlook: Outlook) -> None:
    """Draw the small curve as soon as the batch has been judged: two hundred at once would keep a reader waiting."""
    try:
        picture(outlook, voice())
    except Exception:  # whoever judges goes on judging; the page itself will say what is wrong
        log.warning("the small curve of %s could not be drawn", outlook.record.batch_id, exc_info=True)


def _by_need(standing: Standing) -> tuple[int, str, list[tuple[int, str]]]:
    rank = standing.pressing[0].rank if standing.pressing else 99
    days = [each.day for each in standing.outlook.to_do()] if standing.outlook else []
    name = standing.vessel.name if standing.vessel else standing.record.name
    return rank, min(days).isoformat() if days else "9999", natural(name)


def outlook_of(batch_id: str) -> Outlook | None:
    """A batch's outlook for its page: what the watcher keeps fresh, judged here only when something was entered.

    None while it is judged for the first time elsewhere, or if there is no such batch.
    """
    return context.service().outlooks.of(batch_id, wait=False)


def newcomers() -> list[DeviceStatus]:
    """Devices that speak and have no place yet."""
    return [w for w in context.store().device_statuses() if not w.known]


def up_to_date(outlook: Outlook) -> Assessment:
    """The outlook's assessment with the readings that came after it, not yet judged, added to its points."""
    store, a = context.store(), outlook.assessment
    batch_id = outlook.record.batch_id
    newest = store.newest_reading_at(batch_id)
    if newest is None or (a.newest_reading_at is not None and newest <= a.newest_reading_at):
        return a

    def add() -> Assessment:
        readings = store.readings_of(batch_id)
        since = a.newest_reading_at
        late = readings.filter(pl.col("measured_at") > since) if since else readings
        late = late.with_columns(pl.lit(None, pl.String).alias("set_aside")).select(list(MARKED))
        return replace(a, marked=pl.concat([a.marked.select(list(MARKED)), late.cast(MARKED)]))

    answer: Assessment = kept(("up to date", batch_id), add, (outlook.computed_at, newest))
    return answer


def counts(say: Voice) -> dict[str, Any]:
    """`Store.counts`, asked once in `SHARED_S` for however many look."""
    answer: dict[str, Any] = kept(("counts",), context.store().counts, int(say.now.timestamp() // SHARED_S))
    return answer


def of_all(say: Voice) -> tuple[int, int]:
    """The version of what is told of all vessels or devices: every entry counts, a reading within `SHARED_S`."""
    return int(say.now.timestamp() // SHARED_S), context.store().revision


def problem() -> str | None:
    """What keeps readings from coming in or being kept, in a sentence; None when all is well."""
    service = context.service()
    if service.store.broken:
        return service.store.broken
    status = service.subscriber.status()
    if not status.connected:
        return status.problem or "The connection to the broker is lost; it is tried again by itself."
    return status.problem


def axis_end(outlook: Outlook, say: Voice, shown: datetime | None) -> datetime:
    """Where the time axis ends: where it ended before (`shown`) while that still fits, so that nothing jumps."""
    say = _seen_from(outlook, say)
    end = batch.natural_end(as_it_ended(outlook.assessment, outlook.record), outlook.batch.events, say.now)
    fits = shown is not None and timedelta(days=-1) < shown - end < timedelta(days=4) and shown > say.now
    return shown if fits and shown is not None else end


def _seen_from(outlook: Outlook, say: Voice) -> Voice:
    """A batch that has ended is drawn as it stood then: nothing was measured or inferred of it since."""
    ended = outlook.record.ended_at
    return say if ended is None or ended > say.now else replace(say, now=ended)


def as_it_ended(a: Assessment, record: BatchRecord) -> Assessment:
    """What is drawn of a batch: of one that ended before it had finished, nothing ahead of that."""
    if record.ended_at is None or a.finished:
        return a
    return replace(a, finish=None, course=a.course.filter(pl.col("at") <= max(record.ended_at, a.now)))


def curve(outlook: Outlook, view: base.View, until: datetime | None, zoom: base.Zoom | None) -> Curve:
    """What the batch's figure draws, without the readings that came after its assessment."""
    record, vessel = outlook.record, outlook.vessel
    return Curve(
        assessment=as_it_ended(outlook.assessment, record),
        pitched_at=record.pitched_at,
        original_gravity_sg=record.original_gravity_sg,
        events=outlook.batch.events,
        temperature_range_c=wished_c(record, vessel, record.ended_at or datetime.now(UTC)),
        schedule_c=tuple((s.day, s.low_c, s.high_c) for s in schedule_of(record)),
        until=until,
        zoom=zoom,
        view=view,
    )


def figure(
    outlook: Outlook,
    view: base.View,
    say: Voice,
    until: datetime | None = None,
    zoom: base.Zoom | None = None,
    classical: bool = False,
) -> go.Figure:
    """The batch's curve, drawn once for what it shows; the line of now moves every ten minutes.

    The classical curve is fitted only where it is asked for.
    """
    record, say = outlook.record, _seen_from(outlook, say)
    newest = context.store().newest_reading_at(record.batch_id)
    now = say.now.replace(minute=say.now.minute // 10 * 10, second=0, microsecond=0)

    def draw() -> go.Figure:
        told = curve(outlook, view, until, zoom)
        found = classical_of(outlook) if classical else None
        told = replace(told, classical=None if isinstance(found, str) else found)
        now_read = as_it_ended(up_to_date(outlook), record)
        return batch.batch_figure(replace(told, assessment=now_read, raw=_as_sent(outlook)), say)

    units = (say.zone.key, say.units.temperature_unit)
    key = (record.batch_id, view, until, zoom, units, classical)
    answer: go.Figure = kept(("figure", *key), draw, (outlook.computed_at, newest, now))
    return answer


def classical_of(outlook: Outlook) -> Fit | str:
    """The trade's curve through the readings that were judged, or why there is none; fitted once an assessment."""
    answer: Fit | str = kept(
        ("classical", outlook.record.batch_id),
        lambda: classical_fit(outlook.assessment, outlook.batch),
        outlook.computed_at,
    )
    return answer


def _as_sent(outlook: Outlook) -> pl.DataFrame | None:
    """What the batch's floats said before calibration, where that was a gravity; None where nothing differs."""
    store, record = context.store(), outlook.record
    frames = []
    for device_id, since, left_at in store.device_stays(record):
        device = store.get(Device, device_id)
        if device is None or device.kind != "float":
            continue
        until = left_at or record_end(record)
        if since < until:
            told = store.readings_as_sent(device_id, since=since, until=until)
            frames.append(told.select("measured_at", "gravity_sg").drop_nulls())
    sent = pl.concat(frames) if frames else None
    if sent is None or sent.is_empty():
        return None
    both = outlook.assessment.marked.select("measured_at", pl.col("gravity_sg").alias("ours")).join(
        sent, on="measured_at"
    )
    moved = both.filter((pl.col("ours") - pl.col("gravity_sg")).abs() > _SAME_SG)
    return moved.select("measured_at", "gravity_sg") if moved.height else None


def record_end(record: BatchRecord) -> datetime:
    """When the batch ended, or now."""
    return record.ended_at or datetime.now(UTC)


def readings_csv(batch_id: str) -> bytes:
    """All readings of a batch with why each was set aside, as CSV in UTC."""
    outlook = context.service().outlooks.of(batch_id)
    if outlook is None:
        return b""
    return for_spreadsheets(up_to_date(outlook).marked).write_csv(datetime_format="%Y-%m-%dT%H:%M:%SZ").encode()


def file_name(name: str) -> str:
    """A name that any file system takes."""
    return re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-") or "batch"
