"""Commands that answer and end: assess, sheet, plan, import, export, check, decode."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Protocol

import polars as pl

from analysis import Batch, Event, assess
from analysis.model import DRINKS, EVENT_KINDS, HOLD_H, Assessment, EventKind
from analysis.planning import Wishes, plan
from ingest.errors import EntryError, ImportFileError


class AddCommand(Protocol):
    """Adds a sub-command with the common options."""

    def __call__(
        self, name: str, run: Callable[[argparse.Namespace], int], summary: str, details: str = ""
    ) -> argparse.ArgumentParser: ...


# --- assess ----------------------------------------------------------------------------------------------------------


def add_assess(command: AddCommand) -> None:
    sub = command(
        "assess",
        _assess,
        "give verdict and dates for a log, without broker or database",
        "The log is a CSV file with the columns measured_at, gravity_sg and temperature_c.",
    )
    sub.add_argument("log", type=Path, metavar="LOG.csv")
    sub.add_argument("--original-gravity", type=_gravity, metavar="SG", help="for example 1.052")
    sub.add_argument("--pitched", type=_time, metavar="TIME", help="for example 2026-03-01T10:00Z")
    sub.add_argument("--now", type=_time, metavar="TIME", help="judge as of this time (default: the last reading)")
    sub.add_argument("--drink", choices=DRINKS, default="other")
    sub.add_argument("--yeast", metavar="NAME")
    sub.add_argument("--expect", type=_attenuation, metavar="LOW-HIGH", help="apparent attenuation, such as 0.72-0.80")
    sub.add_argument(
        "--event",
        type=_event,
        action="append",
        default=[],
        metavar='"KIND=TIME"',
        help=f'such as "dry hop=2026-03-08T09:00Z"; kinds: {", ".join(EVENT_KINDS)}; '
        'a gravity may follow: "forced test=2026-03-08T09:00Z=1.011"',
    )
    sub.add_argument("--hold", type=_hours, default=HOLD_H, metavar="HOURS", help="how long gravity must hold (48)")
    sub.add_argument("--time-zone", default="UTC", metavar="ZONE", help="for the dates, such as Europe/Vienna")
    sub.add_argument("--json", action="store_true", help="answer as JSON")


def _assess(arguments: argparse.Namespace) -> int:
    readings = read_log(arguments.log)
    pitched = arguments.pitched or readings["measured_at"].min()
    now = arguments.now or readings["measured_at"].max()
    batch = Batch(
        pitched_at=pitched,
        original_gravity_sg=arguments.original_gravity,
        yeast=arguments.yeast,
        drink=arguments.drink,
        expected_attenuation=arguments.expect,
        events=tuple(arguments.event),
        hold_h=arguments.hold,
    )
    assessment = assess(readings, batch, now=now)
    planned = plan(assessment, batch, Wishes(hold_h=arguments.hold, time_zone=arguments.time_zone), now=now)
    if arguments.json:
        print(json.dumps(plain({**assessment_facts(assessment), **planned.as_dict()}), indent=2))
    else:
        from dashboard import words

        print(words.report(assessment, planned, time_zone=arguments.time_zone))
    return 0


def read_log(path: Path) -> pl.DataFrame:
    """Read a log with the columns measured_at, gravity_sg, temperature_c (and, if there, by_hand).

    Raises
    ------
    ImportFileError
        If the file, a column or a value cannot be read; it names the row.
    """
    name = str(path)
    try:
        frame = pl.read_csv(path, infer_schema=False)
    except FileNotFoundError:
        raise ImportFileError(name, "the file", "there is no such file", "Check the path.") from None
    except (OSError, pl.exceptions.PolarsError) as error:
        reason = str(error).splitlines()[0]
        raise ImportFileError(name, "the file", f"it cannot be read as CSV ({reason})", "Save it as UTF-8.") from None
    frame = frame.rename({c: c.strip() for c in frame.columns})
    for needed in ("measured_at", "gravity_sg"):
        if needed not in frame.columns:
            there = ", ".join(frame.columns)
            raise ImportFileError(
                name, "the first line", f"there is no column {needed} (there are: {there})", "Rename the column."
            )
    if frame.height == 0:
        raise ImportFileError(name, "after the first line", "there is no reading", "Give at least one row.")
    times = [_log_time(name, i, t) for i, t in enumerate(frame["measured_at"], start=2)]
    columns: dict[str, Any] = {"measured_at": pl.Series(times, dtype=pl.Datetime("us", "UTC"))}
    for number in ("gravity_sg", "temperature_c"):
        cells = frame[number] if number in frame.columns else [None] * frame.height
        columns[number] = pl.Series(
            [_log_number(name, i, number, c) for i, c in enumerate(cells, start=2)], dtype=pl.Float64
        )
    if "by_hand" in frame.columns:
        columns["by_hand"] = pl.Series([str(c).strip().casefold() in {"true", "1", "yes"} for c in frame["by_hand"]])
    return pl.DataFrame(columns)


def _log_time(file: str, row: int, text: str | None) -> datetime:
    try:
        return _time(text or "")
    except argparse.ArgumentTypeError as error:
        raise ImportFileError(file, f"row {row}, measured_at", str(error), "Mend the row.") from None


def _log_number(file: str, row: int, column: str, text: str | None) -> float | None:
    if text is None or not text.strip():
        return None
    try:
        value = float(text)
    except ValueError:
        raise ImportFileError(
            file, f"row {row}, {column}", f"{text!r} is not a number", "Write 1.012, or leave the cell empty."
        ) from None
    usual = {"gravity_sg": (0.95, 1.25, "a gravity such as 1.012"), "temperature_c": (-20, 110, "°C such as 19.5")}
    low, high, example = usual[column]
    if not low <= value <= high:
        raise ImportFileError(file, f"row {row}, {column}", f"{text} is out of range", f"It should be {example}.")
    return value


def assessment_facts(a: Assessment) -> dict[str, Any]:
    """What `--json` says about an assessment: its fields without the frames, the forecast by its percentiles."""
    left_out = {"marked", "course", "memory", "finish", "fingerprint"}
    facts = {f.name: getattr(a, f.name) for f in fields(a) if f.name not in left_out}
    facts["ready"] = a.ready
    facts["finish"] = {"p10": a.finish.p10, "p50": a.finish.p50, "p90": a.finish.p90} if a.finish else None
    return facts


def plain(value: Any) -> Any:
    """The same value in terms of JSON: times as RFC 3339 in UTC, records as objects."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    return value


