"""`python -m tests.system.shifted serve …`: the program under a clock that a test sets.

Days pass in a second: the file ``clock`` beside the data holds by how many seconds this process is ahead of the
machine, and is looked at all the time. What waits, waits as ever (`time.monotonic`), but for the rest between two
judgements of one batch: there is none, since days pass meanwhile.
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


def offset_file(data: Path) -> Path:
    """Where the offset stands, for a program with this data folder."""
    return data.with_name("clock")


def set_clock(data: Path, now: datetime) -> None:
    """Let the program with this data folder think that it is `now`, from when this returns on."""
    file = offset_file(data)
    new = file.with_suffix(".new")
    new.write_text(f"{(now - datetime.now(UTC)).total_seconds():.3f}")
    new.replace(file)
    time.sleep(3 * LOOK_S)


def shifted_main(arguments: list[str]) -> int:
    """Run the program with these arguments, `--data` among them."""
    file = offset_file(Path(arguments[arguments.index("--data") + 1]))
    ahead_s = float(file.read_text())
    traveller = time_machine.travel(datetime.now(UTC) + timedelta(seconds=ahead_s), tick=True).start()
    datetime.now(UTC)  # it ticks from the first look on

    def follow() -> None:
        at = ahead_s
        while True:
            time.sleep(LOOK_S)
            wanted = float(file.read_text())
            if wanted != at:
                traveller.shift(wanted - at)
                at = wanted

    threading.Thread(target=follow, name="clock", daemon=True).start()

    from dashboard.__main__ import main  # under the shifted clock from its first line on
    from ingest.monitoring import outlook

    outlook._LEAST_REST_S, outlook._SHARE_OF_A_CORE = 0.0, math.inf  # type: ignore[misc]

    return main(arguments)


if __name__ == "__main__":
    sys.exit(shifted_main(sys.argv[1:]))
