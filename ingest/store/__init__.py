"""One door to DuckDB."""

from ingest.store.device_status import DeviceStatus, last_reading_at
from ingest.store.duckdb_file import look_into
from ingest.store.entries import Span
from ingest.store.journal import Change
from ingest.store.meanwhile import Based, ChangedMeanwhileError
from ingest.store.migrations import DRY_HOPS_SAID_FROM, NEWEST, PHOTOS_FROM, STAYS_FROM, TASTINGS_FROM, TRIALS_FROM
from ingest.store.moving import move, move_many
from ingest.store.report_rows import QUANTITIES
from ingest.store.row_mapping import ENTRIES, TABLES, Table, from_row, to_json
from ingest.store.store import AS_SENT, Kept, Store

__all__ = [
    "AS_SENT",
    "DRY_HOPS_SAID_FROM",
    "ENTRIES",
    "NEWEST",
    "PHOTOS_FROM",
    "QUANTITIES",
    "STAYS_FROM",
    "TABLES",
    "TASTINGS_FROM",
    "TRIALS_FROM",
    "Based",
    "Change",
    "ChangedMeanwhileError",
    "DeviceStatus",
    "Kept",
    "Span",
    "Store",
    "Table",
    "from_row",
    "last_reading_at",
    "look_into",
    "move",
    "move_many",
    "to_json",
]
