"""A trial or a batch on paper."""

from dashboard.report.html import report_html

__all__ = ["report_html"]
