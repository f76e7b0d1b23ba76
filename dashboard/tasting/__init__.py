"""A tasting on paper and as data: what the page, the download and the command line share."""

from dashboard.tasting.data import as_csv, as_frame, as_parquet
from dashboard.tasting.paper import ballots, pouring_rows, qr_data_uri

__all__ = [
    "as_csv",
    "as_frame",
    "as_parquet",
    "ballots",
    "pouring_rows",
    "qr_data_uri",
]
