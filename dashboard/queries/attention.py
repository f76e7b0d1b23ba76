"""What wants the person, most pressing first: stalled, renewed fall, not begun, hop day, packaging day, silence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, Literal, get_args

from analysis.display_units import chance, number
from analysis.evidence import Advice
from analysis.following import Following
from analysis.planning import Condition, Unread, done_so_far, due, first_of, lacking
from analysis.wording import (
    Voice,
    advice_sentences,
    bottles_wait,
    capital,
    caution,
    dose_words,
    lasted,
    unread,
    verdict,
)
from dashboard.wording import follows
from ingest.model import BatchRecord, Vessel
from ingest.monitoring import Outlook, wished_c
from ingest.store import DeviceStatus, last_reading_at

NeedKind = Literal[
    "stalled",
    "renewed fall",
    "not begun",
    "float in doubt",
    "hop today",
    "hops out today",
    "package today",
    "silent",
    "unwatched",
    "sample due",
    "not calibrated",
    "temperature",
    "battery",
]
ORDER: Final[tuple[NeedKind, ...]] = get_args(NeedKind)
_BATTERY_DAYS: Final = 7.0
_OFF_RANGE_C: Final = 0.5
"""A temperature may stray this far out of its range before anybody is sent to the cellar."""

_STALLED_ADVICE: Final = (
    "Take a hand sample first: a stuck float looks the same. If it agrees, warm the vessel a little and look again "
    "after a day."
)
_CREEP_ADVICE: Final = "Do not package yet: sealed bottles would build pressure. {out} until the gravity holds again."
_CREEP_PACKAGED: Final = (
    "It was packaged while it fell: sealed bottles may build pressure. Keep the lot cold, and open a test bottle with "
    "care, as its sheet says."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """One thing that wants doing: why, in a sentence, and what to do."""

    kind: NeedKind
    sentence: str
    todo: str
    page: Literal["batch", "packaging", "sensors", "samples"] = "batch"

    @property
    def rank(self) -> int:
        """Smaller is more pressing."""
        return ORDER.index(self.kind)

    @property
    def pressing(self) -> bool:
        """Whether it wants the person today; the rest is said quietly."""
        return self.kind != "battery"


@dataclass(frozen=True, slots=True)
class Siblings:
    """Of a batch without a float: what its siblings let one expect, and whether it wants a hand sample."""

    following: Following | None = None
    sample_due: bool = False


def needs_of(
    outlook: Outlook, devices: Sequence[DeviceStatus], voice: Voice, beside: Siblings | None = None
) -> list[Need]:
    """What one batch wants today, most pressing first."""
    found = [*_from_verdict(outlook, voice), *_from_plan(outlook, voice), *_from_vessel(outlook, voice)]
    found += needs_of_devices(devices, voice)
    beside = beside or Siblings()
    if beside.sample_due:
        says = follows(beside.following, voice) if beside.following is not None else "It has no float."
        found.append(Need(kind="sample due", sentence=says, todo="Take a hand sample and type it in.", page="samples"))
    elif not devices and beside.following is None and outlook.assessment.newest_reading_at is None:
        says = "No device sits in this vessel, so nothing is measured."
        todo = "Put a float into it under Sensors, or log hand samples."
        found.append(Need(kind="unwatched", sentence=says, todo=todo))
    # Heard since pitching, and of that nothing tells a gravity: what was silent since may be calibrated well.
    if outlook.assessment.newest_reading_at is None and not outlook.assessment.marked.is_empty():
        found += [
            _uncalibrated(word) for word in devices if word.inclination_deg is not None and word.gravity_sg is None
        ]
    return sorted(found, key=lambda need: need.rank)


def _uncalibrated(word: DeviceStatus) -> Need:
    """A float that is heard, and yet tells no gravity."""
    return Need(
        kind="not calibrated",
        sentence=f"{capital(_named(word))} is heard, but not calibrated: its inclination tells no gravity yet.",
        todo="Enter its calibration points under Sensors, or log hand samples on this page.",
        page="sensors",
    )


def _from_verdict(outlook: Outlook, voice: Voice) -> list[Need]:
    a = outlook.assessment
    advice = " ".join(advice_sentences(a.advice[:2], voice.units))
    says = verdict(a, outlook.batch.hold_h, voice)
    if a.stalled:
        return [Need(kind="stalled", sentence=says, todo=advice or _STALLED_ADVICE)]
    if a.phase == "creeping":
        done = done_so_far(outlook.batch)
        if done.packaged:
            return [Need(kind="renewed fall", sentence=says, todo=_CREEP_PACKAGED, page="packaging")]
        hops_are_in = done.doses and not done.hops_out
        out = first_of(outlook.to_do(voice.today()), "hops out") if hops_are_in else None
        first = f"Take the hops out {voice.day(out.day)}, and wait" if out is not None else "Take the hops out and wait"
        waits = _CREEP_ADVICE.format(out=first if hops_are_in else "Wait")
        return [Need(kind="renewed fall", sentence=says, todo=advice or waits)]
    if done_so_far(outlook.batch).packaged or not advice:
        return []
    if Advice.HAND_SAMPLE_OF_A_DOUBT in a.advice:
        return [Need(kind="float in doubt", sentence=says, todo=advice)]
    if Advice.PITCH_ANEW in a.advice:
        return [Need(kind="not begun", sentence=says, todo=" ".join(advice_sentences(a.advice, voice.units)))]
    return []


def _from_plan(outlook: Outlook, voice: Voice) -> list[Need]:
    plan, today = outlook.plan, voice.today()
    found = []
    to_do = outlook.to_do(today)
    now = due(to_do, today)
    if (hops := first_of(now, "hops in")) is not None:
        sure = f", {chance(hops.chance)} to be right" if hops.chance is not None else ""
        packaging = first_of(to_do, "package")
        wait = bottles_wait(plan)
        then = f" Packaging would then be {voice.day(packaging.day)}." if packaging is not None else ""
        then += f" {wait}" if then and wait else ""
        says = f"Dry hop today{dose_words(hops)}{sure}."
        found.append(Need(kind="hop today", sentence=says, todo=f"Weigh the hops and add them.{then}"))
    if first_of(now, "hops out") is not None:
        found.append(
            Need(
                kind="hops out today", sentence="Hops come out today.", todo="Lift them out, or draw the beer off them."
            )
        )
    if first_of(now, "package") is not None:
        found.append(
            Need(
                kind="package today",
                sentence="Packaging day is today." if plan.may_package else "Packaging day is today, not yet cleared.",
                todo=_before_packaging(outlook),
                page="packaging",
            )
        )
    return found


def _before_packaging(outlook: Outlook) -> str:
    """What is still to do on packaging day; the sheet comes only after a reading of that day."""
    asked = outlook.plan.release
    if asked is not None and not asked.holds(Condition.READING_FRESH):
        return f"{unread(Unread(asked.reading_age))} See the gravity first."
    if asked is None:
        return "Confirm the gravity by a hand sample, then follow the sheet."
    lacks = " ".join(caution(each) for each in lacking(outlook.assessment, asked))
    return f"{lacks} Then follow the sheet." if lacks else "Follow the sheet."


def _from_vessel(outlook: Outlook, voice: Voice) -> list[Need]:
    vessel, now = outlook.vessel, outlook.temperature_here_c
    if vessel is None or now is None:
        return []
    low, high = wished_c(outlook.record, vessel, voice.now)
    crashed = any(e.kind == "crash" for e in outlook.batch.events)
    if low is not None and now < low - _OFF_RANGE_C and not crashed:
        says = f"Colder than wished: {voice.temperature(now)}, at least {voice.temperature(low)} asked."
        return [Need(kind="temperature", sentence=says, todo="Move it somewhere warmer, a little at a time.")]
    if high is not None and now > high + _OFF_RANGE_C:
        says = f"Warmer than wished: {voice.temperature(now)}, at most {voice.temperature(high)} asked."
        return [Need(kind="temperature", sentence=says, todo="Move it somewhere cooler, a little at a time.")]
    return []


def needs_of_devices(devices: Sequence[DeviceStatus], voice: Voice) -> list[Need]:
    """What the devices in one vessel want."""
    found = []
    for word in devices:
        name = _named(word)
        if word.silent:
            usual = (
                f", usually every {lasted(timedelta(seconds=word.usual_interval_s))}" if word.usual_interval_s else ""
            )
            found.append(
                Need(
                    kind="silent",
                    sentence=f"{capital(name)} is silent: last heard {voice.ago(word.received_at)}{usual}.",
                    todo="Look at its battery and at what passes its messages on; do not open the vessel for it.",
                    page="sensors",
                )
            )
        elif word.battery_days_left is not None and word.battery_days_left < _BATTERY_DAYS:
            found.append(
                Need(
                    kind="battery",
                    sentence=f"{capital(name)} has battery for about {number(word.battery_days_left)} more days.",
                    todo="Charge it between two batches, or before it falls silent.",
                    page="sensors",
                )
            )
    return found


def _named(word: DeviceStatus) -> str:
    """A device by kind and id; an id that begins with the kind says both."""
    return word.device_id if word.device_id.startswith(str(word.kind)) else f"{word.kind} {word.device_id}"


def place(record: BatchRecord, vessel_name: str | None) -> str:
    """How a batch is called: ``Vessel 3, Harbour Pale``."""
    return f"{vessel_name}, {record.name}" if vessel_name else record.name


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """One vessel's batch as the first screen shows it; the same one as long as nothing that it tells has changed."""

    record: BatchRecord
    vessel: Vessel | None
    outlook: Outlook | None
    devices: tuple[DeviceStatus, ...]
    needs: tuple[Need, ...]
    beside: Siblings = Siblings()

    @property
    def pressing(self) -> tuple[Need, ...]:
        """What of it wants the person today."""
        return tuple(n for n in self.needs if n.pressing)

    @property
    def read_at(self) -> datetime | None:
        """When a device of this vessel last measured this batch, as the batch's own page tells it.

        A row is one link, so that its exact time stands on hover here, and for a thumb on the page that a tap opens.
        """
        return last_reading_at(d for d in self.devices if d.measured_at >= self.record.pitched_at)

    @property
    def silent(self) -> bool:
        """Whether all devices of this vessel have fallen silent."""
        return bool(self.devices) and all(d.silent for d in self.devices)
