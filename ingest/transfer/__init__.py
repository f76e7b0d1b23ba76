"""Logs in, the whole cellar out and in again. All work on a `Store`, so also while a server runs."""

from ingest.transfer.csv_text import for_spreadsheets
from ingest.transfer.export import Exported, ImportedCellar, export_cellar, import_cellar, import_zip
from ingest.transfer.log import ImportedLog, import_log
from ingest.transfer.log_file import OURS, mapping
from ingest.transfer.log_text import encoding_assumed, scan_text
from ingest.transfer.log_times import DATE_ORDERS, DateOrder, order_of

__all__ = [
    "DATE_ORDERS",
    "OURS",
    "DateOrder",
    "Exported",
    "ImportedCellar",
    "ImportedLog",
    "encoding_assumed",
    "export_cellar",
    "for_spreadsheets",
    "import_cellar",
    "import_log",
    "import_zip",
    "mapping",
    "order_of",
    "scan_text",
]