# --- sheet and plan --------------------------------------------------------------------------------------------------


def add_sheet(command: AddCommand) -> None:
    sub = command(
        "sheet",
        _sheet,
        "work out a packaging sheet from a JSON object",
        "Pressure and sulfite can hurt: follow the maker's marking, local codes and licensed practice.",
    )
    sub.add_argument("--input", required=True, metavar="FILE", help="a JSON file, or - for standard input")
    sub.add_argument("--json", action="store_true", help="answer as JSON (otherwise as lines of text)")
    sub.add_argument("--html", type=Path, metavar="FILE", help="write the printable sheet there as well")


def _sheet(arguments: argparse.Namespace) -> int:
    from analysis.sheet import SheetInputError, sheet

    where = "standard input" if arguments.input == "-" else arguments.input
    try:
        text = sys.stdin.read() if arguments.input == "-" else Path(arguments.input).read_text(encoding="utf-8")
        given = json.loads(text)
    except OSError as error:
        raise ImportFileError(where, "the file", f"it cannot be read ({error.strerror})", "Check the path.") from None
    except ValueError as error:
        raise ImportFileError(where, "the text", f"it is not JSON ({error})", 'Write {"volume_l": 20, …}.') from None
    if not isinstance(given, dict):
        raise ImportFileError(where, "the text", "it is not a JSON object", 'Write {"volume_l": 20, …}.')
    try:
        answer = sheet(given)
    except SheetInputError as error:
        print(f"tunroom: {where}: {error}", file=sys.stderr)
        return 2
    if arguments.html is not None:
        from dashboard.sheet_html import sheet_html

        arguments.html.write_text(sheet_html(given, answer), encoding="utf-8")
    if arguments.json:
        print(json.dumps(plain(answer), indent=2, ensure_ascii=False))
    else:
        for key, value in answer.items():
            if isinstance(value, (list, tuple)):
                for sentence in value:
                    print(f"{key.removesuffix('s')}: {sentence}")
            elif value is not None:
                print(f"{key}: {value}")
    return 0


def add_plan(command: AddCommand) -> None:
    sub = command("plan", _plan, "say on which day to hop and on which to package a batch")
    sub.add_argument("batch", metavar="BATCH", help="the batch's id or name, or its vessel's name")
    sub.add_argument("--json", action="store_true", help="answer as JSON")


def _plan(arguments: argparse.Namespace) -> int:
    answer = _carry_out(arguments, "plan", {"batch": arguments.batch})
    if arguments.json:
        print(json.dumps(answer, indent=2, ensure_ascii=False))
        return 0
    from dashboard import words

    print(answer["batch"])
    for label, key, chance in (
        ("Hops in", "hop_day", "hop_chance"),
        ("Package", "packaging_day", "packaging_chance"),
    ):
        if answer[key]:
            holds = f", {words.chance(answer[chance])} to hold" if answer[chance] is not None else ""
            print(f"  {label}: {answer[key]}{holds}")
    print(f"  {answer['reason']}")
    for caution in answer["cautions"]:
        print(f"  Caution: {caution}")
    return 0


def _carry_out(arguments: argparse.Namespace, command: str, wishes: dict[str, Any]) -> Any:
    from dashboard.__main__ import settings_of
    from ingest import commands

    def progress(text: str) -> None:
        end = "\r" if sys.stderr.isatty() else "\n"
        print(f"{text:<70}", end=end, file=sys.stderr, flush=True)

    return commands.carry_out(settings_of(arguments), command, wishes, progress)


