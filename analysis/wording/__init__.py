"""What was inferred and planned in sentences: pure text from typed results, in one person's units and time zone."""

from analysis.wording.classical import classical_fit, classical_sentences
from analysis.wording.evidence import advice_sentences, gravity_now, sentences
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
from analysis.wording.verdict import (
    EVENT_WORDS,
    PHASE_WORDS,
    curve_in_words,
    expected_finish,
    held,
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
    "Voice",
    "advice_sentences",
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
    "gravity_now",
    "held",
    "joined",
    "lasted",
    "moved",
    "natural",
    "next_day",
    "packaging_date",
    "plan_facts",
    "plural",
    "reason",
    "report",
    "sentences",
    "three_notions",
    "unbroken",
    "unread",
    "verdict",
    "worded",
    "zone_of",
]
