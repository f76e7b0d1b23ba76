"""A backup every night, older ones thinned out, and what became of the last one."""

from __future__ import annotations

import json
import logging
import re
import threading
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from ingest.backup.backup import CHECKSUM, back_up
from ingest.errors import IngestError
from ingest.store import Store

log = logging.getLogger(__name__)

LATE_AFTER: Final = timedelta(hours=36)
"""After this long without one a backup was missed: a night and half a day for a machine that was off."""

_NOTE: Final = "nightly backup"
_LOOK_S: Final = 60.0
_AGAIN_AFTER: Final = timedelta(hours=1)
"""A backup that failed (a share that is not mounted) is tried again this often."""
_MONTHS: Final = 12
"""Besides the newest days, the last backup of each of so many months stays: a fault may be noticed late."""
_NAME: Final = re.compile(r"tunroom-(\d{4}-\d{2}-\d{2})\.duckdb")


@dataclass(frozen=True, slots=True, kw_only=True)
class NightlyState:
    """What became of the nightly backups: the last that was whole, and what went wrong since."""

    file: str | None = None
    made_at: str | None = None
    tried_at: str | None = None
    problem: str | None = None

    def is_late(self, now: datetime, since: datetime) -> bool:
        """Whether the last one is too old; `since` is when the cellar was first asked to make them."""
        last = datetime.fromisoformat(self.made_at) if self.made_at else since
        return now - last > LATE_AFTER


def state_of(store: Store) -> NightlyState:
    """As kept in the cellar; empty where none was made yet."""
    text = store.get_note(_NOTE)
    return NightlyState(**json.loads(text)) if text else NightlyState()


class Nightly:
    """One thread that makes a backup a night into a directory, and keeps the newest of them."""

    def __init__(self, store: Store, directory: Path, *, hour: int, keep: int) -> None:
        """`hour` is of the cellar's own clock; `keep` is how many days' backups stay."""
        self.directory = directory
        self.since = datetime.now(UTC)
        self._store, self._hour, self._keep = store, hour, keep
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="nightly backup", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def close(self) -> None:
        """End; a backup that is being made is finished first."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(30)

    def _run(self) -> None:
        while not self._stop.wait(_LOOK_S):
            try:
                self.consider(datetime.now(UTC))
            except Exception:  # the next night must not be missed for what went wrong in this one
                log.exception("the nightly backup stumbled")

    def is_late(self, now: datetime) -> bool:
        """Whether a backup was missed."""
        return state_of(self._store).is_late(now, self.since)

    def consider(self, now: datetime) -> NightlyState:
        """Make this day's backup if its hour has come and it is not there; what is known then."""
        state = state_of(self._store)
        here = now.astimezone(ZoneInfo(self._store.preferences().time_zone))
        day = here.date() if here.time() >= time(self._hour) else here.date() - timedelta(days=1)
        made = datetime.fromisoformat(state.made_at).astimezone(here.tzinfo) if state.made_at else None
        due = datetime.combine(day, time(self._hour), here.tzinfo)
        if made is not None and made >= due and state.file and Path(state.file).parent == self.directory:
            return state
        if state.problem and state.tried_at and now - datetime.fromisoformat(state.tried_at) < _AGAIN_AFTER:
            return state
        return self._make(now, here.date(), state)

    def _make(self, now: datetime, day: date, before: NightlyState) -> NightlyState:
        file = self.directory / f"tunroom-{day.isoformat()}.duckdb"
        try:
            if not file.exists():  # a run that was killed after it had made it
                back_up(self._store, file)
            state = NightlyState(file=str(file), made_at=now.isoformat(), tried_at=now.isoformat())
            self._thin_out()
        except (IngestError, OSError) as error:
            log.warning("No backup: %s", error)
            state = NightlyState(file=before.file, made_at=before.made_at, tried_at=now.isoformat(), problem=str(error))
        self._store.set_note(_NOTE, json.dumps(asdict(state)))
        return state

    def _thin_out(self) -> None:
        days = {date.fromisoformat(m[1]): p for p in self.directory.iterdir() if (m := _NAME.fullmatch(p.name))}
        for day in set(days) - staying(sorted(days), self._keep):
            days[day].unlink()
            days[day].with_name(days[day].name + CHECKSUM).unlink(missing_ok=True)


def staying(days: Sequence[date], keep: int) -> set[date]:
    """Which days' backups stay: the newest `keep`, and the last of each of the newest twelve months."""
    last_of_month = {(day.year, day.month): day for day in sorted(days)}
    months = sorted(last_of_month)[-_MONTHS:]
    return {*sorted(days)[-keep:], *(last_of_month[month] for month in months)}
