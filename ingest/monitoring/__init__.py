"""What is watched, and who is told."""

from ingest.monitoring.notifier import NOTIFY_KINDS, Notifier
from ingest.monitoring.outlook import Outlook, Outlooks, constraints_of
from ingest.monitoring.watcher import Hooks, Watcher, assessment_record, watching

__all__ = [
    "NOTIFY_KINDS",
    "Hooks",
    "Notifier",
    "Outlook",
    "Outlooks",
    "Watcher",
    "assessment_record",
    "constraints_of",
    "watching",
]
