"""How do these batches go beside one another?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Final, Literal, get_args

import numpy as np
import polars as pl
import streamlit as st

from analysis.attenuation import attenuation_course
from analysis.display_units import DisplayUnits, number, percent
from analysis.wording import Voice, capital, joined, natural, plural
from dashboard import context
from dashboard.charts import PLAIN, Edition, gravity_format, gravity_title, thinned
from dashboard.queries import queries
from dashboard.screens.compare.charts import Line, Scale, over_one_another
from dashboard.templates import Markup, fill
from dashboard.ui import components, milestones
from ingest.model import BatchRecord, Vessel
from ingest.monitoring import Outlook

MOST: Final = 12
"""So many lines can be told apart in one picture."""

Height = Literal["Gravity", "Attenuation"]


def show() -> None:
    say = queries.voice()
    first = st.container()
    chosen = _choose(say)
    if not chosen:
        first.html(components.lead("Which batches?") + fill("<p>Choose a wort, a yeast, or any batches of yours.</p>"))
        return
    height = st.segmented_control(
        "Height",
        get_args(Height),
        default="Gravity",
        required=True,
        key="height",
        bind="query-params",
        label_visibility="collapsed",
    )
    together([b.batch_id for b in chosen], height or "Gravity")


def known() -> list[BatchRecord]:
    """All batches, those under way first, then the latest; wholes that were divided tell less than their parts."""
    store = context.store()
    found = [*store.active_batches(), *store.finished_batches()]
    return [b for b in found if not store.parts_of(b.batch_id)]


def asked_for() -> list[BatchRecord]:
    """The batches that the address names: by wort, by yeast, or each."""
    lot, yeast = st.query_params.get("lot"), st.query_params.get("yeast")
    ids = set(filter(None, st.query_params.get("ids", "").split(",")))
    found = [
        b
        for b in known()
        if b.batch_id in ids or (lot is not None and b.split_of == lot) or (yeast is not None and b.yeast == yeast)
    ]
    return found[:MOST]


def _choose(say: Voice) -> list[BatchRecord]:
    """The choice; it stands in the address, so that it can be kept and sent."""
    offered = known()
    ids = [b.batch_id for b in offered]
    names = {b.batch_id: f"{name_of(b)}, {say.dated(say.local(b.pitched_at).date())}" for b in offered}
    before = [b.batch_id for b in asked_for()]
    with st.expander("Others") if before else st.container():
        if ways := _ways(offered):
            st.html(ways)
        got = st.multiselect(
            "Any batches",
            ids,
            default=before,
            format_func=names.__getitem__,
            max_selections=MOST,
            placeholder=f"Choose up to {MOST}",
        )
    if got != before:
        st.query_params.from_dict({**_height(), "ids": ",".join(got)})
    return [b for b in offered if b.batch_id in got]


def _height() -> dict[str, str]:
    height = st.query_params.get("height")
    return {"height": height} if height else {}


def _ways(offered: Sequence[BatchRecord]) -> Markup:
    lots = [b.split_of for b in offered if b.split_of]
    yeasts = [b.yeast for b in offered if b.yeast]
    of_lots = [components.underlined("compare", lot, lot=lot) for lot in dict.fromkeys(lots) if lots.count(lot) > 1]
    of_yeasts = [components.underlined("compare", y, yeast=y) for y in dict.fromkeys(yeasts) if yeasts.count(y) > 1]
    ways = [("A wort:", of_lots), ("A yeast:", of_yeasts)]
    return fill(
        "{% for what, links in ways if links %}"
        '<p class="lots">{{ what }} {% for link in links %}{{ link }} {% endfor %}</p>{% endfor %}',
        ways=ways,
    )


def name_of(record: BatchRecord) -> str:
    """A batch by its vessel and name."""
    vessel = context.store().get(Vessel, record.vessel_id)
    return f"{vessel.name}: {record.name}" if vessel is not None else record.name


@components.live
def together(batch_ids: Sequence[str], height: Height) -> None:
    """The picture, and the same as a table."""
    say = queries.voice()
    store = context.store()
    found = [(b, queries.outlook_of(b.batch_id)) for key in batch_ids if (b := store.get(BatchRecord, key)) is not None]
    drawn = [(b, o) for b, o in found if o is not None and o.assessment.gravity_sg is not None]
    drawn.sort(key=lambda each: natural(name_of(each[0])))
    left_out = [name_of(b) for b, o in found if o is None or o.assessment.gravity_sg is None]
    st.html(components.lead(f"{capital(plural(len(drawn), 'batch', 'batches'))}, by days since pitching."))
    if left_out:
        told = '<p class="quiet">Too little was read to draw {{ names }}.</p>'
        st.html(fill(told, names=joined(left_out)))
    if not drawn:
        return
    edition: Edition = components.edition()
    figure = queries.kept(
        ("compare", tuple(b.batch_id for b, _ in drawn), height, say.units, edition),
        lambda: over_one_another([line(b, o, height, say) for b, o in drawn], scale(height, say), say, edition),
        tuple(o.computed_at for _, o in drawn),
    )
    st.plotly_chart(figure, key="compare", theme=None, config=PLAIN, alt=_in_words(drawn, say))
    st.html(components.table(*as_table(drawn, say), caption="As they stand"))
    if (part := st.expander("The picture in numbers", key="compare values", on_change="rerun")).open:
        part.html(components.table(*day_by_day(drawn, height, say), caption="The picture in numbers", wide=True))
    if st.toggle("Show their milestones", key="milestones"):
        milestones.show([(name_of(b), o) for b, o in drawn], say, "compared")


def scale(height: Height, say: Voice) -> Scale:
    """What the heights mean."""
    if height == "Attenuation":
        return Scale("Apparent attenuation, %", ".0f")
    unit = say.units.gravity_unit
    return Scale(gravity_title(unit), gravity_format(unit))


def line(record: BatchRecord, outlook: Outlook, height: Height, say: Voice) -> Line:
    """A batch's course as far as it was measured, and its temperature."""
    a = outlook.assessment
    end = a.newest_reading_at or a.now
    course = a.course.drop_nulls().filter(pl.col("at").is_between(record.pitched_at, end))
    course = thinned(course, "at", "gravity_p50_sg", 60)
    gravity = course["gravity_p50_sg"].to_numpy()
    original = a.original_gravity_sg.p50 if a.original_gravity_sg is not None else record.original_gravity_sg
    if height == "Attenuation":
        heights = 100 * attenuation_course(original, gravity) if original is not None else np.full(gravity.size, np.nan)
    else:
        heights = DisplayUnits(say.units.gravity_unit).gravities(gravity)
    warm = thinned(a.marked.filter(pl.col("temperature_c").is_not_null()), "measured_at", "temperature_c", 60)
    return Line(
        name_of(record),
        _days(course["at"], record),
        heights,
        _days(warm["measured_at"], record),
        warm["temperature_c"].to_numpy(),
    )


