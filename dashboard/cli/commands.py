"""Commands that answer and end: sheet, plan, import, export, check, decode."""

from __future__ import annotations

import argparse
import json
import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from dashboard.cli.options import AddCommand, columns_of, settings_of, shows_units, with_bar
from ingest.errors import EntryError, ImportFileError, IngestError

# --- sheet and plan --------------------------------------------------------------------------------------------------

if TYPE_CHECKING:
    from ingest.decoding import Rule


def add_sheet(command: AddCommand) -> None:
    sub = command(
        "sheet",
        _sheet,
        "work out a packaging sheet from a JSON object",
        "Pressure and sulfite can hurt: follow the maker's marking, local codes and licensed practice.",
    )
    sub.add_argument("--input", required=True, metavar="FILE", help="a JSON file, or - for standard input")
    sub.add_argument("--json", action="store_true", help="answer as JSON (otherwise in words and units)")
    sub.add_argument("--html", type=Path, metavar="FILE", help="write the printable sheet there as well")
    shows_units(sub)


def _sheet(arguments: argparse.Namespace) -> int:
    from analysis.display_units import DisplayUnits
    from analysis.packaging.sheet import sheet
    from analysis.packaging.validation import SheetInputError
    from analysis.wording.sheet_json import as_json
    from dashboard.sheet.html import sheet_html
    from dashboard.sheet.text import sheet_text
    from ingest.model import Preferences

    mine = Preferences(**dict(arguments.unit))
    where = "standard input" if arguments.input == "-" else arguments.input
    try:
        text = sys.stdin.read() if arguments.input == "-" else Path(arguments.input).read_text(encoding="utf-8")
        given = json.loads(text)
    except OSError as error:
        raise ImportFileError(where, "the file", f"it cannot be read ({error.strerror})", "Check the path.") from None
    except (ValueError, RecursionError) as error:
        raise ImportFileError(where, "the text", f"it is not JSON ({error})", 'Write {"volume_l": 20, …}.') from None
    if not isinstance(given, dict):
        raise ImportFileError(where, "the text", "it is not a JSON object", 'Write {"volume_l": 20, …}.')
    try:
        answer = sheet(given)
    except SheetInputError as error:
        for fault in error.all:
            print(f"tunroom: {where}: {fault}", file=sys.stderr)
        return 2
    if arguments.html is not None:
        try:
            arguments.html.write_text(sheet_html(answer, preferences=mine), encoding="utf-8")
        except OSError as error:
            problem = f"it cannot be written ({error.strerror})"
            raise ImportFileError(str(arguments.html), "the page", problem, "Choose another place.") from None
    if arguments.json:
        print(json.dumps(as_json(answer, DisplayUnits()), indent=2, ensure_ascii=False))
    else:
        print(sheet_text(answer, mine))
    return 0


def add_plan(command: AddCommand) -> None:
    sub = command("plan", _plan, "say on which day to hop and on which to package a batch")
    sub.add_argument("batch", metavar="BATCH", help="the batch's id or name, or its vessel's name")
    sub.add_argument("--json", action="store_true", help="answer as JSON")


def _plan(arguments: argparse.Namespace) -> int:
    answer = carry_out(arguments, "plan", {"batch": arguments.batch})
    if arguments.json:
        print(json.dumps(answer, indent=2, ensure_ascii=False))
        return 0
    from analysis.display_units import chance

    print(answer["batch"])
    today = datetime.now(ZoneInfo(answer["time_zone"])).date().isoformat()
    for each in answer["to_do"]:
        dose = f" ({each['dose']} of {each['doses']})" if each["doses"] > 1 else ""
        holds = f", {chance(each['chance'])} to hold" if each["chance"] is not None else ""
        gone = each["day"] < today
        print(f"  {each['act'].capitalize()}{dose}: {each['day']}{' (past)' if gone else holds}")
    print(f"  {answer['reason']}")
    for caution in answer["cautions"]:
        print(f"  Caution: {caution}")
    return 0


def carry_out(arguments: argparse.Namespace, command: str, wishes: dict[str, Any]) -> Any:
    """Have the cellar's owner carry out a command, and say on a terminal how far it is."""
    from ingest import commands

    live = sys.stderr.isatty()
    said = False

    def progress(text: str) -> None:
        nonlocal said
        if live:  # where it goes into a file, nobody watches it grow
            print(f"\r{with_bar(text):<78}", end="", file=sys.stderr, flush=True)
            said = True

    try:
        return commands.carry_out(settings_of(arguments), command, wishes, progress)
    finally:
        if said:
            print(file=sys.stderr)


# --- import and export -----------------------------------------------------------------------------------------------


def add_import(command: AddCommand) -> None:
    sub = command(
        "import",
        _import,
        "take in a log (CSV, Parquet, JSON lines) or an exported cellar",
        "Taking the same file in twice changes nothing. Works while the server runs.",
    )
    sub.add_argument("path", type=Path, metavar="LOG|DIR|ZIP")
    sub.add_argument("--device", metavar="ID", help="the device that the readings belong to, if no column says so")
    sub.add_argument("--batch", metavar="BATCH", help="put the device into this batch's vessel for the log's time")
    sub.add_argument(
        "--column",
        action="append",
        default=[],
        metavar="OURS=THEIRS",
        help='for example measured_at="Date and time"; asked for where it is missing and you can be asked',
    )
    sub.add_argument(
        "--dates",
        choices=("day-first", "month-first"),
        help="the order of dates such as 9/1/2026 (found by itself where a number is above 12)",
    )


