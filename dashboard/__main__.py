"""The command `tunroom`."""

from __future__ import annotations

import argparse
import logging
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from analysis.errors import AnalysisError
from dashboard import version
from ingest import file_modes
from ingest.errors import IngestError
from ingest.settings.settings import Settings, load

Command = Callable[[argparse.Namespace], int]


def main(argv: Sequence[str] | None = None) -> int:
    """Carry out one command; return its exit status (2 for input that cannot be used)."""
    parser = _parser()
    arguments = parser.parse_args(argv)
    if arguments.run is None:
        parser.print_help()
        return 2
    file_modes.from_now_on()
    logging.basicConfig(
        level=logging.DEBUG if arguments.verbose else logging.WARNING,
        format="%(asctime)s %(levelname)s %(name)s: %(message)s",
    )
    if not arguments.verbose:
        logging.getLogger("ingest").setLevel(logging.INFO)
    try:
        command: Command = arguments.run
        return command(arguments)
    except (IngestError, AnalysisError) as error:
        print(f"tunroom: {error}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        return 0
    except KeyboardInterrupt:
        print("Interrupted.", file=sys.stderr)
        return 130


def settings_of(arguments: argparse.Namespace) -> Settings:
    """The settings, with what the command line says laid over file and environment."""
    settings = load(arguments.config, arguments.data)
    if (port := getattr(arguments, "port", None)) is not None:
        settings = replace(settings, server=replace(settings.server, port=port))
    if (port := getattr(arguments, "broker_port", None)) is not None:
        settings = replace(settings, broker=replace(settings.broker, port=port))
    return settings


def _parser() -> argparse.ArgumentParser:
    common = argparse.ArgumentParser(add_help=False)
    common.add_argument("--config", type=Path, metavar="FILE", help="settings (default: tunroom.toml here, if there)")
    common.add_argument("--data", type=Path, metavar="DIR", help="where the cellar is kept (default: your data folder)")
    common.add_argument("--verbose", action="store_true", help="say more in the log")

    parser = argparse.ArgumentParser(
        prog="tunroom",
        description="Follow many small fermentations from afar: how each one goes, when it has finished, "
        "when to dry hop and when to package.",
        epilog="Begin with: tunroom demo",
    )
    parser.add_argument("--version", action="version", version=f"tunroom {version.text()}")
    parser.set_defaults(run=None, verbose=False)
    add = parser.add_subparsers(title="commands", metavar="COMMAND").add_parser

    def command(name: str, run: Command, summary: str, details: str = "") -> argparse.ArgumentParser:
        sub = add(name, parents=[common], help=summary, description=f"{summary[0].upper()}{summary[1:]}. {details}")
        sub.set_defaults(run=run)
        return sub

    from dashboard.cli import assess, commands

    demo = command("demo", _demo, "show an invented cellar with simulated devices", "Nothing of yours is touched.")
    demo.add_argument("--fresh", action="store_true", help="forget the demo's data and start over")
    _ports(demo)

    serve = command("serve", _serve, "run the dashboard and take in readings, until Ctrl-C")
    _ports(serve)

    command("ingest", _ingest, "take in readings without a dashboard, until Ctrl-C")

    assess.add_assess(command)
    commands.add_sheet(command)
    commands.add_plan(command)
    commands.add_import(command)
    commands.add_export(command)
    commands.add_check(command)
    commands.add_decode(command)
    return parser


def _ports(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--port", type=_port, metavar="NUMBER", help="the dashboard's port (default 8600)")
    parser.add_argument("--broker-port", type=_port, metavar="NUMBER", help="the broker's port (default 1883)")


def _port(text: str) -> int:
    if text.isascii() and text.isdigit() and 1 <= int(text) <= 65535:
        return int(text)
    raise argparse.ArgumentTypeError(f"{text!r} is not a port; give a number from 1 to 65535")


def _demo(arguments: argparse.Namespace) -> int:
    from dashboard.demo import demo

    return demo.run(arguments)


def _serve(arguments: argparse.Namespace) -> int:
    from dashboard import app

    app.run(settings_of(arguments))
    return 0


def _ingest(arguments: argparse.Namespace) -> int:
    from ingest.__main__ import run

    return run(settings_of(arguments))


if __name__ == "__main__":
    sys.exit(main())
