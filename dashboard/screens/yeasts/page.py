"""Which yeast is quicker, and which goes further?"""

from __future__ import annotations

import streamlit as st

from analysis.wording import Voice, capital
from analysis.yeast_comparison import QUANTITIES, Comparison
from dashboard import context
from dashboard.charts import PLAIN
from dashboard.queries import Finished, finished_batches, queries
from dashboard.screens.yeasts import learnt
from dashboard.screens.yeasts.charts import courses_figure, differences_figure
from dashboard.templates import fill
from dashboard.ui import components
from dashboard.wording import yeasts as words_yeasts


def show() -> None:
    batches = read()
    say = queries.voice()
    compared = finished_batches.comparisons(batches)
    if not compared:
        nothing_yet(len(batches))
        lessons()
        learnt.show(say)
        return
    by_drink = {c.drink: c for c in compared}
    drink = compared[0].drink
    if len(compared) > 1:
        drink = st.segmented_control(
            "Drink",
            list(by_drink),
            default=drink,
            format_func=capital,
            required=True,
            key="drink",
            label_visibility="collapsed",
        )
    chosen = by_drink[drink]
    side_by_side(chosen, [b for b in batches if b.outcome.drink == chosen.drink], say)
    told = words_yeasts.fared(finished_batches.record_of(batches))
    st.html(fill("<h2>How our forecasts fared</h2><p>{{ told }}</p>", told=told))
    lessons()
    learnt.show(say)


def lessons() -> None:
    """What each finished batch taught; of the newest eighty of each drink."""
    ended = {record.batch_id: record.name for record in context.store().finished_batches()}
    if not ended:
        return
    told, less = words_yeasts.taught(context.service().outlooks.lessons(), ended)
    st.html(fill("<h2>What they teach</h2><p>{{ told }}</p>", told=told))
    if less:
        st.html(components.table(["Batch", "Teaches"], less, caption="Batches that teach less than their whole course"))


def read() -> list[Finished]:
    """All finished batches; says what it reads while that takes time."""
    place = st.empty()

    def tell(done: int, total: int, name: str) -> None:
        line = '<p class="quiet" role="status">Reading {{ name }}, {{ n }} of {{ total }} finished batches …</p>'
        place.html(fill(line, name=name, n=done + 1, total=total))

    batches = finished_batches.finished(tell)
    place.empty()
    return batches


def nothing_yet(finished: int) -> None:
    """Too little to compare, with the next step."""
    have = "one finished batch" if finished == 1 else "no finished batch" if finished == 0 else "no two of one drink"
    st.html(
        components.lead(f"Yeasts can be compared once two batches of one drink have finished; so far there is {have}.")
        + fill(
            "<p>Earlier batches count too: {{ link }}.</p>",
            link=components.link("set-up", "import their logs under Set up"),
        )
    )
    if context.store().active_batches():
        st.html("<p>A batch counts from the day it is ended on its page, under This batch.</p>")


def side_by_side(comparison: Comparison, batches: list[Finished], say: Voice) -> None:
    """The sentence, then the pictures, then the table."""
    text = words_yeasts.best(comparison, say)
    first, _, more = text.partition("; ")
    st.html(
        components.lead(f"{first.removesuffix('.')}.") + fill("{% if it %}<p>{{ it }}</p>{% endif %}", it=capital(more))
    )
    st.html("<p>Speed and attenuation alone are compared: which yeast tastes best is for you to say.</p>")
    edition = components.edition()
    yeasts = [y.yeast for y in comparison.yeasts]
    st.html("<h2>Apparent attenuation in %: every batch, and the typical course</h2>")
    st.plotly_chart(
        courses_figure(batches, yeasts, edition, min(len(yeasts), 3)),
        key=f"courses-{comparison.drink}",
        theme=None,
        config=PLAIN,
        alt=f"Apparent attenuation over time for {words_yeasts.names(comparison)}. {text}",
    )
    if comparison.differences:
        st.html("<h2>Differences, with eight chances in ten</h2>")
        for column, quantity in zip(st.columns(2, gap="large"), QUANTITIES, strict=True):
            with column:
                st.plotly_chart(
                    differences_figure(comparison, quantity, edition),
                    key=f"difference-{comparison.drink}-{quantity}",
                    theme=None,
                    config=PLAIN,
                    alt=f"Differences between yeasts. {text}",
                )
        st.html(
            components.table(*words_yeasts.differences(comparison), caption="The differences in numbers", wide=True)
        )
    st.html(components.table(*words_yeasts.summaries(comparison), caption="What each yeast usually does", wide=True))
    st.html(
        '<p class="figures">Allows for the temperature and the original gravity of each batch; vessels filled from one '
        "wort are compared with one another. A yeast with few batches is drawn towards the others. A difference is "
        "told when it is more than half a day, or 1.5 percentage points, with nine chances in ten. So the table need "
        "not end where the courses do, which are as they were measured; and what is expected of the next batch, "
        "further down, is a wider range, as one batch differs from another.</p>"
    )
