"""A batch's own temperatures from day to day, to be seen beside what was measured; nothing is commanded."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Final

import streamlit as st

from analysis.wording import Voice
from dashboard import context
from dashboard.ui import forms
from ingest.errors import EntryError, in_units, out_of_range
from ingest.model import BatchRecord, Vessel
from ingest.monitoring import SCHEDULE, Step, next_step, schedule_of, wished_c

_SPARE: Final = 2
"""Empty rows after those that are used."""


def form(record: BatchRecord, say: Voice) -> None:
    """A row a step: from which day, and between which temperatures."""
    name = f"schedule {record.batch_id}"
    record = forms.opened(name, record)
    steps = schedule_of(record)
    st.html(
        '<p class="quiet">From a day after pitching it is wished between two temperatures; before the first row, and '
        "without any, its vessel's range holds. tunroom shows it and says when it strays; it switches nothing.</p>"
    )
    with forms.entry(name, say, save="Save the temperatures", shows=record, border=False) as f:
        asked = []
        for n in range(len(steps) + _SPARE):
            step = steps[n] if n < len(steps) else None
            with st.container(key=f"pairs schedule {n}"):
                left, middle, right = st.columns(3)
                with left:
                    day = f.number(f"day/{n}", "From day", step.day if step else None, step=1.0)
                with middle:
                    low = f.number(f"low/{n}", "between", step.low_c if step else None, "temperature")
                with right:
                    high = f.number(f"high/{n}", "and", step.high_c if step else None, "temperature")
            asked.append((day, low, high))
    if f.sent:
        f.keep(
            lambda: context.store().save(with_schedule(record, asked), forms.based(name)),
            f"The temperatures of {record.name} are kept.",
        )


def with_schedule(record: BatchRecord, asked: list[tuple[float | None, float | None, float | None]]) -> BatchRecord:
    """The record with these steps; empty rows are none.

    Raises
    ------
    EntryError
        Beside the input that is wrong.
    """
    steps: list[Step] = []
    for n, (day, low, high) in enumerate(asked):
        if day is None and low is None and high is None:
            continue
        if day is None:
            raise EntryError(f"day/{n}", "the day is missing", "0 is the day of pitching.")
        if not 0 <= day <= 1000:
            raise EntryError(f"day/{n}", f"{day:g} is out of range", "Days since pitching, such as 0 or 5.")
        if any(step.day == day for step in steps):
            raise EntryError(f"day/{n}", f"day {day:g} stands in two rows", "Give each day once.")
        _check(n, low, high)
        steps.append(Step(day, low, high))
    kept = [[step.day, step.low_c, step.high_c] for step in sorted(steps, key=lambda step: step.day)]
    plan = {name: value for name, value in record.plan.items() if name != SCHEDULE}
    return replace(record, plan={**plan, SCHEDULE: kept} if kept else plan)


def _check(n: int, low: float | None, high: float | None) -> None:
    for name, value in (("low", low), ("high", high)):
        if value is not None and not -5 <= value <= 60:
            raise out_of_range(f"{name}/{n}", value, "temperature", (0, 40), "Fermentations usually stand at {}.")
    if low is None and high is None:
        raise EntryError(f"low/{n}", "no temperature is given", "Give at least one of the two.")
    if low is not None and high is not None and low > high:
        raise in_units(
            f"low/{n}",
            lambda units: (
                f"it runs from {units.typed(low, 'temperature')} to {units.typed(high, 'temperature')}; swap the two",
                "",
            ),
        )


def now_and_next(record: BatchRecord, vessel: Vessel | None, say: Voice) -> str:
    """What a batch's own schedule wishes now, and what comes next; empty for one without a schedule."""
    if not schedule_of(record) or record.ended_at is not None:
        return ""
    low, high = wished_c(record, vessel, say.now)
    told = f"{span(low, high, say)} now" if (low, high) != (None, None) else "nothing now"
    if (step := next_step(record, say.now)) is not None:
        begins = record.pitched_at + timedelta(days=step.day)
        told += f", {span(step.low_c, step.high_c, say)} from {say.when(begins)}"
    return told


def span(low: float | None, high: float | None, say: Voice) -> str:
    """A range of temperatures, either end open."""
    if low is None:
        return f"at most {say.temperature(high)}"
    return f"at least {say.temperature(low)}" if high is None else say.units.span(low, high, "temperature")
