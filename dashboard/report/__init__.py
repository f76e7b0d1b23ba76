"""A trial, a batch or a tasting on paper."""

from dashboard.report.html import report_html
from dashboard.report.intervals import intervals_html

__all__ = ["intervals_html", "report_html"]
