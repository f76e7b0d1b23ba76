"""The whole cellar as files, and back: a file per table and one of readings, as Parquet and as CSV."""

from __future__ import annotations

import json
import tempfile
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import polars as pl
import pyarrow.parquet as pq

from ingest import file_modes
from ingest.decoding import RULES_NOTE, add_rules
from ingest.errors import EntryError, ImportFileError
from ingest.model import (
    AssessmentRecord,
    BatchRecord,
    BatchStay,
    Photo,
    Picture,
    Placement,
    Record,
    Rejection,
    TrialRecord,
)
from ingest.photos import is_kept_picture
from ingest.store import (
    AS_SENT,
    DRY_HOPS_SAID_FROM,
    ENTRIES,
    NEWEST,
    PHOTOS_FROM,
    STAYS_FROM,
    TABLES,
    TASTINGS_FROM,
    TRIALS_FROM,
    Store,
    Table,
    from_row,
    to_json,
)
from ingest.tastings import Taster, Tasting, TastingAnswer
from ingest.transfer.archive import unpack
from ingest.transfer.csv_text import for_spreadsheets
from ingest.transfer.log import Progress, keep_all
from ingest.transfer.manifest import MANIFEST, check_files, file_of, is_free, read_manifest, written_aside

READINGS_FILE: Final = pl.Schema(
    {
        "device_id": pl.String(),
        "vessel_id": pl.String(),
        "batch_id": pl.String(),
        **AS_SENT,
        "calibrated_gravity_sg": pl.Float64(),
        "calibrated_temperature_c": pl.Float64(),
        "extrapolated": pl.Boolean(),
    }
)
"""`readings.parquet`: one row a reading, as sent and as calibrated; vessel and batch are null where it was in none.

`extrapolated` says that the inclination lies outside the calibrated ones.
"""

_READINGS: Final = "readings"
_WRITTEN: Final = (*ENTRIES, AssessmentRecord, Rejection, Picture)
_EXPORTED: Final = (*(TABLES[cls].name for cls in _WRITTEN), "change", "note", _READINGS)
"""The tables of an export by the names of their files."""

