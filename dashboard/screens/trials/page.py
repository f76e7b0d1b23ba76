"""What did we ask, and what came of it?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from typing import Final

import numpy as np
import streamlit as st

from analysis.wording import (
    Voice,
    capital,
    compared_rows,
    conclusion_sentence,
    design_sentence,
    joined,
    next_sentences,
    plural,
    successor_sentences,
    unknown_sentence,
    vessels_sentence,
)
from dashboard import context
from dashboard.charts import PLAIN
from dashboard.queries import queries, trials
from dashboard.report import report_html
from dashboard.screens.compare import Line, Scale, line, lines_by_day, over_one_another, scale
from dashboard.screens.trials import edit
from dashboard.templates import Markup, fill
from dashboard.ui import components, milestones, tasted
from ingest.model import TrialRecord
from ingest.monitoring import AFTER, TASTING, ArmFindings, TrialFindings, trial_page

MOST_LINES: Final = 12
"""So many lines can be told apart in one picture."""
MOST_ANSWERED: Final = 12
"""Trials, the newest, whose answer stands in the list: each is worked out from all its batches."""


def show() -> None:
    trial = context.store().get(TrialRecord, st.query_params.get("id", ""))
    if trial is None:
        every()
        return
    st.html(fill("<p>{{ back }}</p>", back=components.link("trials", "← All trials")))
    one(trial.trial_id)
    with st.expander("Change this trial"):
        edit.change(trial, queries.voice())


def every() -> None:
    """All trials, the newest first, and the way to add one."""
    say, store = queries.voice(), context.store()
    found = sorted(store.all(TrialRecord), key=lambda t: (t.made_at is not None, t.made_at), reverse=True)
    if st.query_params.get("id"):
        st.html("<p>This address names no trial of this cellar.</p>")
    if not found:
        st.html(
            components.lead("What do you want to know?")
            + fill(
                "<p>A trial puts one question to batches that differ in one thing: two yeasts in one wort, one hop in "
                "each jug. tunroom lays them side by side, says what else differs, and how sure the answer is.</p>"
            )
        )
    else:
        st.html(components.lead(f"{capital(plural(len(found), 'trial'))}."))
        rows = [
            components.Row(components.address("trials", id=t.trial_id), t.name, _so_far(t, n < MOST_ANSWERED, say))
            for n, t in enumerate(found)
        ]
        st.html(components.entries(rows))
    with st.expander("Add a trial", expanded=not found):
        edit.add(say)


def _so_far(trial: TrialRecord, answered: bool, say: Voice) -> str:
    """The question, and the answer so far where it was asked for."""
    asked = trial.question or joined(list(trial.arm_names))
    if not answered:
        return asked
    claim = _answer_to(trials.findings(trial), say).partition(". ")[0].rstrip(".")
    return f"{asked}{'' if asked.endswith(('?', '.', '!')) else '.'} {claim}."


@components.live
def one(trial_id: str) -> None:
    """A trial's question and answer, its arms' curves, milestones, tasting, and what to try next."""
    trial = context.store().get(TrialRecord, trial_id)
    if trial is None:
        return
    say, found = queries.voice(), trials.findings(trial)
    _answer(found, say)
    _curves(found.batches[:MOST_LINES], trial, say)
    st.html("<h2>Milestones side by side</h2>")
    milestones.show([(label(each, found), each.outlook) for each in found.batches], say, queries.file_name(trial.name))
    _tasting(found)
    tasted.show(found.tasted)
    _design(found, say)
    _made_of_it(found, say)
    st.download_button(
        "Download the report, to print",
        lambda: report_html(asdict(trial_page(found, queries.voice()))).encode(),
        file_name=f"{queries.file_name(trial.name)}.html",
        mime="text/html",
        key="trial report",
        on_click="ignore",
    )


def _answer(found: TrialFindings, say: Voice) -> None:
    answer = _answer_to(found, say)
    st.html(components.lead(found.record.question or found.record.name))
    if found.record.question:
        st.html(fill('<p class="quiet">{{ name }}</p>', name=found.record.name))
    st.html(fill('<p role="status"><b>{{ answer }}</b></p>', answer=answer))
    told = [design_sentence(found.design), unknown_sentence(found.design)]
    told.append(vessels_sentence(found.design, found.comparison, say.units))
    st.html(fill("<p>{{ told }}</p>", told=" ".join(filter(None, told))))
    ahead = next_sentences(found.conclusion, found.design)
    if ahead:
        st.html(fill("<h2>What to try next</h2><ul>{{ items }}</ul>", items=components.sentences(ahead)))
    missing = len(found.record.arms) - len(found.batches)
    if missing:
        waits = f"{capital(plural(missing, 'batch', 'batches'))} of it cannot be judged yet."
        st.html(fill('<p class="quiet">{{ waits }}</p>', waits=waits))


def _answer_to(found: TrialFindings, say: Voice) -> str:
    sentence = found.tasting.sentence if found.tasting is not None else ""
    return conclusion_sentence(found.conclusion, found.design, say.units, sentence)


def label(each: ArmFindings, found: TrialFindings) -> str:
    """An arm by its name; of several vessels, with the batch's own."""
    return each.arm if len(found.record.batches_of(each.arm)) == 1 else f"{each.arm}: {each.record.name}"


