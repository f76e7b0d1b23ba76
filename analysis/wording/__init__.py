"""What was inferred and planned in sentences: pure text from typed results, in one person's units and time zone.

`tasting` is a module that loads what it needs, and is taken by its own name.
"""

from analysis.wording.classical import classical_fit, classical_sentences
from analysis.wording.evidence import advice_sentences, sentences
from analysis.wording.formatting import (
    NOT_JUDGED,
    Voice,
    capital,
    count,
    joined,
    lasted,
    natural,
    plural,
    unbroken,
    zone_of,
)
from analysis.wording.lessons import WHOLE, teaches
from analysis.wording.milestones import milestone_said, milestone_table, milestone_title, milestones_from
from analysis.wording.plan import (
    FORECAST_ONLY,
    caution,
    cold_keg,
    dates,
    dose_words,
    moved,
    next_day,
    packaging_date,
    plan_facts,
    reason,
    unread,
)
from analysis.wording.report import report
from analysis.wording.sheet import worded
from analysis.wording.sheet_cautions import DEFER, OXYGEN_CHECKLIST
from analysis.wording.sheet_gaps import altitude_words, sugar_name, unsaid, worst_case_sentences
from analysis.wording.verdict import (
    EVENT_WORDS,
    PHASE_WORDS,
    attenuation,
    curve_in_words,
    expected_finish,
    gravity_rule,
    held,
    likely_gravity,
    offset_words,
    phase_word,
    range_told,
    seen_attenuation,
    three_notions,
    verdict,
)

__all__ = [
    "DEFER",
    "EVENT_WORDS",
    "FORECAST_ONLY",
    "NOT_JUDGED",
    "OXYGEN_CHECKLIST",
    "PHASE_WORDS",
    "WHOLE",
    "Voice",
    "advice_sentences",
    "altitude_words",
    "attenuation",
    "capital",
    "caution",
    "classical_fit",
    "classical_sentences",
    "cold_keg",
    "count",
    "curve_in_words",
    "dates",
    "dose_words",
    "expected_finish",
    "gravity_rule",
    "held",
    "joined",
    "lasted",
    "likely_gravity",
    "milestone_said",
    "milestone_table",
    "milestone_title",
    "milestones_from",
    "moved",
    "natural",
    "next_day",
    "offset_words",
    "packaging_date",
    "phase_word",
    "plan_facts",
    "plural",
    "range_told",
    "reason",
    "report",
    "seen_attenuation",
    "sentences",
    "sugar_name",
    "teaches",
    "three_notions",
    "unbroken",
    "unread",
    "unsaid",
    "verdict",
    "worded",
    "worst_case_sentences",
    "zone_of",
]
