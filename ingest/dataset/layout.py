"""Where what is in a dataset: two tables in the layout that engines call hive, and what each cellar has learned.

::

    readings/cellar=<cellar>/pitched=<year-month>/part.parquet    calibrated readings of the batches of that month
    batches/cellar=<cellar>/pitched=<year-month>/part.parquet     a row a batch
    lessons/cellar=<cellar>/lessons.json                          what its finished batches taught

A name is percent-encoded (RFC 3986), as engines expect of such a layout.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote, unquote

import polars as pl

from analysis import Batch, Priors
from analysis.model import Added, Event
from analysis.schemas import READINGS, UTC_TIME
from ingest.errors import ImportFileError

READINGS_ROWS: Final = pl.Schema({"batch_id": pl.String(), "device_id": pl.String(), **READINGS})
BATCH_ROWS: Final = pl.Schema(
    {
        "batch_id": pl.String(),
        "name": pl.String(),
        "drink": pl.String(),
        "yeast": pl.String(),
        "pitched_at": UTC_TIME,
        "ended_at": UTC_TIME,
        "original_gravity_sg": pl.Float64(),
        "batch": pl.String(),
    }
)
"""`batch` is everything that the assessment knows of it, as JSON; the other columns are for whoever asks the table."""

READINGS_TABLE: Final = "readings"
BATCHES_TABLE: Final = "batches"
LESSONS: Final = "lessons"
LESSONS_FILE: Final = "lessons.json"
PART_FILE: Final = "part.parquet"
MOVING: Final = ".moving-"
"""Before the name of a directory whose export is whole, but not all in its place yet."""


@dataclass(frozen=True, slots=True)
class Part:
    """The batches of one cellar that were pitched in one month, by the paths of their files."""

    cellar: str
    month: str
    batches: str
    readings: str
    lessons: str


def cellar_folder(cellar: str) -> str:
    """The name of a cellar's folder in each table."""
    return f"cellar={quote(cellar, safe='')}"


def parts_of(directory: Path) -> list[Part]:
    """Every part of a dataset, in order of cellar and month.

    Raises
    ------
    ImportFileError
        If it is no dataset, or an export into it was broken off.
    """
    for broken in sorted(directory.glob(f"{MOVING}*")):
        problem = f"the export of {unquote(broken.name.removeprefix(f'{MOVING}cellar='))} was broken off"
        raise ImportFileError(directory.name, broken.name, problem, "Export that cellar again")
    parts = []
    for file in sorted((directory / BATCHES_TABLE).glob(f"cellar=*/pitched=*/{PART_FILE}")):
        cellar, month = file.parts[-3], file.parts[-2]
        parts.append(
            Part(
                unquote(cellar.removeprefix("cellar=")),
                month.removeprefix("pitched="),
                str(file),
                str(directory / READINGS_TABLE / cellar / month / PART_FILE),
                str(directory / LESSONS / cellar / LESSONS_FILE),
            )
        )
    if not parts:
        remedy = "Give a directory that tunroom export --partitioned wrote"
        raise ImportFileError(directory.name, f"{BATCHES_TABLE}/", "there are no batches in it", remedy)
    return parts


def batch_to_json(batch: Batch) -> str:
    """Everything the assessment knows of a batch."""
    return json.dumps(asdict(batch), default=_instant, ensure_ascii=False, sort_keys=True)


def _instant(value: object) -> str:
    if isinstance(value, datetime):
        return value.isoformat()
    raise TypeError(f"a batch holds a {type(value).__name__}")


def batch_from_json(text: str) -> Batch:
    """From `batch_to_json`.

    Raises
    ------
    ValueError, TypeError, KeyError
        If it is none, or one of a later version.
    """
    values: dict[str, Any] = json.loads(text)
    attenuation = values.pop("expected_attenuation")
    return Batch(
        **{
            **values,
            "pitched_at": datetime.fromisoformat(values["pitched_at"]),
            "expected_attenuation": None if attenuation is None else tuple(attenuation),
            "events": tuple(_event(each) for each in values["events"]),
            "float_changed_at": _instants(values["float_changed_at"]),
        }
    )


def _event(values: dict[str, Any]) -> Event:
    added = values["added"]
    at = datetime.fromisoformat(values["at"])
    return Event(**{**values, "at": at, "added": None if added is None else Added(**added)})


def _instants(texts: Iterable[str]) -> tuple[datetime, ...]:
    return tuple(datetime.fromisoformat(text) for text in texts)


def lessons_from(file: Path) -> Priors:
    """What the cellar's finished batches taught; of a cellar that has none, what tunroom ships with.

    Raises
    ------
    ImportFileError
        If they cannot be read, as those of another version.
    """
    try:
        text = file.read_text(encoding="utf-8")
        return Priors.from_json(text) if text.strip() else Priors()
    except (OSError, ValueError, KeyError, TypeError) as error:
        problem = f"what the cellar had learned cannot be read ({error})"
        raise ImportFileError(file.name, file.parent.name, problem, "Export that cellar again") from error
