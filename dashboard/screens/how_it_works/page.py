"""What do these words and verdicts mean, and how is it all used?"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import streamlit as st

from analysis.display_units import DisplayUnits
from analysis.wording import capital, plural
from dashboard.queries import queries
from dashboard.screens.how_it_works import glossary, guide
from dashboard.templates import Markup, fill, render
from dashboard.ui import components

WORDS: Final = "words"
"""The part that explains words and verdicts; it comes first."""


def show() -> None:
    titles = {WORDS: "Words and limits", **{part.name: part.title for part in guide.parts()}}
    part = st.query_params.get("part", WORDS)
    if part not in titles:
        part = WORDS
    st.html(fill('<h1 class="lead">{{ lead }}</h1>', lead=_LEAD if part == WORDS else titles[part]))
    # A field for each part: who follows a result comes to the part, and the words that led there are done with.
    with st.container(key="find"):
        wanted = st.text_input("Search the manual", type="search", key=f"find {part}", placeholder="a word or two")
    if wanted and wanted.strip():
        _results(wanted, titles)
    st.html(_nav(part, titles))
    if part == WORDS:
        components.markup(glossary.page_html(queries.voice().units), key="explained")
    else:
        with st.container(key="guide"):
            _, _, body = guide.markdown(part).partition("\n")  # the title stands above
            st.markdown(body, unsafe_allow_html=True)


_LEAD: Final = "What the words and verdicts mean, and how far to trust them."


def _results(wanted: str, titles: dict[str, str]) -> None:
    found = guide.search(wanted, everything((name for name in titles if name != WORDS), queries.voice().units))
    if not found:
        st.html(
            fill(
                '<p role="status">Nothing in the manual has “{{ wanted }}”. Try one word, or the beginning of it.</p>',
                wanted=wanted.strip(),
            )
        )
        return
    count = plural(len(found), "place") if len(found) <= guide.MOST_FOUND else f"The first {guide.MOST_FOUND} places"
    items = []
    for one in found[: guide.MOST_FOUND]:
        where = titles[one.passage.part]
        name = where if one.passage.heading == where else f"{where}: {one.passage.heading}"
        shown = fill('<b>{{ name }}</b><span class="figures">{{ says }}</span>', name=name, says=one.sentence)
        items.append(components.link(guide.PAGE, shown, part=one.passage.part))
    st.html(render("how_it_works/found.html", count=capital(count), wanted=wanted.strip(), items=items))


def everything(names: Iterable[str], units: DisplayUnits) -> list[guide.Passage]:
    """What can be found: the glossary's words, then the manual."""
    words = [guide.Passage(WORDS, heading, text) for heading, text in glossary.texts(units)]
    return [*words, *(passage for name in names for passage in guide.passages(name))]


def _nav(part: str, titles: dict[str, str]) -> Markup:
    parts = [(name, title, components.address(guide.PAGE, part=name)) for name, title in titles.items()]
    return render("how_it_works/parts.html", parts=parts, here=part)