def _days(at: pl.Series, record: BatchRecord) -> np.ndarray:
    return (at - record.pitched_at).dt.total_seconds().to_numpy() / 86_400


def as_table(drawn: Sequence[tuple[BatchRecord, Outlook]], say: Voice) -> tuple[list[str], list[list[str]]]:
    """What the picture shows, by batch; exact figures without hovering."""
    rows = []
    for record, outlook in drawn:
        a = outlook.assessment
        days = ((a.newest_reading_at or a.now) - record.pitched_at) / timedelta(days=1)
        rows.append(
            [
                name_of(record),
                record.yeast or "",
                f"{days:.1f}",
                say.gravity(a.gravity_sg.p50 if a.gravity_sg is not None else None),
                percent(a.apparent_attenuation),
                say.temperature(a.temperature_c) if a.temperature_c is not None else "",
            ]
        )
    return ["Batch", "Yeast", "Days", "Gravity", "Attenuation", "Temperature"], rows


def day_by_day(
    drawn: Sequence[tuple[BatchRecord, Outlook]], height: Height, say: Voice
) -> tuple[list[str], list[list[str]]]:
    """The courses as drawn, a row a day since pitching; empty where a batch was not measured by then."""
    return lines_by_day([line(record, outlook, height, say) for record, outlook in drawn], scale(height, say))


def lines_by_day(lines: Sequence[Line], scale: Scale) -> tuple[list[str], list[list[str]]]:
    """The heights of lines, a row a day since pitching; empty where a line does not reach."""
    digits = int(scale.format[1])
    last = max((float(each.days[-1]) for each in lines if each.days.size), default=0.0)
    rows = []
    for day in range(int(last) + 1):
        at = [float(np.interp(day, x.days, x.height, np.nan, np.nan)) if x.days.size else np.nan for x in lines]
        rows.append([f"{day}", *("" if np.isnan(each) else number(each, digits) for each in at)])
    return ["Day", *(each.name for each in lines)], rows


def _in_words(drawn: Sequence[tuple[BatchRecord, Outlook]], say: Voice) -> str:
    told = []
    for record, outlook in drawn:
        gravity = outlook.assessment.gravity_sg
        told.append(f"{name_of(record)} {say.gravity(gravity.p50 if gravity is not None else None)}")
    return f"By days since pitching: {'; '.join(told)}."
