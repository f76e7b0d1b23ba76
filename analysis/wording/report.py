"""Verdict, dates and evidence as plain text, for a terminal."""

from __future__ import annotations

import textwrap

from analysis.display_units import THIN, DisplayUnits
from analysis.fitting import Fit
from analysis.model import HOLD_H, Assessment, Batch
from analysis.planning import Plan
from analysis.wording import evidence
from analysis.wording.classical import classical_sentences
from analysis.wording.formatting import Voice, zone_of
from analysis.wording.plan import caution, dates, reason
from analysis.wording.verdict import attenuation, gravity_rule, likely_gravity, phase_word, three_notions, verdict

_WIDTH = 100


def report(
    assessment: Assessment,
    plan: Plan,
    batch: Batch,
    *,
    time_zone: str,
    hold_h: float | None = None,
    classical: Fit | str | None = None,
    units: DisplayUnits | None = None,
) -> str:
    """Everything we say about one log, in the order of a batch's page; of the classical curve where it was asked."""
    voice = Voice(units or DisplayUnits(), zone_of(time_zone), assessment.now)
    hold = HOLD_H if hold_h is None else hold_h
    lines = [verdict(assessment, hold, voice), ""]
    facts = [("Phase", phase_word(assessment))]
    facts += [(question, f"{answer}. {small}") for question, answer, small in three_notions(assessment, hold, voice)]
    if (gravity := likely_gravity(assessment, voice)) is not None:
        facts.append(("Likely gravity", gravity))
    if (rule := gravity_rule(assessment, voice)) is not None:
        facts.append(("By hand", rule))
    if assessment.terminal_gravity_sg is not None:
        end = assessment.terminal_gravity_sg
        facts.append(("Likely end", f"{voice.gravity(end.p10)} to {voice.gravity(end.p90)}"))
    facts.append(("Apparent attenuation", attenuation(assessment.apparent_attenuation)))
    facts += [(what, when) for what, when, _ in dates(plan, batch, voice)]
    lines += [line for name, value in facts for line in _wrapped(f"{name}: ", value)]
    for title, sentences in (
        ("Why we say so", evidence.sentences(assessment.evidence, voice.units)),
        ("The trade's curve", () if classical is None else classical_sentences(classical, voice)),
        ("What to do", evidence.advice_sentences(assessment.advice, voice.units)),
        ("The dates", (reason(plan.reason, voice.units), *(caution(c) for c in plan.cautions))),
    ):
        sentences = tuple(s for s in sentences if s)
        if sentences:
            lines += ["", title]
            lines += [line for sentence in sentences for line in _wrapped("- ", sentence)]
    return "\n".join(lines).replace(THIN, " ")


def _wrapped(opening: str, text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=opening, subsequent_indent=" " * 2) or [opening.rstrip()]
