"""`python -m tests.system.shifted serve …`: the program under a clock that a test sets.

Days pass in a second: the file ``clock`` beside the data holds by how many seconds this process is ahead of the
machine, and is looked at all the time. What waits, waits as ever (`time.monotonic`), but for the rest between two
judgements of one batch, and between two looks at all of them: days pass meanwhile.
"""

from __future__ import annotations

import math
import sys
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import time_machine

LOOK_S = 0.02
TAKES_S = 60.0
"""How long a program may need to take up a new time on a busy machine."""


def offset_file(data: Path) -> Path:
    """Where the offset stands, for a program with this data folder."""
    return data.with_name("clock")


def _taken_file(data: Path) -> Path:
    """Where the program says which offset it goes by."""
    return data.with_name("clock.taken")


def set_clock(data: Path, now: datetime) -> None:
    """Let the program with this data folder think that it is `now`, from when this returns on.

    A program that runs has said so: what a test sends before that would come from the future.
    """
    wanted = f"{(now - datetime.now(UTC)).total_seconds():.3f}"
    _write(offset_file(data), wanted)
    taken = _taken_file(data)
    until = time.monotonic() + TAKES_S
    while taken.exists() and taken.read_text() != wanted:
        if time.monotonic() > until:
            raise TimeoutError("the program does not take up the new time")
        time.sleep(LOOK_S)


def _write(file: Path, text: str) -> None:
    new = file.with_name(f"{file.name}.new")
    new.write_text(text)
    new.replace(file)


def shifted_main(arguments: list[str]) -> int:
    """Run the program with these arguments, `--data` among them."""
    data = Path(arguments[arguments.index("--data") + 1])
    file, told = offset_file(data), offset_file(data).read_text()
    traveller = time_machine.travel(datetime.now(UTC) + timedelta(seconds=float(told)), tick=True).start()
    datetime.now(UTC)  # it ticks from the first look on
    _write(_taken_file(data), told)

    def follow() -> None:
        at = told
        while True:
            time.sleep(LOOK_S)
            if (wanted := file.read_text()) != at:
                traveller.shift(float(wanted) - float(at))
                at = wanted
                _write(_taken_file(data), at)

    threading.Thread(target=follow, name="clock", daemon=True).start()

    from dashboard.__main__ import main  # under the shifted clock from its first line on
    from ingest.monitoring import outlook, watcher

    watcher._LOOK_S = 0.5  # type: ignore[misc]
    outlook._LEAST_REST_S, outlook._SHARE_OF_A_CORE = 0.0, math.inf  # type: ignore[misc]

    return main(arguments)


if __name__ == "__main__":
    sys.exit(shifted_main(sys.argv[1:]))
