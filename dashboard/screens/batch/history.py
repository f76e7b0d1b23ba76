"""What we said on earlier days, how it moved, and how often this cellar's forecasts came true."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import streamlit as st

from analysis.display_units import percent
from analysis.wording import PHASE_WORDS, Voice, capital, lasted
from dashboard import context
from dashboard.charts import PLAIN, history_figure
from dashboard.queries import finished_batches, queries
from dashboard.templates import fill
from dashboard.ui import components
from dashboard.wording import yeasts
from ingest.model import AssessmentRecord, BatchRecord

_ROWS = 30


def show(record: BatchRecord) -> None:
    said = context.store().assessments(record.batch_id)
    say = queries.voice()
    st.html("<h2>What we said before</h2>")
    if not said:
        st.html('<p class="quiet">Nothing yet: what is said of this batch is kept from its first readings on.</p>')
    else:
        moved = how_it_moved(said, say)
        st.html(fill("<p>{{ moved }}</p>", moved=moved))
        if sum(r.finish_p50 is not None for r in said) > 1:
            figure = history_figure(said, say, components.edition())
            st.plotly_chart(figure, key=f"history-{record.batch_id}", theme=None, config=PLAIN, alt=moved)
        with st.expander("As a table"):
            st.html(components.table(*_table(said, say), caption="What we said before", wide=True))
    fared()


def how_it_moved(said: Sequence[AssessmentRecord], say: Voice) -> str:
    """How the likely finish moved since the first that was said, in a sentence."""
    dated = [r for r in sorted(said, key=lambda r: r.made_at) if r.finish_p50 is not None]
    if not dated:
        return "No date has been said yet."
    first, last = dated[0], dated[-1]
    before, now = first.finish_p50 or first.made_at, last.finish_p50 or last.made_at
    shift = now - before
    opening = f"First said {say.when(first.made_at)}: done about {say.when(before)}."
    if abs(shift.total_seconds()) < 6 * 3600:
        return f"{opening} It has stood since, within six hours."
    way = "later" if shift.total_seconds() > 0 else "sooner"
    return f"{opening} Now {say.when(now)}: {lasted(shift)} {way}."


def _range(record: AssessmentRecord, say: Voice) -> str:
    if record.finish_p10 is None:
        return ""
    if record.finish_p90 is None:
        return f"{say.exact(record.finish_p10)} or later, perhaps never"
    return f"{say.exact(record.finish_p10)} to {say.exact(record.finish_p90)}"


def _table(said: Sequence[AssessmentRecord], say: Voice) -> tuple[list[str], list[list[str]]]:
    newest = sorted(said, key=lambda r: r.made_at, reverse=True)[:_ROWS]
    phases: dict[str, str] = {str(phase): word for phase, word in PHASE_WORDS.items()}
    rows = [
        [
            say.exact(r.made_at),
            phases.get(r.phase, capital(r.phase)),
            say.gravity(r.gravity_sg),
            say.exact(r.finish_p50) if r.finish_p50 else "no date",
            _range(r, say),
            percent(None if r.p_finished is None else min(max(r.p_finished, 0.001), 0.999)),
            say.dated(date.fromisoformat(r.hop_day)) if r.hop_day else "",
            say.dated(date.fromisoformat(r.packaging_day)) if r.packaging_day else "",
        ]
        for r in newest
    ]
    return ["Said", "Phase", "Gravity", "Done about", "Eight times in ten", "Done already", "Hops", "Package"], rows


def fared() -> None:
    """How the cellar's own forecasts fared against what happened."""
    known = finished_batches.finished()
    told = yeasts.fared(finished_batches.record_of(known))
    st.html(fill("<h2>How our forecasts fared</h2><p>{{ told }}</p>", told=told))
