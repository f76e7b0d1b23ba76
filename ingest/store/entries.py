"""All entries of the cellar at one moment, and what makes sense among them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any, Final, TypeVar, cast
from zoneinfo import ZoneInfo

from analysis.calibration import check_points
from analysis.errors import CalibrationError
from analysis.model import EventKind
from ingest.calibration import check_sample
from ingest.errors import EntryError, in_units
from ingest.model import (
    BatchRecord,
    BatchStay,
    CalibrationRecord,
    Device,
    EventRecord,
    HandSample,
    Note,
    Photo,
    Placement,
    Preferences,
    Record,
    Rejection,
    TrialRecord,
    Vessel,
    Yeast,
    check_hold_h,
)
from ingest.store.row_mapping import TABLES, key_of
from ingest.tastings import Taster, Tasting, TastingAnswer

R = TypeVar("R")

_FAR: Final = datetime.max.replace(tzinfo=UTC)

_PARTS: Final[dict[type, tuple[tuple[type, str], ...]]] = {
    BatchRecord: ((EventRecord, "batch_id"), (HandSample, "batch_id"), (Photo, "batch_id"), (BatchStay, "batch_id")),
    EventRecord: ((BatchStay, "stay_id"),),  # a transfer that is taken back took the batch nowhere
    Device: ((CalibrationRecord, "device_id"), (Placement, "device_id")),
    Vessel: ((Placement, "vessel_id"),),
    Tasting: ((TastingAnswer, "tasting_id"), (Taster, "tasting_id")),
    Taster: ((TastingAnswer, "taster_id"),),
}
"""What goes away with a record, and comes back with it."""

_EVENTS: Final[dict[EventKind, str]] = {
    "pitch": "the pitching of",
    "dry hop": "the dry hops of",
    "hops out": "the taking out of the hops of",
    "crash": "the chilling of",
    "warm": "the warming of",
    "feed": "the sugar or honey added to",
    "dilute": "the water added to",
    "nutrient": "the nutrient of",
    "transfer": "the transfer of",
    "sample": "the sample of",
    "float moved": "the moving or cleaning of the float of",
    "forced test": "the forced test of",
    "package": "the packaging of",
    "note": "the note on",
}
"""An event in the journal, as people say it; the batch's name follows."""


def _called(kind: str, name: str) -> str:
    """What a thing is and how it is called, once: "vessel Mine", but "Vessel 3"."""
    return name if name.casefold().startswith(kind) else f"{kind} {name}"


@dataclass(frozen=True, slots=True)
class Step:
    """One record before and after a change; None where there was none.

    A note or a rejection may change too, so that it can be taken back; neither is an entry that the book holds.
    """

    before: Record | Note | Rejection | None
    after: Record | Note | Rejection | None

    @property
    def record(self) -> Record | Note | Rejection:
        """The record that the step is about."""
        return cast("Record | Note | Rejection", self.after or self.before)

    @property
    def of_the_book(self) -> bool:
        """Whether it changes an entry."""
        return not isinstance(self.record, Note | Rejection)

    def reversed(self) -> Step:
        """The step that takes this one back."""
        return Step(self.after, self.before)


@dataclass(frozen=True, slots=True)
class Span:
    """A batch in one vessel from an instant on until before another; None: it is there still."""

    batch: BatchRecord
    vessel_id: str
    from_at: datetime
    to_at: datetime | None

    def has(self, when: datetime) -> bool:
        """Whether the batch was there at this instant."""
        return self.from_at <= when < (self.to_at or _FAR)


