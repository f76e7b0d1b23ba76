"""What a tasting says, once it is over: in words, as a picture, and everything that was said."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict

import streamlit as st

from analysis.wording import Voice, capital
from dashboard import context
from dashboard.charts import PALETTES
from dashboard.queries import queries, tastings
from dashboard.report import intervals_html, report_html
from dashboard.screens.tasting import blending
from dashboard.tasting import as_csv, as_parquet
from dashboard.templates import fill, join
from dashboard.ui import components, forms
from ingest.monitoring import (
    SAID_HEADINGS,
    WORTH_HEADINGS,
    learnt_beside,
    said_rows,
    tasting_page,
    tasting_sentences,
    worth_rows,
)
from ingest.tastings import Tasting


def show(tasting: Tasting, say: Voice) -> None:
    store = context.store()
    edition = components.edition()
    found = queries.kept(("tasting", tasting.tasting_id), lambda: tastings.result(store, tasting), store.revision)
    if found is None:  # it was opened again at this moment
        st.rerun()
    first, *more = tasting_sentences(found)
    st.html(components.unbroken(components.lead(first)))
    st.html(fill('<p class="quiet">{{ day }}: {{ name }}</p>', name=tasting.name, day=capital(say.day(tasting.at))))
    if more:
        st.html(join(fill("<p>{{ sentence }}</p>", sentence=each) for each in more))
    if found.scores is not None:
        drinks = tasting_page(tasting, found, (), say).intervals
        components.markup(intervals_html(drinks, PALETTES[edition]), key="tasting-picture")
        st.html(components.table(WORTH_HEADINGS, worth_rows(found), "The drinks, the best first"))
        st.html(
            '<p class="quiet">Faint dots are the points as they were given. The strong ones are those of these tasters '
            "on the average: what each taster usually gives and what the place in the order does are taken out. An "
            "80 % interval misses the truth in one of five.</p>"
        )
    blending.show(tasting, found, say)
    with st.expander("Everything that was said"):
        st.html(components.table(SAID_HEADINGS, said_rows(found), "By taster, in the order of serving"))

    def paper() -> bytes:
        page = tasting_page(tasting, found, learnt_beside(store, tasting), queries.voice())
        return report_html(asdict(page)).encode()

    with st.container(horizontal=True):
        _download("Report to print", "tasting.html", "text/html", paper)
        _download("What was said, CSV", "tasting.csv", "text/csv", lambda: as_csv(found))
        _download("The same, Parquet", "tasting.parquet", "application/vnd.apache.parquet", lambda: as_parquet(found))
    forms.remove_button(
        "Remove this tasting", "remove-tasting", lambda: store.remove(tasting), "The tasting is removed."
    )


def _download(label: str, name: str, mime: str, data: Callable[[], bytes]) -> None:
    st.download_button(label, data=data, file_name=name, mime=mime, on_click="ignore", key=name)
