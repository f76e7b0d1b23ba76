"""Logs in, the whole cellar out and in again. All work on a `Store`, so also while a server runs."""

from ingest.transfer_cellar import Exported, ImportedCellar, export_cellar, import_cellar, import_zip
from ingest.transfer_file import mapping
from ingest.transfer_log import ImportedLog, import_log

__all__ = [
    "Exported",
    "ImportedCellar",
    "ImportedLog",
    "export_cellar",
    "import_cellar",
    "import_log",
    "import_zip",
    "mapping",
]
