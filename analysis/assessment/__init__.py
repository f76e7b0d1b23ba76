"""What the readings say of one batch now: verdict, forecast, phases, and why."""

from analysis.assessment.assess import assess

__all__ = ["assess"]