# --- import and export -----------------------------------------------------------------------------------------------


def add_import(command: AddCommand) -> None:
    sub = command(
        "import",
        _import,
        "take in a log (CSV, Parquet, JSON lines) or an exported cellar",
        "Taking the same file in twice changes nothing. Works while the server runs.",
    )
    sub.add_argument("path", type=Path, metavar="LOG|DIR")
    sub.add_argument("--device", metavar="ID", help="the device that the readings belong to, if no column says so")
    sub.add_argument("--batch", metavar="BATCH", help="put the device into this batch's vessel for the log's time")
    sub.add_argument(
        "--column",
        action="append",
        default=[],
        metavar="OURS=THEIRS",
        help='for example measured_at="Date and time"; asked for where it is missing and you can be asked',
    )


def _import(arguments: argparse.Namespace) -> int:
    columns = {}
    for pair in arguments.column:
        ours, found, theirs = pair.partition("=")
        if not found:
            raise EntryError("column", f"--column {pair} has no =", "Write measured_at=NAME_IN_THE_FILE.")
        columns[ours.strip()] = theirs.strip()
    if not arguments.path.is_dir():
        from ingest import transfer

        columns = transfer.mapping(arguments.path, columns, ask=_ask if sys.stdin.isatty() else None)
    wishes = {
        "path": str(arguments.path.resolve()),
        "device": arguments.device,
        "batch": arguments.batch,
        "columns": columns,
    }
    _print_result(_carry_out(arguments, "import", wishes))
    return 0


def _ask(question: str, choices: list[str]) -> str | None:
    print(question, file=sys.stderr)
    for number, choice in enumerate(choices, start=1):
        print(f"  {number}  {choice}", file=sys.stderr)
    answer = input("Number, or nothing for none: ").strip()
    return choices[int(answer) - 1] if answer.isdigit() and 1 <= int(answer) <= len(choices) else None


def add_export(command: AddCommand) -> None:
    sub = command("export", _export, "write everything to a directory as Parquet and CSV")
    sub.add_argument("path", type=Path, metavar="DIR")


def _export(arguments: argparse.Namespace) -> int:
    _print_result(_carry_out(arguments, "export", {"path": str(arguments.path.resolve())}))
    return 0


def _print_result(result: dict[str, Any]) -> None:
    for key, value in result.items():
        if value not in (None, [], {}, ()):
            print(f"{key.replace('_', ' ')}: {value}")


# --- check and decode ------------------------------------------------------------------------------------------------


def add_check(command: AddCommand) -> None:
    command("check", _check, "check tunroom.toml and say which line is wrong")


def _check(arguments: argparse.Namespace) -> int:
    from ingest import explain

    report = explain.check(arguments.config, arguments.data)
    print(report.text)
    return 0 if report.good else 2


def add_decode(command: AddCommand) -> None:
    sub = command("decode", _decode, "show what a message becomes, and why")
    sub.add_argument("--topic", required=True)
    sub.add_argument("--payload", required=True, help="the text of the message, or @FILE")


def _decode(arguments: argparse.Namespace) -> int:
    from dashboard.__main__ import settings_of
    from ingest import explain

    payload: str = arguments.payload
    data = Path(payload[1:]).read_bytes() if payload.startswith("@") else payload.encode()
    report = explain.decode(settings_of(arguments), arguments.topic, data)
    print(report.text)
    return 0 if report.good else 2


# --- reading the command line ----------------------------------------------------------------------------------------


def _time(text: str) -> datetime:
    cleaned = text.strip().replace("Z", "+00:00").replace("z", "+00:00")
    try:
        when = datetime.fromisoformat(cleaned)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a time; write 2026-03-01T10:00Z") from None
    if when.tzinfo is None:
        raise argparse.ArgumentTypeError(f"{text!r} has no time zone; write {text.strip()}Z if it is UTC")
    return when.astimezone(UTC)


def _gravity(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 1.0 <= value <= 1.2:
        raise argparse.ArgumentTypeError(f"{text!r} is not an original gravity; write 1.052 (usual: 1.020 to 1.160)")
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
    kind, _, rest = text.partition("=")
    when, _, gravity = rest.partition("=")
    if kind.strip() not in EVENT_KINDS:
        raise argparse.ArgumentTypeError(f"{kind.strip()!r} is not an event; kinds: {', '.join(EVENT_KINDS)}")
    try:
        value = float(gravity) if gravity else None
    except ValueError:
        raise argparse.ArgumentTypeError(f"{gravity!r} is not a gravity; write 1.011") from None
    chosen: EventKind = kind.strip()  # type: ignore[assignment]  # checked above
    return Event(chosen, _time(when), value)


def _hours(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 1 <= value <= 24 * 30:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of hours; usual: 24 to 96")
    return value
