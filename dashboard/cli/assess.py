"""The command `tunroom assess`: verdict and dates for a log, with no broker and no database."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import fields
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from analysis.model import (
    DRINKS,
    EVENT_KINDS,
    HOLD_H,
    SUBSTANCE_NAMES,
    Added,
    Assessment,
    Batch,
    Event,
    EventKind,
)
from dashboard.cli import assess_dataset
from dashboard.cli.options import AddCommand, columns_of, plain, shows_units
from ingest.decoding import AHEAD_S
from ingest.errors import EntryError

if TYPE_CHECKING:
    from analysis.fitting import Fit
    from analysis.planning.constraints import Plan

_EARLIEST_YEAR: Final = 1990
_LATEST_YEAR: Final = 2100
_LONGEST_WAIT: Final = timedelta(days=2 * 365)
"""Between pitching and the first reading; even a mead that is watched late is watched sooner."""


def add_assess(command: AddCommand) -> None:
    sub = command(
        "assess",
        _assess,
        "give verdict and dates for a log, without broker or database",
        "The log is CSV, Parquet or JSON lines with the columns measured_at, gravity_sg (or extract_plato) and "
        "temperature_c.",
    )
    sub.add_argument("log", type=Path, metavar="LOG", nargs="?")
    assess_dataset.add_options(sub)
    sub.add_argument(
        "--column", action="append", default=[], metavar="OURS=THEIRS", help="such as --column extract_plato=Extract"
    )
    sub.add_argument(
        "--dates",
        choices=("day-first", "month-first"),
        help="the order of dates such as 9/1/2026",
    )
    sub.add_argument("--original-gravity", type=_gravity, metavar="SG", help="for example 1.052")
    sub.add_argument("--volume", type=_litres, metavar="LITRES", help="what was pitched, before anything was added")
    sub.add_argument("--pitched", type=_time, metavar="TIME", help="for example 2026-03-01T10:00Z")
    sub.add_argument("--now", type=_time, metavar="TIME", help="judge as of this time (default: the last reading)")
    sub.add_argument("--drink", choices=DRINKS, default="other")
    sub.add_argument("--yeast", metavar="NAME")
    sub.add_argument("--diastatic", action="store_true", help="the yeast eats dextrins, and may go on for weeks")
    sub.add_argument("--mixed-culture", action="store_true", help="other yeasts or bacteria take part, for weeks")
    sub.add_argument("--expect", type=_attenuation, metavar="LOW-HIGH", help="apparent attenuation, such as 0.72-0.80")
    sub.add_argument(
        "--event",
        type=_event,
        action="append",
        default=[],
        metavar='"KIND=TIME"',
        help=f'such as "dry hop=2026-03-08T09:00Z"; kinds: {", ".join(EVENT_KINDS)}; '
        'a gravity may follow: "forced test=2026-03-08T09:00Z=1.011"; a feed or dilute may say what was added: '
        '"feed=2026-03-08T09:00Z, honey, 1.2 kg", "dilute=2026-03-08T09:00Z, spirit, 2 L, 40 %% vol"',
    )
    sub.add_argument("--hold", type=_hours, default=HOLD_H, metavar="HOURS", help="how long gravity must hold (48)")
    sub.add_argument("--dry-hops", type=_doses, default=0, metavar="DOSES", help="how many dry hops are wished for (0)")
    sub.add_argument(
        "--time-zone",
        type=_zone,
        default="UTC",
        metavar="ZONE",
        help="for the dates, and for times without one",
    )
    shows_units(sub)
    sub.add_argument("--json", action="store_true", help="answer as JSON")


def _assess(arguments: argparse.Namespace) -> int:
    if assess_dataset.is_wanted(arguments):
        return assess_dataset.run(arguments)
    # What weighs a second of the processor is loaded by who needs it: every other command lists this one too.
    from analysis.assessment.assess import assess
    from analysis.planning.constraints import Constraints
    from analysis.planning.plan import plan
    from analysis.wording.classical import classical_fit
    from ingest import threads
    from ingest.transfer.log_file import read_gravities

    threads.one_for_linear_algebra()
    readings, assumed = read_gravities(
        arguments.log, columns_of(arguments.column), zone=arguments.time_zone, dates=arguments.dates
    )
    if assumed:
        print(f"The log's times bear no zone; they are read as {arguments.time_zone}.", file=sys.stderr)
    times: list[datetime] = readings["measured_at"].sort().to_list()
    pitched: datetime = arguments.pitched or times[0]
    now: datetime = arguments.now or _newest_that_has_come(times)
    if pitched > now:
        raise EntryError(
            "pitched",
            f"it was pitched ({plain(pitched)}) after the moment that is asked for ({plain(now)})",
            "Give --pitched at or before the readings, or another --now.",
        )
    if times[0] - pitched > _LONGEST_WAIT:
        raise EntryError(
            "pitched",
            f"it was pitched ({plain(pitched)}) years before the first reading ({plain(times[0])})",
            "Look at the year of --pitched.",
        )
    batch = Batch(
        pitched_at=pitched,
        original_gravity_sg=arguments.original_gravity,
        yeast=arguments.yeast,
        drink=arguments.drink,
        expected_attenuation=arguments.expect,
        events=tuple(arguments.event),
        hold_h=arguments.hold,
        diastatic=arguments.diastatic,
        mixed_culture=arguments.mixed_culture,
        volume_l=arguments.volume,
    )
    assessment = assess(readings, batch, now=now)
    wished = Constraints(hold_h=arguments.hold, dry_hops=arguments.dry_hops, time_zone=arguments.time_zone)
    planned = plan(assessment, batch, wished, now=now)
    _print(assessment, planned, batch, arguments, classical_fit(assessment, batch))
    return 0


def _newest_that_has_come(times: list[datetime]) -> datetime:
    """The last reading that does not lie in the future; what does is told and not judged."""
    clock = datetime.now(UTC) + timedelta(seconds=AHEAD_S)
    come = [when for when in times if when <= clock]
    if not come:
        raise EntryError(
            "now",
            f"every reading lies in the future, the first one at {plain(times[0])}",
            "Set the clock right, or look at the dates of the log; --now judges as of a time of your choice.",
        )
    if len(come) < len(times):
        late = len(times) - len(come)
        readings = "one reading lies" if late == 1 else f"{late} readings lie"
        print(f"{readings} in the future, up to {plain(times[-1])}: they are left out.".capitalize(), file=sys.stderr)
    return come[-1]


def _print(
    assessment: Assessment, planned: Plan, batch: Batch, arguments: argparse.Namespace, classical: Fit | str
) -> None:
    from analysis.display_units import DisplayUnits

    if not arguments.json:
        from analysis.wording.report import report

        mine = DisplayUnits(**dict(arguments.unit))
        print(report(assessment, planned, batch, time_zone=arguments.time_zone, classical=classical, units=mine))
        return
    from analysis.planning.outstanding import days_to_come, outstanding
    from analysis.wording.classical import classical_facts
    from analysis.wording.plan import plan_facts

    days = days_to_come(outstanding(planned, batch))
    ready = planned.release is not None and planned.release.ready
    facts = {**assessment_facts(assessment), **plan_facts(planned, DisplayUnits()), **days, "ready": ready}
    print(json.dumps(plain({**facts, "classical_fit": classical_facts(classical)}), indent=2))


def assessment_facts(a: Assessment) -> dict[str, Any]:
    """What `--json` says about an assessment: its fields without the frames, the forecast by its percentiles."""
    from analysis.display_units import DisplayUnits
    from analysis.wording.evidence import advice_sentences, sentences

    left_out = {"marked", "course", "hysteresis", "finish", "fingerprint", "remaining_falls_sg"}
    facts = {f.name: getattr(a, f.name) for f in fields(a) if f.name not in left_out}
    facts["evidence"] = sentences(a.evidence, DisplayUnits())
    facts["advice"] = advice_sentences(a.advice, DisplayUnits())
    facts["finish"] = {"p10": a.finish.p10, "p50": a.finish.p50, "p90": a.finish.p90} if a.finish else None
    return facts


def _time(text: str) -> datetime:
    cleaned = text.strip().replace("Z", "+00:00").replace("z", "+00:00")
    try:
        when = datetime.fromisoformat(cleaned)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a time; write 2026-03-01T10:00Z") from None
    if when.tzinfo is None:
        whole = text.strip() if len(text.strip()) > len("2026-03-01") else f"{text.strip()}T00:00"
        raise argparse.ArgumentTypeError(f"{text!r} has no time zone; write {whole}Z if it is UTC")
    if not _EARLIEST_YEAR <= when.year < _LATEST_YEAR:
        raise argparse.ArgumentTypeError(f"{text!r} is a time of the year {when.year}; look at the date")
    return when.astimezone(UTC)


def _zone(text: str) -> str:
    from analysis.planning.constraints import Constraints

    try:
        return Constraints(time_zone=text).time_zone
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def _gravity(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 1.0 <= value <= 1.2:
        raise argparse.ArgumentTypeError(f"{text!r} is not an original gravity; write 1.052 (usual: 1.020 to 1.160)")
    return value


def _litres(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.05 <= value <= 100_000:
        raise argparse.ArgumentTypeError(f"{text!r} is not a volume in litres; usual: 1 to 2000")
    return value


def _attenuation(text: str) -> tuple[float, float]:
    low, _, high = text.partition("-")
    try:
        pair = (float(low), float(high or low))
    except ValueError:
        pair = (0.0, 0.0)
    if not 0.2 <= pair[0] <= pair[1] <= 1.4:
        raise argparse.ArgumentTypeError(f"{text!r} is not a range of attenuation; write 0.72-0.80, low then high")
    return pair


def _event(text: str) -> Event:
    head, *amounts = [part.strip() for part in text.split(",")]
    kind, _, rest = head.partition("=")
    when, _, gravity = rest.partition("=")
    if kind.strip() not in EVENT_KINDS:
        raise argparse.ArgumentTypeError(f"{kind.strip()!r} is not an event; kinds: {', '.join(EVENT_KINDS)}")
    try:
        value = float(gravity) if gravity else None
    except ValueError:
        value = 0.0
    if value is not None and not 0.95 <= value <= 1.25:
        raise argparse.ArgumentTypeError(f"{gravity!r} is not a gravity; write 1.011")
    chosen: EventKind = kind.strip()  # type: ignore[assignment]  # checked above
    return Event(chosen, _time(when), value, added=_added(amounts, chosen) if amounts else None)


_AMOUNTS: Final = {"kg": "mass_kg", "L": "volume_l", "SG": "gravity_sg", "% vol": "abv_pct"}
"""Units of what was added, and what is said in them."""


def _added(amounts: list[str], kind: EventKind) -> Added:
    """What was added, from such as ``honey`` and ``1.2 kg``."""
    what, *rest = amounts
    if kind not in ("feed", "dilute"):
        raise argparse.ArgumentTypeError(f"{what!r} is said of a {kind}; only a feed or a dilute says what was added")
    if what not in SUBSTANCE_NAMES:
        raise argparse.ArgumentTypeError(f"{what!r} is not what can be added; one of: {', '.join(SUBSTANCE_NAMES)}")
    said: dict[str, float] = {}
    for amount in rest:
        number, _, unit = amount.partition(" ")
        try:
            said[_AMOUNTS[unit.strip()]] = float(number)
        except (KeyError, ValueError):
            raise argparse.ArgumentTypeError(
                f'{amount!r} is not an amount; write "1.2 kg", "3 L", "1.050 SG" or "40 % vol"'
            ) from None
    try:
        return Added(what, **said)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def _doses(text: str) -> int:
    value = int(text) if text.strip().isdecimal() else -1
    if not 0 <= value <= 10:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of dry hop doses; usual: 0 to 3")
    return value


def _hours(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 1 <= value <= 24 * 30:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of hours; usual: 24 to 96")
    return value
