"""What is watched, and who is told. The face; what it names is loaded when it is asked for."""

from typing import TYPE_CHECKING

from analysis.lazy import attribute_of

if TYPE_CHECKING:
    from ingest.monitoring.lots import (
        LotWarning,
        follow_up_of,
        follow_ups,
        looked_after,
        lot_warnings,
        related_to,
        set_aside,
        warnings_for,
        with_follow_up,
    )
    from ingest.monitoring.made_after import (
        AFTER,
        Successor,
        origin,
        successors,
        trial_of,
        without_origin,
    )
    from ingest.monitoring.milestones import (
        MILESTONE_FILE,
        batch_milestones,
        milestone_frame,
    )
    from ingest.monitoring.notifier import (
        NOTIFY_KINDS,
        Notifier,
    )
    from ingest.monitoring.outlook import (
        Outlook,
        Outlooks,
        constraints_of,
    )
    from ingest.monitoring.reports import (
        ReportPage,
        batch_page,
        trial_page,
    )
    from ingest.monitoring.siblings import (
        asks_for_sample,
        following_of,
        siblings_of,
    )
    from ingest.monitoring.tastings import (
        TastingOutcome,
        TastingSaid,
        answers_of,
        codes_of,
        judged_of,
        outcome_of,
        tasters_of,
        tasting_facts,
        tasting_of,
        tasting_over,
        unanswered,
    )
    from ingest.monitoring.trials import (
        TASTING,
        ArmFindings,
        TrialFindings,
        arm_batch,
        milestones_by_arm,
        temperature_of,
        trial_facts,
        trial_findings,
    )
    from ingest.monitoring.watcher import (
        Hooks,
        Watcher,
        assessment_record,
        watching,
    )
    from ingest.monitoring.wished import (
        SCHEDULE,
        Step,
        next_step,
        schedule_of,
        wished_c,
    )
else:
    __getattr__ = attribute_of(
        __name__,
        {
            "lots": (
                "LotWarning",
                "follow_up_of",
                "follow_ups",
                "looked_after",
                "lot_warnings",
                "related_to",
                "set_aside",
                "warnings_for",
                "with_follow_up",
            ),
            "milestones": (
                "MILESTONE_FILE",
                "batch_milestones",
                "milestone_frame",
            ),
            "notifier": (
                "NOTIFY_KINDS",
                "Notifier",
            ),
            "outlook": (
                "Outlook",
                "Outlooks",
                "constraints_of",
            ),
            "reports": (
                "ReportPage",
                "batch_page",
                "trial_page",
            ),
            "siblings": (
                "asks_for_sample",
                "following_of",
                "siblings_of",
            ),
            "made_after": (
                "AFTER",
                "Successor",
                "origin",
                "successors",
                "trial_of",
                "without_origin",
            ),
            "tastings": (
                "TastingOutcome",
                "TastingSaid",
                "answers_of",
                "codes_of",
                "judged_of",
                "outcome_of",
                "tasters_of",
                "tasting_facts",
                "tasting_of",
                "tasting_over",
                "unanswered",
            ),
            "trials": (
                "TASTING",
                "ArmFindings",
                "TrialFindings",
                "arm_batch",
                "milestones_by_arm",
                "temperature_of",
                "trial_facts",
                "trial_findings",
            ),
            "watcher": (
                "Hooks",
                "Watcher",
                "assessment_record",
                "watching",
            ),
            "wished": (
                "SCHEDULE",
                "Step",
                "next_step",
                "schedule_of",
                "wished_c",
            ),
        },
    )

__all__ = [
    "AFTER",
    "MILESTONE_FILE",
    "NOTIFY_KINDS",
    "SCHEDULE",
    "TASTING",
    "ArmFindings",
    "Hooks",
    "LotWarning",
    "Notifier",
    "Outlook",
    "Outlooks",
    "ReportPage",
    "Step",
    "Successor",
    "TastingOutcome",
    "TastingSaid",
    "TrialFindings",
    "Watcher",
    "answers_of",
    "arm_batch",
    "asks_for_sample",
    "assessment_record",
    "batch_milestones",
    "batch_page",
    "codes_of",
    "constraints_of",
    "follow_up_of",
    "follow_ups",
    "following_of",
    "judged_of",
    "looked_after",
    "lot_warnings",
    "milestone_frame",
    "milestones_by_arm",
    "next_step",
    "origin",
    "outcome_of",
    "related_to",
    "schedule_of",
    "set_aside",
    "siblings_of",
    "successors",
    "tasters_of",
    "tasting_facts",
    "tasting_of",
    "tasting_over",
    "temperature_of",
    "trial_facts",
    "trial_findings",
    "trial_of",
    "trial_page",
    "unanswered",
    "warnings_for",
    "watching",
    "wished_c",
    "with_follow_up",
    "without_origin",
]
