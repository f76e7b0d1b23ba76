"""The headless run: ``python -m ingest [--config FILE] [--data DIR]``, the same as ``tunroom ingest``."""

from __future__ import annotations

import argparse
import signal
import sys
import threading
from collections.abc import Sequence
from pathlib import Path

from ingest import commands, control, file_modes, logs, service, systemd
from ingest.errors import IngestError
from ingest.settings import Settings, load


def main(arguments: Sequence[str] | None = None) -> int:
    """Read the settings and run until interrupted; return the exit status."""
    parser = argparse.ArgumentParser(prog="python -m ingest", description="Take readings in, without a dashboard.")
    parser.add_argument("--config", type=Path, metavar="FILE", help="settings file (default: ./tunroom.toml)")
    parser.add_argument("--data", type=Path, metavar="DIR", help="data directory (default: the platform's usual place)")
    options = parser.parse_args(arguments)
    file_modes.from_now_on()
    logs.start()
    try:
        settings = load(options.config, options.data)
        logs.start(settings.log.level, settings.log.format)
        return run(settings)
    except IngestError as error:
        print(f"tunroom: {error}", file=sys.stderr)
        return 1


def run(settings: Settings) -> int:
    """Take readings in until SIGINT or SIGTERM; return the exit status."""
    stop = threading.Event()
    for each in (signal.SIGINT, signal.SIGTERM):
        signal.signal(each, lambda *_: stop.set())
    with (
        service.running(settings) as running,
        control.serving(settings.data_dir, commands.handlers(running)),
    ):
        where = "the embedded broker" if running.broker else "the broker"
        host, port = running.broker.address if running.broker else (settings.broker.host, settings.broker.port)
        print(f"tunroom takes readings in from {where} at {host}:{port}  (Ctrl-C stops it)", flush=True)
        systemd.notify(systemd.READY)
        while not stop.wait(systemd.watchdog_every_s() or service.SIGN_EVERY_S):
            running.sign_of_life()
        systemd.notify(systemd.STOPPING)
        print("Stopping …", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
