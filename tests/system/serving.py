"""The whole program in a process of its own, and a real browser to look at it."""

from __future__ import annotations

import contextlib
import json
import signal
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from ingest.model import BatchRecord, HandSample, Vessel
from ingest.store.store import Store
from tests.conftest import free_port

ROOT = Path(__file__).parents[2]
CHROMIUM_OPTIONS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@contextlib.contextmanager
def browser(program: str, *options: str, width: int = 1280, height: int = 860, dark: bool = False) -> Iterator[Any]:
    """A page of a real Chromium."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=program, args=[*CHROMIUM_OPTIONS, *options])
        context = chromium.new_context(
            viewport={"width": width, "height": height}, color_scheme="dark" if dark else "light"
        )
        context.set_default_timeout(60_000)
        yield context.new_page()
        context.close()
        chromium.close()


class Server:
    """A `tunroom` command that serves, in a process of its own."""

    def __init__(self, folder: Path, *arguments: str, module: str = "dashboard") -> None:
        self.port = free_port()
        self.broker_port = free_port()
        self.data = folder / "data"
        self._log = folder / "server.log"
        self._arguments = arguments
        self._module = module
        self._process: subprocess.Popen[bytes] | None = None

    def start(self, *more: str) -> None:
        command = [sys.executable, "-m", self._module, *self._arguments, *more, "--data", str(self.data)]
        command += ["--port", str(self.port), "--broker-port", str(self.broker_port)]
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(command, cwd=ROOT, stdout=log, stderr=log)

    def interrupt(self) -> int:
        """Ctrl-C; return the exit status."""
        assert self._process is not None
        self._process.send_signal(signal.SIGINT)
        code = self._process.wait(40)
        self._process = None
        return code

    def kill(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait(10)

    @property
    def pid(self) -> int | None:
        return self._process.pid if self._process is not None else None

    @property
    def log(self) -> str:
        return self._log.read_text(errors="replace")

    def health(self) -> dict[str, Any]:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/healthz", timeout=5) as answer:
                return dict(json.load(answer))
        except urllib.error.HTTPError as error:
            return dict(json.load(error))
        except OSError:
            return {}

    def command_with(self, typed: str, *arguments: str) -> str:
        """What a command answers that reads from standard input."""
        command = [sys.executable, "-m", "dashboard", *arguments, "--data", str(self.data)]
        return subprocess.run(
            command, cwd=ROOT, input=typed, capture_output=True, text=True, timeout=60, check=True
        ).stdout

    def command(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "dashboard", *arguments, "--data", str(self.data)],
            cwd=ROOT,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )


def put_casks(data: Path, many: int) -> None:
    """A cellar of so many casks, each with a batch of two days and one hand sample."""
    data.mkdir()
    now = datetime.now(UTC)
    with Store.open(data) as store:
        for n in range(many):
            vessel = store.save(Vessel(name=f"Cask {n}"))
            batch = store.save(
                BatchRecord(name=f"Bitter {n}", vessel_id=vessel.vessel_id, pitched_at=now - timedelta(days=2))
            )
            store.save(HandSample(batch_id=batch.batch_id, at=now - timedelta(hours=3), value=1.030))
