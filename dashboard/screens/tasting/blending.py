"""Blend: which shares are liked best, which blends to try next, and what the next batch takes."""

from __future__ import annotations

import streamlit as st

from analysis.display_units import percent
from analysis.trials import Blend
from analysis.wording import Voice, plural
from analysis.wording import tasting as words
from dashboard import access, context
from dashboard.queries import blends, queries, tastings
from dashboard.templates import fill
from dashboard.ui import components, forms
from ingest.tastings import Tasting

SAMPLE_ML = 100
MOST = 4
"""Batches to blend at once on this page."""


def show(tasting: Tasting, found: tastings.Result, say: Voice) -> None:
    """The part of a result that blends; nothing where there are no scores of two batches."""
    store = context.store()
    names = blends.named(store, tasting)
    if found.scores is None or len(names) < 2:
        return
    worth = {name: arm.score.p50 for name, arm in zip(found.names, found.scores.arms, strict=True)}
    order = sorted(names, key=lambda key: -worth.get(names[key], 0.0))
    with st.expander("Blend them", expanded=any(len(shares) > 1 for _, shares in tasting.arms)):
        chosen = st.multiselect(
            "What to blend", order, default=order[:3], format_func=names.__getitem__, max_selections=MOST
        )
        if len(chosen) < 2:
            st.html("<p>Choose two batches or more.</p>")
            return
        ids = sorted(chosen)
        key = ("blend", tasting.tasting_id, tuple(ids), store.revision)
        said = queries.kept(key, lambda: blends.said_of(store, tasting, ids))
        if said is None:
            st.html("<p>Nobody judged two of these, so nothing can be told of blending them.</p>")
            return
        labels = [names[each] for each in ids]
        st.html(fill("{% for each in told %}<p>{{ each }}</p>{% endfor %}", told=words.blended(said, labels)))
        st.html(
            '<p class="quiet">All tastings by this method count, with those of their drinks that hold nothing else. A '
            "blend of finished drinks is not the same as one batch with both hops or yeasts in it; it is where to "
            "begin.</p>"
        )
        _next_session(tasting, said, {each: names[each] for each in ids}, order)
        _next_batch(ids, labels, said, say)


def _next_session(tasting: Tasting, said: Blend, names: dict[str, str], order: list[str]) -> None:
    if not said.proposals:
        st.html("<p>No blend that was not tried is likely to be the best; nothing is proposed.</p>")
        return
    rows = [
        [words.shares_words(shares, list(names.values())), *(f"{share * SAMPLE_ML:.0f} mL" for share in shares)]
        for shares in said.proposals
    ]
    headings = ["Blend", *names.values()]
    st.html(components.titled_table(headings, rows, f"To try next, for a sample of {SAMPLE_ML} mL"))
    if access.only_looks():
        return
    store = context.store()
    best = next(key for key in order if key in names)
    made: list[str] = []
    forms.action(
        f"Make a tasting of {plural(len(said.proposals), 'blend')} and {names[best]}",
        "bench-session",
        lambda: made.append(blends.session(store, tasting, names, said.proposals, best).tasting_id),
        "The tasting of blends is made. It stands under All tastings.",
    )


def _next_batch(ids: list[str], labels: list[str], said: Blend, say: Voice) -> None:
    form = forms.loose("next-batch", say)
    litres = form.number("litres", "For a batch of", 20.0, "volume", min_value=0.1)
    if litres is None:
        return
    scaled = blends.scaled(context.store(), ids, said.liked, litres)
    rows = [
        [label, percent(share), say.volume(part)]
        for label, share, part in zip(labels, said.liked, scaled.litres, strict=True)
        if share > 0
    ]
    headings = ["Batch", "Share", "If finished drinks are blended"]
    st.html(components.titled_table(headings, rows, "The blend liked best so far"))
    if scaled.hops_g:
        hops = [
            [variety, "not known: enter its grams and volume" if grams is None else say.units.mass(grams)]
            for variety, grams in scaled.hops_g.items()
        ]
        title = "Dry hops for it, by each batch’s grams a litre"
        st.html(components.titled_table(["Hops", "If it is made anew"], hops, title))
