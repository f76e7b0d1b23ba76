"""Many batches of many cellars as Parquet that any engine scans, and judging all of them on many processes.

A process that judges needs no database: the face loads what it names only when it is asked for.
"""

from typing import TYPE_CHECKING

from analysis.lazy import attribute_of

if TYPE_CHECKING:
    from ingest.dataset.judge import judge_all, judge_part
    from ingest.dataset.layout import Part, parts_of
    from ingest.dataset.write import Partitioned, export_partitioned
else:
    __getattr__ = attribute_of(
        __name__,
        {
            "judge": ("judge_all", "judge_part"),
            "layout": ("Part", "parts_of"),
            "write": ("Partitioned", "export_partitioned"),
        },
    )

__all__ = ["Part", "Partitioned", "export_partitioned", "judge_all", "judge_part", "parts_of"]