class Book:
    """A snapshot of all entries, by class and id. It is never changed, so that any thread may read it."""

    def __init__(self, records: Mapping[type, Mapping[str, Any]]) -> None:
        self._records = records
        self._by_vessel: dict[str, list[Span]] | None = None
        self._by_field: dict[tuple[type, str], dict[Any, list[Any]]] = {}

    def all(self, cls: type[R], **equals: object) -> list[R]:
        """The records of a class whose fields have these values, in the order they were first saved."""
        if not equals:
            return list(self._records[cls].values())
        (first, sought), *others = equals.items()
        found = self._sorted_by(cls, first).get(sought, [])
        return [one for one in found if all(getattr(one, name) == value for name, value in others)]

    def _sorted_by(self, cls: type, name: str) -> dict[Any, list[Any]]:
        """The records of a class by what one of their fields says: each of two hundred vessels asks for its own."""
        if (there := self._by_field.get((cls, name))) is not None:
            return there
        made: dict[Any, list[Any]] = {}
        for record in self._records[cls].values():
            made.setdefault(getattr(record, name), []).append(record)
        self._by_field[cls, name] = made
        return made

    def get(self, cls: type[R], key: str) -> R | None:
        """The record with this id."""
        return cast("R | None", self._records[cls].get(key))

    def spans(self, record: BatchRecord) -> list[Span]:
        """Where a batch was from when to when, from pitching to its end; the one home of that question."""
        stays = sorted(self.all(BatchStay, batch_id=record.batch_id), key=lambda stay: stay.from_at)
        began = [record.here_from, *(stay.from_at for stay in stays[1:])]
        vessels = [stay.vessel_id for stay in stays] or [record.vessel_id]
        ended = record.ended_at
        found = []
        for vessel_id, since, until in zip(vessels, began, [*began[1:], ended], strict=True):
            to = ended if until is None or (ended is not None and ended < until) else until
            if to is None or since < to or len(vessels) == 1:
                found.append(Span(record, vessel_id, since, to))
        return found

    def spans_in(self, vessel_id: str) -> list[Span]:
        """Which batches were in a vessel, and when."""
        if self._by_vessel is None:
            found: dict[str, list[Span]] = {}
            for record in self.all(BatchRecord):
                for span in self.spans(record):
                    found.setdefault(span.vessel_id, []).append(span)
            self._by_vessel = found
        return self._by_vessel.get(vessel_id, [])

    def consequences(self, record: Record) -> list[Record]:
        """The entries that follow one that was saved: the stays of a batch its vessel and pitching, or its transfers.

        Raises
        ------
        EntryError
            If the batch would have been moved before it was pitched.
        """
        if isinstance(record, EventRecord):
            stay = self.get(BatchStay, record.event_id)
            moved = stay is not None and stay.from_at != record.at
            return [replace(stay, from_at=record.at)] if stay is not None and moved else []
        if not isinstance(record, BatchRecord):
            return []
        stays = sorted(self.all(BatchStay, batch_id=record.batch_id), key=lambda stay: stay.from_at)
        if not stays:
            return []
        if stays[1:] and stays[1].from_at <= record.here_from:
            raise EntryError(
                "pitched_at",
                "it was moved to another vessel before that",
                "Correct this time, or that of its transfer.",
            )
        kept = [replace(stays[0], from_at=record.here_from), *stays[1:]]
        kept[-1] = replace(kept[-1], vessel_id=record.vessel_id)
        return [new for new, old in zip(kept, stays, strict=True) if new != old]

    def after(self, steps: Sequence[Step]) -> Book:
        """The entries once these steps have been made."""
        changed = dict(self._records)
        for step in filter(lambda step: step.of_the_book, steps):
            kept = dict(changed[type(step.record)])
            if step.after is None:
                kept.pop(key_of(step.record), None)
            else:
                kept[key_of(step.after)] = step.after
            changed[type(step.record)] = kept
        return Book(changed)

    def parts(self, record: Record) -> list[Record]:
        """What goes away with a record.

        Raises
        ------
        EntryError
            If the record cannot go.
        """
        if isinstance(record, Vessel) and (
            held := list({s.batch.batch_id: s.batch for s in self.spans_in(record.vessel_id)}.values())
        ):
            more = f" and {len(held) - 1} more" if held[1:] else ""
            raise EntryError(
                "vessel_id",
                f"{record.name} holds or held {held[-1].name}{more}",
                "Remove its batches first, or keep the vessel.",
            )
        found: list[Any] = []
        for cls, name in _PARTS.get(type(record), ()):
            found += self.all(cls, **{name: key_of(record)})
        return found

    def describe(self, record: Record) -> str:
        """A record in a few words, for the journal."""
        match record:
            case Device():
                return _called("device", record.name or record.device_id)
            case Vessel():
                return _called("vessel", record.name)
            case Yeast():
                return _called("yeast", record.name)
            case BatchRecord():
                return f"{_called('batch', record.name)} in {self._vessel(record.vessel_id)}"
            case BatchStay():
                return f"stay of {self._batch(record.batch_id)}"
            case Placement():
                return f"device {self._device(record.device_id)} in {self._vessel(record.vessel_id)}"
            case EventRecord():
                return f"{_EVENTS[record.kind]} {self._batch(record.batch_id)}"
            case HandSample():
                value = f"{record.value:.3f}" if record.unit == "SG" else f"{record.value:g}"
                return f"hand sample {value} {record.unit} of {self._batch(record.batch_id)}"
            case CalibrationRecord():
                return f"calibration ({record.kind}) of {self._device(record.device_id)}"
            case Preferences():
                return "preferences"
            case TrialRecord():
                return _called("trial", record.name)
            case Photo():
                return f"photo of {self._batch(record.batch_id)}"
            case Tasting():
                return _called("tasting", record.name)
            case Taster():
                return f"taster {record.name} of {self._tasting(record.tasting_id)}"
            case TastingAnswer():
                return f"answer of {self._taster(record.taster_id)} on glass {record.code}"

    def entered(self, before: Record | None, record: Record) -> str:
        """What was just done with a record, in a line of the journal."""
        anew = "Logged" if isinstance(record, EventRecord) else "Added"
        return f"{'Changed' if before else anew} {self.describe(record)}"

    def named(self, field: str, value: Any) -> Any:
        """The value of a field as a person knows it: a name instead of an id, a time on their clock."""
        if isinstance(value, datetime):
            wished = self.get(Preferences, "cellar")
            return value.astimezone(ZoneInfo(wished.time_zone) if wished is not None else UTC)
        return self._vessel(value) if field == "vessel_id" else value

    def _device(self, key: str) -> str:
        found = self.get(Device, key)
        return found.name or key if found else key

    def _vessel(self, key: str) -> str:
        found = self.get(Vessel, key)
        return found.name if found else key

    def _batch(self, key: str) -> str:
        found = self.get(BatchRecord, key)
        return f"{found.name} in {self._vessel(found.vessel_id)}" if found else key

    def _tasting(self, key: str) -> str:
        found = self.get(Tasting, key)
        return _called("tasting", found.name) if found else key

    def _taster(self, key: str) -> str:
        found = self.get(Taster, key)
        return found.name if found else key

    def check(self, record: Record) -> None:
        """Refuse what contradicts the other entries.

        Raises
        ------
        EntryError
            With the field that it belongs beside.
        """
        match record:
            case Vessel() | Yeast() | TrialRecord():
                self._check_name(record)
                for batch_id in record.batch_ids if isinstance(record, TrialRecord) else ():
                    self._need(BatchRecord, batch_id, "arms", "Choose its batches anew.")
            case BatchRecord():
                check_hold_h(record.hold_h)
                self._check_batch(record)
            case Preferences():
                check_hold_h(record.hold_h)
            case BatchStay():
                self._check_stay(record)
            case Placement():
                self._check_placement(record)
            case EventRecord() | HandSample() | Photo():
                self._need(BatchRecord, record.batch_id, "batch_id", "Add the batch first.")
                if isinstance(record, HandSample):
                    check_sample(record)
            case Taster():
                self._need(Tasting, record.tasting_id, "tasting_id", "Make the tasting first.")
            case TastingAnswer():
                self._need(Taster, record.taster_id, "taster_id", "Add the taster first.")
            case CalibrationRecord():
                self._need(Device, record.device_id, "device_id", "Add the device first.")
                try:
                    check_points(record.kind, record.points)
                except CalibrationError as error:
                    wrong = error
                    raise in_units("points", lambda units: (wrong.in_units(units), "")) from None
            case _:
                pass

    def _check_name(self, record: Vessel | Yeast | TrialRecord) -> None:
        for other in self.all(type(record)):
            if key_of(other) != key_of(record) and other.name.casefold() == record.name.casefold():
                raise EntryError(
                    "name", f"there is another {TABLES[type(record)].name} named {other.name}", "Choose another name."
                )

    def _check_batch(self, record: BatchRecord) -> None:
        self._need(Vessel, record.vessel_id, "vessel_id", "Add the vessel first.")
        self._check_division(record)
        follow = [Step(self.get(BatchStay, key_of(stay)), stay) for stay in self.consequences(record)]
        self._check_free(self.after(follow).spans(record))

    def _check_free(self, spans: Sequence[Span]) -> None:
        for span in spans:
            for other in self.spans_in(span.vessel_id):
                if other.batch.batch_id != span.batch.batch_id and _overlap(
                    span.from_at, span.to_at, other.from_at, other.to_at
                ):
                    raise EntryError(
                        "vessel_id",
                        f"{self._vessel(span.vessel_id)} is taken by {other.batch.name} at that time",
                        "End that batch first, or choose another vessel.",
                    )

    def _check_stay(self, stay: BatchStay) -> None:
        self._need(BatchRecord, stay.batch_id, "batch_id", "Add the batch first.")
        self._need(Vessel, stay.vessel_id, "vessel_id", "Add the vessel first.")
        record = cast("BatchRecord", self.get(BatchRecord, stay.batch_id))
        if stay.from_at < record.here_from:
            raise EntryError("at", "the move lies before pitching", "Correct this time, or the batch's.")
        if record.ended_at is not None and stay.from_at >= record.ended_at:
            raise EntryError("at", "the batch had ended by then", "Correct this time, or the batch's end.")
        self._check_free(self.after([Step(self.get(BatchStay, stay.stay_id), stay)]).spans(record))

    def _check_division(self, record: BatchRecord) -> None:
        for parent in self.ancestors(record):
            if parent.batch_id == record.batch_id:
                raise EntryError("divided_from", "a batch cannot be a part of itself", "Choose another batch.")

    def ancestors(self, record: BatchRecord) -> list[BatchRecord]:
        """The batches that a part was divided from, the nearest first; a removed one ends the line."""
        found: list[BatchRecord] = []
        parent_id = record.divided_from
        while parent_id is not None and all(parent_id != one.batch_id for one in found):
            parent = self.get(BatchRecord, parent_id)
            if parent is None:
                break
            found.append(parent)
            parent_id = parent.divided_from
        return found

    def _check_placement(self, record: Placement) -> None:
        self._need(Device, record.device_id, "device_id", "Add the device first.")
        self._need(Vessel, record.vessel_id, "vessel_id", "Add the vessel first.")
        if record.to_at is not None and record.to_at <= record.from_at:
            raise EntryError("to_at", "the device leaves before it came", "Check the two times.")
        for other in self.all(Placement, device_id=record.device_id):
            if other.placement_id != record.placement_id and _overlap(
                record.from_at, record.to_at, other.from_at, other.to_at
            ):
                raise EntryError(
                    "device_id",
                    f"{self._device(record.device_id)} sits in {self._vessel(other.vessel_id)} at that time",
                    "Take it out there first.",
                )

    def _need(self, cls: type, key: str, field: str, remedy: str) -> None:
        if self.get(cls, key) is None:
            raise EntryError(field, f"there is no {TABLES[cls].name} {key!r}", remedy)


