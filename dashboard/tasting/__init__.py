"""A tasting on paper, as a picture and as data: what the page, the download and the command line share."""

from dashboard.tasting.data import as_csv, as_frame, as_parquet
from dashboard.tasting.paper import ballots, pouring_rows, qr_data_uri, report
from dashboard.tasting.picture import intervals_svg
from dashboard.tasting.rows import SAID_HEADINGS, WORTH_HEADINGS, said_rows, sentences, worth_rows

__all__ = [
    "SAID_HEADINGS",
    "WORTH_HEADINGS",
    "as_csv",
    "as_frame",
    "as_parquet",
    "ballots",
    "intervals_svg",
    "pouring_rows",
    "qr_data_uri",
    "report",
    "said_rows",
    "sentences",
    "worth_rows",
]
