"""The command `tunroom`."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from analysis.errors import AnalysisError
from dashboard import version
from dashboard.cli.options import Command, ports, settings_of
from ingest import file_modes, logs
from ingest.errors import IngestError
from ingest.settings.settings import Settings


def main(argv: Sequence[str] | None = None) -> int:
    """Carry out one command; return its exit status (2 for input that cannot be used)."""
    parser = _parser()
    arguments = parser.parse_args(argv)
    if arguments.run is None:
        parser.print_help()
        return 2
    file_modes.from_now_on()
    logs.start("debug" if arguments.verbose else "info")
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
    parser.add_argument("--version", action="version", version=f"tunroom {version()}")
    parser.set_defaults(run=None, verbose=False)
    add = parser.add_subparsers(title="commands", metavar="COMMAND").add_parser

    def command(name: str, run: Command, summary: str, details: str = "") -> argparse.ArgumentParser:
        sub = add(name, parents=[common], help=summary, description=f"{summary[0].upper()}{summary[1:]}. {details}")
        sub.set_defaults(run=run)
        return sub

    from dashboard.cli import access, assess, commands, systemd_unit, trials

    demo = command("demo", _demo, "show an invented cellar with simulated devices", "Nothing of yours is touched.")
    demo.add_argument("--fresh", action="store_true", help="forget the demo's data and start over")
    ports(demo)

    serve = command("serve", _serve, "run the dashboard and take in readings, until Ctrl-C")
    ports(serve)

    command("ingest", _ingest, "take in readings without a dashboard, until Ctrl-C")

    assess.add_assess(command)
    commands.add_sheet(command)
    commands.add_plan(command)
    trials.add_milestones(command)
    trials.add_report(command)
    commands.add_import(command)
    commands.add_export(command)
    commands.add_backup(command)
    commands.add_restore(command)
    access.add_password(command)
    access.add_broker_settings(command)
    commands.add_repair(command)
    commands.add_check(command)
    commands.add_decode(command)
    systemd_unit.add_systemd_unit(command)
    return parser


def _demo(arguments: argparse.Namespace) -> int:
    from dashboard.demo import demo

    return demo.run(arguments)


def _serve(arguments: argparse.Namespace) -> int:
    from dashboard import app

    app.run(_settings_and_log(arguments))
    return 0


def _ingest(arguments: argparse.Namespace) -> int:
    from ingest.__main__ import run

    return run(_settings_and_log(arguments))


def _settings_and_log(arguments: argparse.Namespace) -> Settings:
    """The settings, with the log as they wish from now on."""
    settings = settings_of(arguments)
    logs.start("debug" if arguments.verbose else settings.log.level, settings.log.format)
    return settings


if __name__ == "__main__":
    sys.exit(main())