def _overlap(from_1: datetime, to_1: datetime | None, from_2: datetime, to_2: datetime | None) -> bool:
    return from_1 < (to_2 or _FAR) and from_2 < (to_1 or _FAR)


def moved_back(book: Book, removed: Sequence[Step]) -> list[Step]:
    """What else changes when the stays among these are removed: a batch is again where it was before."""
    steps = []
    left = book.after(removed)
    for stay in (step.before for step in removed if isinstance(step.before, BatchStay)):
        record = left.get(BatchRecord, stay.batch_id)
        if record is not None and (last := left.spans(record)[-1].vessel_id) != record.vessel_id:
            steps.append(Step(record, replace(record, vessel_id=last)))
    return steps


def out_of_trials(book: Book, removed: Sequence[Step]) -> list[Step]:
    """The trials once the batches among these are removed; one that has no two arms left goes away with them."""
    gone = {step.before.batch_id for step in removed if isinstance(step.before, BatchRecord)}
    steps = []
    for trial in book.all(TrialRecord) if gone else ():
        left = tuple((arm, batch_id) for arm, batch_id in trial.arms if batch_id not in gone)
        if len(left) < len(trial.arms):
            arms = {arm.casefold() for arm, _ in left}
            steps.append(Step(trial, replace(trial, arms=left) if len(arms) > 1 else None))
    return steps