def _curves(batches: Sequence[ArmFindings], trial: TrialRecord, say: Voice) -> None:
    drawn = [each for each in batches if each.outlook.assessment.gravity_sg is not None]
    if not drawn:
        return
    edition = components.edition()
    found = trials.findings(trial)

    def lines() -> list[Line]:
        return [replace(line(e.record, e.outlook, "Attenuation", say), name=label(e, found)) for e in drawn]

    def draw() -> object:
        return over_one_another(lines(), scale("Attenuation", say), say, edition)

    curves = queries.kept(
        ("trial curves", trial.trial_id, say.units, edition),
        draw,
        (trial, tuple((e.record.batch_id, e.outlook.computed_at) for e in drawn)),
    )
    alt = f"Apparent attenuation of {joined([label(e, found) for e in drawn])}, by days since pitching."
    st.plotly_chart(curves, key=f"trial {trial.trial_id}", theme=None, config=PLAIN, alt=alt)
    if (part := st.expander("The picture in numbers", key=f"values {trial.trial_id}", on_change="rerun")).open:
        part.html(_in_numbers(lines(), say))


def _in_numbers(lines: Sequence[Line], say: Voice) -> Markup:
    """What the picture shows, a row a day since pitching: for whoever cannot, or does not want to, aim at a line."""
    height = scale("Attenuation", say)
    told = components.titled_table(*lines_by_day(lines, height), height.title, wide=True)
    warm = []
    for each in lines:
        shown = np.array([say.units.shown(float(t), "temperature") for t in each.temperature_c])
        warm.append(replace(each, days=each.warm_days, height=shown))
    if any(each.days.size for each in warm):
        title = f"Temperature, {say.units.temperature_unit}"
        told += components.titled_table(*lines_by_day(warm, Scale(title, ".1f")), title, wide=True)
    return told


def _made_of_it(found: TrialFindings, say: Voice) -> None:
    """The way to make the leader next, and what was made of the trial so far."""
    leader = found.conclusion.leader
    chosen = [each for each in found.batches if each.arm == leader] or list(found.batches)
    if chosen:
        links = [
            components.underlined(
                "several",
                f"Make {label(e, found)} next",
                part="wort",
                like=e.record.batch_id,
                trial=found.record.trial_id,
            )
            for e in chosen
        ]
        st.html(fill('<p class="lots">{% for link in links %}{{ link }} {% endfor %}</p>', links=links))
    after = trials.came_after(found.record)
    if not after:
        return
    st.html("<h2>What was made of it</h2>")
    for each in after:
        told = successor_sentences(each.changed, each.conclusion, AFTER, say.units)
        name = components.underlined("batch", each.record.name, id=each.record.batch_id)
        line = "<p>{{ name }}, made like {{ before }}. {{ told }}</p>"
        st.html(fill(line, name=name, before=each.before.name, told=" ".join(told)))


def _tasting(found: TrialFindings) -> None:
    """What the newest tasting of its arms says, with the way to it; or the way to hold one."""
    if found.tasting is None:
        way = components.underlined("tasting", "Taste its arms blind", trial=found.record.trial_id)
        st.html(fill("<h2>Tasting</h2><p>None was held yet. {{ way }}.</p>", way=way))
        return
    way = components.underlined("tasting", "All that was said", id=str(found.tasting.facts["tasting_id"]))
    said = "It decides; its answer stands above." if found.record.decides == TASTING else found.tasting.sentence
    st.html(fill("<h2>Tasting</h2><p>{{ sentence }}</p><p>{{ way }}.</p>", sentence=said, way=way))


def _design(found: TrialFindings, say: Voice) -> None:
    """What was compared, a row each: what differs first."""
    arms = [arm for arm, _ in found.design.vessels]
    rows = []
    for word, respects in (("differs", found.design.differs), ("equal", found.design.equal)):
        for each in respects:
            values = compared_rows(each, say.units)
            if word == "equal" and len(set(values)) == 1:  # said once, and not of each arm
                rows.append([capital(each.factor), f"{word}: {values[0]}", *("" for _ in arms)])
            else:
                rows.append([capital(each.factor), word, *values])
    stated = (("differs, as you say", found.design.stated_differs), ("equal, as you say", found.design.stated_equal))
    rows += [[capital(text), word, *("" for _ in arms)] for word, texts in stated for text in texts]
    if rows:
        st.html("<h2>What differs, and what was held equal</h2>")
        st.html(
            components.table(["In what", "", *arms], rows, caption="What differs, and what was held equal", wide=True)
        )
    if found.record.notes:
        st.html(fill("<h2>Notes</h2><p>{{ notes }}</p>", notes=found.record.notes))
