"""What the cellar has learnt of drinks and yeasts, and how hops and doses compare."""

from __future__ import annotations

import streamlit as st

from analysis.wording import Voice
from dashboard import context
from dashboard.queries import learnt
from dashboard.templates import fill
from dashboard.ui import components, links, tasted
from dashboard.wording import learnt as words
from ingest.model import BatchRecord


def show(say: Voice) -> None:
    """What is believed now, and on demand the hops."""
    found = learnt.believed()
    if not found:
        liked()
        return
    names = {b.batch_id: b.name for b in context.store().all(BatchRecord)}
    st.html("<h2>What the cellar has learnt</h2>")
    st.html(
        "<p>What the next batch is expected to do, eight times in ten, beside what would be expected without any batch "
        "of yours and what was entered of the yeast. Forecasts start from it.</p>"
    )
    told = words.belief_rows(found, learnt.stated())
    rows = [
        [*row, links.batches([(key, names[key]) for key in each.names if key in names])]
        for row, each in zip(told, found, strict=True)
    ]
    st.html(components.table(words.BELIEF_HEADINGS, rows, caption="Drinks and yeasts"))
    liked()
    if st.toggle("Compare hops and doses", key="hops compared"):
        hops(say)


def liked() -> None:
    """What tasters' scores say of yeasts, hops, doses and contact; nothing before a tasting tells of any."""
    compared = learnt.tasted()
    if compared:
        st.html("<h2>What tasters liked</h2>")
        tasted.show(compared)


def hops(say: Voice) -> None:
    """Varieties and doses in what they may do to a fermentation."""
    place = st.empty()

    def tell(done: int, total: int, name: str) -> None:
        line = '<p class="quiet" role="status">Reading {{ name }}, {{ n }} of {{ total }} finished batches …</p>'
        place.html(fill(line, name=name, n=done + 1, total=total))

    batches = learnt.hopped(tell)
    place.empty()
    any_told = False
    for by_dose, caption in ((False, "Hop varieties"), (True, "Doses of dry hops")):
        rows = [
            [*row, links.batches([(each.batch_id, each.name) for each in found.batches[row[0]]])]
            for found in learnt.hops_compared(batches, by_dose=by_dose)
            for row in words.hop_rows(found.comparison, found.entered, say.units)
        ]
        if rows:
            any_told = True
            st.html(components.table(words.HOP_HEADINGS, rows, caption=caption))
    if not any_told:
        st.html(
            "<p>Nothing can be compared yet: it takes finished batches of two varieties or doses, with their amounts "
            "entered, that a float followed on the hops.</p>"
        )
    else:
        st.html(
            '<p class="figures">With partial pooling, allowing for temperature, original gravity and wort. Forecasts '
            "do not start from it: they know hops, not varieties. How hops taste, a tasting says.</p>"
        )