_PLAIN: Final[dict[type, pl.DataType]] = {float: pl.Float64(), int: pl.Int64(), bool: pl.Boolean()}
_CALIBRATED: Final = ("calibrated_gravity_sg", "calibrated_temperature_c")


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written."""

    directory: str
    readings: int
    tables: dict[str, int]


@dataclass(frozen=True, slots=True)
class ImportedCellar:
    """What was new in the cellar that took the export in."""

    directory: str
    readings: int
    readings_new: int
    entries_new: int
    assessments_new: int
    rejected_new: int


def export_cellar(store: Store, directory: Path, *, progress: Progress = lambda _: None) -> Exported:
    """Write everything to a directory; files of an earlier export there are replaced once all are written.

    Raises
    ------
    EntryError
        If the directory holds other things, or cannot be written.
    """
    try:
        file_modes.make_directory(directory)
        if not is_free(directory):
            raise EntryError("path", f"{directory} is not empty", "Give a new directory, or that of an earlier export.")
        with written_aside(directory) as aside:
            readings, counts = _write_all(store, aside, progress)
    except OSError as error:
        raise EntryError(
            "path", f"{directory} cannot be written ({error.strerror or error})", "Choose another."
        ) from error
    return Exported(str(directory), readings, counts)


def _write_all(store: Store, directory: Path, progress: Progress) -> tuple[int, dict[str, int]]:
    """Write every file, the manifest last; how many readings, and how many rows of each other table."""
    counts = {}
    for cls in _WRITTEN:
        records = _records(store, cls)
        _write(directory, TABLES[cls].name, _table_frame(TABLES[cls], [to_json(r) for r in records]))
        counts[TABLES[cls].name] = len(records)
    notes = store.notes()
    frames = {"change": store.journal(), "note": pl.DataFrame({"key": list(notes), "value": list(notes.values())})}
    for name, frame in frames.items():
        _write(directory, name, frame)
        counts[name] = frame.height
    readings = _write_readings(store, directory, progress)
    about = {"tables": NEWEST, "exported_at": datetime.now(UTC).isoformat(), _READINGS: readings, **counts}
    (directory / MANIFEST).write_text(json.dumps(about, indent=2) + "\n", encoding="utf-8")
    return readings, counts


def _records(store: Store, cls: type[Any]) -> list[Any]:
    if cls is AssessmentRecord:
        return [a for batch in store.all(BatchRecord) for a in store.assessments(batch.batch_id)]
    if cls is Rejection:
        return [r for resolved in (False, True) for r in store.rejections(resolved=resolved, limit=2**31)]
    return store.pictures() if cls is Picture else list(store.all(cls))


def _table_frame(table: Table, rows: list[dict[str, Any]]) -> pl.DataFrame:
    """Numbers as numbers, everything else as text: instants in ISO 8601, lists as JSON, bytes in hexadecimal."""
    columns = {}
    for column in table.columns:
        values = [row[column.name] for row in rows]
        if column.plain in (tuple, dict):
            values = [json.dumps(value, ensure_ascii=False) for value in values]
        columns[column.name] = pl.Series(values, dtype=_PLAIN.get(column.plain, pl.String()))
    return pl.DataFrame(columns)


def _write(directory: Path, name: str, frame: pl.DataFrame) -> None:
    frame.write_parquet(directory / f"{name}.parquet", compression="zstd")
    for_spreadsheets(frame).write_csv(directory / f"{name}.csv", datetime_format="%Y-%m-%dT%H:%M:%S%.6fZ")


def _write_readings(store: Store, directory: Path, progress: Progress) -> int:
    calibrated = _calibrated_in_batches(store)
    devices = store.device_ids()
    written = 0
    schema = pl.DataFrame(schema=READINGS_FILE).to_arrow().schema
    with (
        pq.ParquetWriter(directory / "readings.parquet", schema, compression="zstd") as parquet,
        (directory / "readings.csv").open("wb") as csv,
    ):
        pl.DataFrame(schema=READINGS_FILE).write_csv(csv)
        for number, device_id in enumerate(devices, start=1):
            frame = _device_readings(store, device_id, calibrated.get(device_id))
            parquet.write_table(frame.to_arrow().cast(schema))
            for_spreadsheets(frame).write_csv(csv, include_header=False, datetime_format="%Y-%m-%dT%H:%M:%S%.6fZ")
            written += frame.height
            progress(f"device {number} of {len(devices)} ({100 * number // len(devices)} %), readings: {written:,}")
    return written


def _calibrated_in_batches(store: Store) -> dict[str, pl.DataFrame]:
    """Of each device its calibrated readings in all batches: `measured_at`, `batch_id` and the calibrated columns."""
    frames: dict[str, list[pl.DataFrame]] = {}
    for batch in store.all(BatchRecord):
        readings = store.calibrated(batch.batch_id).readings.filter(~pl.col("by_hand"))
        for (device_id,), frame in readings.group_by("device_id"):
            frames.setdefault(str(device_id), []).append(
                frame.select(
                    "measured_at",
                    pl.lit(batch.batch_id).alias("in_batch"),
                    pl.col("gravity_sg").alias("gravity_in_batch"),
                    pl.col("temperature_c").alias("temperature_in_batch"),
                )
            )
    return {device_id: pl.concat(parts).unique("measured_at", keep="last") for device_id, parts in frames.items()}


def _device_readings(store: Store, device_id: str, in_batches: pl.DataFrame | None) -> pl.DataFrame:
    frame = store.calibrated_alone(device_id).with_columns(
        pl.lit(device_id).alias("device_id"),
        pl.lit(None, pl.String()).alias("vessel_id"),
        pl.lit(None, pl.String()).alias("batch_id"),
    )
    at = pl.col("measured_at")
    for placement in store.all(Placement, device_id=device_id):
        within = (at >= placement.from_at) & (at < (placement.to_at or datetime.max.replace(tzinfo=UTC)))
        frame = frame.with_columns(
            pl.when(within).then(pl.lit(placement.vessel_id)).otherwise("vessel_id").alias("vessel_id")
        )
        for span in store.batches_in(placement.vessel_id):
            during = within & (at >= span.from_at) & (at < (span.to_at or datetime.max.replace(tzinfo=UTC)))
            frame = frame.with_columns(
                pl.when(during).then(pl.lit(span.batch.batch_id)).otherwise("batch_id").alias("batch_id")
            )
    if in_batches is not None:
        frame = frame.join(in_batches, on="measured_at", how="left", maintain_order="left").with_columns(
            pl.when(pl.col("in_batch").is_not_null()).then(theirs).otherwise(ours).alias(ours)
            for ours, theirs in zip(_CALIBRATED, ("gravity_in_batch", "temperature_in_batch"), strict=True)
        )
    readings: pl.DataFrame = frame.select(READINGS_FILE.names()).cast(READINGS_FILE)
    return readings


def import_cellar(store: Store, directory: Path, *, progress: Progress = lambda _: None) -> ImportedCellar:
    """Take in an export. Into an empty cellar it gives the same cellar; the same export again changes nothing.

    An entry that is in both is replaced by the export's, as one change that can be undone.

    Raises
    ------
    ImportFileError
        If it is no export, was written by a later version, or contradicts what is in the cellar.
    """
    about = read_manifest(directory)
    absent = _absent(about["tables"])  # tables that the export cannot have yet
    check_files(directory, about, tuple(n for n in _EXPORTED if n not in [TABLES[cls].name for cls in absent]))
    entries: list[Any] = [
        _brought_up(record, about["tables"]) for cls in ENTRIES if cls not in absent for record in _read(directory, cls)
    ]
    pictures = [] if Picture in absent else [p for p in _read(directory, Picture) if is_kept_picture(p.data)]
    assessments = _read(directory, AssessmentRecord)
    rejections = _read(directory, Rejection)
    journal, notes = _parquet(directory, "change"), _parquet(directory, "note", ("key", "value"))
    readings = _parquet(directory, _READINGS, ("device_id", *AS_SENT.names()))
    empty = not store.changes(1)
    try:
        store.keep_pictures(pictures)
        entries_new = store.save_many(entries, f"Imported the cellar in {directory.name}")
    except EntryError as error:
        raise ImportFileError(directory.name, "entries", str(error), "Change it in this cellar first") from error
    if empty:
        store.replace_journal(journal)
    for key, value in notes.iter_rows():
        if store.get_note(key) is None:
            store.set_note(key, value)
        elif key == RULES_NOTE:
            add_rules(store, value)
    assessments_new, rejected_new = store.keep_history(assessments, rejections)
    kept = keep_all(store, readings, f"import of {directory.name}", progress)
    return ImportedCellar(
        directory=str(directory),
        readings=int(about["readings"]),
        readings_new=kept.new,
        entries_new=entries_new,
        assessments_new=assessments_new,
        rejected_new=rejected_new,
    )


def _absent(tables: int) -> tuple[type, ...]:
    """What an export of this version of the tables cannot have yet."""
    since: tuple[tuple[int, tuple[type, ...]], ...] = (
        (STAYS_FROM, (BatchStay,)),
        (PHOTOS_FROM, (Photo, Picture)),
        (TASTINGS_FROM, (Tasting, Taster, TastingAnswer)),
        (TRIALS_FROM, (TrialRecord,)),
    )
    return tuple(cls for first, classes in since if tables < first for cls in classes)


def _brought_up(record: Record, tables: int) -> Record:
    """The entry as it would be in a cellar that was upgraded from the version of the tables it was exported by."""
    if tables >= DRY_HOPS_SAID_FROM or not isinstance(record, BatchRecord):
        return record
    if record.drink not in ("ale", "lager") or record.plan.get("dry_hops") is not None:
        return record
    return replace(record, plan={**record.plan, "dry_hops": 1})


def import_zip(store: Store, file: Path, *, progress: Progress = lambda _: None) -> ImportedCellar:
    """Take in an export that was zipped, as the dashboard hands it out; as `import_cellar` does.

    Raises
    ------
    ImportFileError
        If it is no archive, or what is in it is no export.
    """
    with tempfile.TemporaryDirectory(prefix="tunroom-import-") as folder:
        directory = Path(folder) / file.stem
        directory.mkdir()
        unpack(file, directory, MANIFEST, frozenset(f"{name}.parquet" for name in _EXPORTED))
        return import_cellar(store, directory, progress=progress)


def _parquet(directory: Path, name: str, columns: tuple[str, ...] | None = None) -> pl.DataFrame:
    try:
        frame = pl.scan_parquet(file_of(directory, f"{name}.parquet"))
        return (frame if columns is None else frame.select(columns)).collect()
    except (OSError, pl.exceptions.PolarsError) as error:
        first = (str(error).splitlines() or [type(error).__name__])[0]
        raise ImportFileError(
            directory.name, f"{name}.parquet", f"it cannot be read ({first})", "Export again"
        ) from error


def _read(directory: Path, cls: type[Any]) -> list[Any]:
    name = TABLES[cls].name
    try:
        return [from_row(cls, row) for row in _parquet(directory, name).iter_rows(named=True)]
    except (EntryError, TypeError, ValueError) as error:
        raise ImportFileError(directory.name, f"{name}.parquet", str(error), "Export again") from error