def _import(arguments: argparse.Namespace) -> int:
    columns = columns_of(arguments.column)
    if not arguments.path.is_dir() and arguments.path.suffix.lower() != ".zip":
        from ingest import transfer

        columns = transfer.mapping(arguments.path, columns, ask=_ask if sys.stdin.isatty() else None)
    wishes = {
        "path": str(arguments.path.resolve()),
        "device": arguments.device,
        "batch": arguments.batch,
        "columns": columns,
        "dates": arguments.dates,
    }
    _print_result(carry_out(arguments, "import", wishes))
    return 0


def _ask(question: str, choices: list[str]) -> str | None:
    print(question, file=sys.stderr)
    for number, choice in enumerate(choices, start=1):
        print(f"  {number}  {choice}", file=sys.stderr)
    try:
        answer = input("Number, or nothing for none: ").strip()
    except EOFError:
        return None
    return choices[int(answer) - 1] if answer.isdigit() and 1 <= int(answer) <= len(choices) else None


def add_export(command: AddCommand) -> None:
    sub = command("export", _export, "write everything to a directory as Parquet and CSV")
    sub.add_argument("path", type=Path, metavar="DIR")
    sub.add_argument(
        "--partitioned",
        action="store_true",
        help="write the batches with their readings as Parquet by cellar and month of pitching; several cellars may "
        "share DIR",
    )
    sub.add_argument("--cellar", metavar="NAME", help="with --partitioned: the cellar's name there (default: its own)")


def _export(arguments: argparse.Namespace) -> int:
    if arguments.cellar is not None and not arguments.partitioned:
        raise EntryError("cellar", "--cellar names a cellar among several", "Give --partitioned as well.")
    wishes = {"partitioned": arguments.partitioned, "cellar": arguments.cellar}
    _print_result(carry_out(arguments, "export", {"path": str(arguments.path.resolve()), **wishes}))
    return 0


def add_backup(command: AddCommand) -> None:
    sub = command(
        "backup",
        _backup,
        "write the whole cellar into one file, which is read again to see that it is whole",
        "Works while the server runs. Its SHA-256 is written beside it. The settings file and the passwords' files are "
        "not in it. Whoever has the file can read everything in the cellar.",
    )
    sub.add_argument("path", type=Path, metavar="FILE")


def _backup(arguments: argparse.Namespace) -> int:
    result = carry_out(arguments, "backup", {"path": str(arguments.path.resolve())})
    _print_result({key: value for key, value in result.items() if key != "tables"})
    return 0


def add_restore(command: AddCommand) -> None:
    sub = command(
        "restore",
        _restore,
        "put a backup into an empty data directory",
        "The backup is only read; a cellar that is there is never replaced.",
    )
    sub.add_argument("path", type=Path, metavar="FILE")


def _restore(arguments: argparse.Namespace) -> int:
    from dataclasses import asdict

    from ingest.backup import restore
    from ingest.settings.settings import DATABASE

    result = asdict(restore(arguments.path, settings_of(arguments).data_dir / DATABASE))
    _print_result({key: value for key, value in result.items() if key != "tables"})
    return 0


def add_repair(command: AddCommand) -> None:
    sub = command(
        "repair",
        _repair,
        "make a new cellar of what can be read of a damaged one",
        "The damaged files are only read, and copied beside the new cellar. Stop tunroom first.",
    )
    sub.add_argument("path", type=Path, metavar="DIR", help="an empty directory for the new cellar")


def _repair(arguments: argparse.Namespace) -> int:
    from ingest.settings.settings import DATABASE
    from ingest.store.repair import repair

    database = settings_of(arguments).data_dir / DATABASE
    live = sys.stderr.isatty()
    done = repair(
        database, arguments.path.resolve(), progress=lambda text: print(f"{text} …", file=sys.stderr) if live else None
    )
    print(f"What could be read stands in a new cellar. Look through it: tunroom serve --data {done.directory}")
    _print_result({"readings": done.readings, **done.tables})
    if done.missing:
        print("What is missing:")
        for sentence in done.missing:
            print(f"  {sentence}")
    else:
        print("Nothing is missing of what the files hold.")
    print(
        f"{database} and {database.name}.wal, the log of its newest changes, were only read; copies of what is there "
        f"of them are kept in {done.copies}. Throw neither away before you are content."
    )
    return 0


def _print_result(result: dict[str, Any]) -> None:
    """A line for each thing there is something to say about, in words."""
    for key, value in result.items():
        if isinstance(value, dict):
            value = ", ".join(f"{name.replace('_', ' ')} {what}" for name, what in value.items() if what)
        elif isinstance(value, (list, tuple)):
            value = ", ".join(str(each) for each in value)
        if value or key in ("new", "readings"):
            print(f"{key.replace('_', ' ')}: {value}")


# --- check and decode ------------------------------------------------------------------------------------------------


def add_check(command: AddCommand) -> None:
    command("check", _check, "check tunroom.toml and name every line that is wrong")


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
    from ingest import control, explain
    from ingest.settings.settings import DATABASE

    payload: str = arguments.payload
    try:
        data = Path(payload[1:]).read_bytes() if payload.startswith("@") else payload.encode()
    except OSError as error:
        raise ImportFileError(
            payload[1:], "the file", f"it cannot be read ({error.strerror})", "Check the path."
        ) from None
    settings = settings_of(arguments)
    made_on_screen: tuple[Rule, ...] = ()
    try:
        if control.owner(settings.data_dir) is not None or (settings.data_dir / DATABASE).exists():
            from ingest import commands  # opens the cellar, and so loads all that it takes

            made_on_screen = commands.rules_made_on_screen(settings)
    except IngestError as error:  # the settings' own rules can be tried all the same
        print(f"Without the rules made on screen: {error}", file=sys.stderr)
        made_on_screen = ()
    report = explain.decode(settings, arguments.topic, data, made_on_screen=made_on_screen)
    print(report.text)
    return 0 if report.good else 2
