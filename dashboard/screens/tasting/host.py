"""A tasting under way, for whoever pours: addresses, what to pour, who is done. It holds no answer of anybody.

What is in which glass is sent to this page only while it is asked for.
"""

from __future__ import annotations

from dataclasses import replace
from urllib.parse import urljoin, urlsplit

import streamlit as st

from analysis.trials import balance
from analysis.wording import Voice, capital, count, plural
from dashboard import access, context
from dashboard.queries import tastings
from dashboard.screens.tasting.making import METHOD_WORDS
from dashboard.tasting import ballots, pouring_rows, qr_data_uri
from dashboard.templates import Markup, fill
from dashboard.ui import components, forms
from dashboard.web import tasting_routes
from ingest.errors import EntryError
from ingest.settings import is_loopback
from ingest.tastings import LONGEST_NOTE, Taster, Tasting, TastingAnswer


def show(tasting: Tasting, say: Voice) -> None:
    st.html(components.lead(tasting.name))
    drinks = plural(len(tasting.arms), "drink")
    st.html(fill("<p>{{ how }}, {{ drinks }}.</p>", how=METHOD_WORDS[tasting.method], drinks=drinks))
    who_is_done(tasting.tasting_id)
    if access.only_looks():
        return
    addresses(tasting)
    pouring(tasting)
    with st.expander("Enter a ballot by hand"):
        by_hand(tasting, say)
    with st.expander("End it, or remove it"):
        st.html(
            '<p class="quiet">It ends by itself once everybody is done. If you end it before, what was judged so far '
            "counts, and the addresses stop working.</p>"
        )
        store = context.store()
        forms.action("End it now", "end-tasting", lambda: tastings.end(store, tasting), "The tasting has ended.")
        forms.remove_button(
            "Remove this tasting", "remove-tasting", lambda: store.remove(tasting), "The tasting is removed."
        )


@components.live
def who_is_done(tasting_id: str) -> None:
    """Who is done and who is not; nothing of what they said."""
    store = context.store()
    tasting = store.get(Tasting, tasting_id)
    if tasting is None or tastings.over(store, tasting):
        st.rerun()
    tasters = tastings.tasters_of(store, tasting)
    done = sum(each.done_at is not None for each in tasters)
    rows = []
    for each in tasters:
        judged = len(each.served) - len(tastings.unanswered(store, tasting, each))
        rows.append([each.name, "done" if each.done_at else f"{judged} of {len(each.served)} glasses"])
    st.html(fill("<p role='status'>{{ told }}</p>", told=_told(done, len(tasters))))
    st.html(components.table(["Taster", "So far"], rows, "Who is done"))


def _told(done: int, of: int) -> str:
    far = f"{capital(count(done))} of {count(of)} done." if done else "Nobody is done yet."
    return f"{far} The result is told once all are, or when you end it."


# -- addresses


def address_of(taster: Taster) -> str:
    """A taster's address as this page was reached."""
    return urljoin(st.context.url or "", f".{tasting_routes.path_of(taster.token)}")


def addresses(tasting: Tasting) -> None:
    """One taster's address and QR code at a time, and ballots to print."""
    store = context.store()
    host = urlsplit(st.context.url or "").hostname or ""
    if not host or is_loopback(host):
        banner = (
            '<p class="wrong" role="note">You have opened this page on the machine itself, so the addresses below work '
            "there only. Open it by the machine’s name or number in your network, and phones can follow. That takes a "
            "password; the guide says how.</p>"
        )
        st.html(banner)
    tasters = tastings.tasters_of(store, tasting)
    chosen = st.selectbox(
        "Whose address", tasters, index=None, format_func=lambda each: each.name, placeholder="Choose who comes"
    )
    if chosen is not None:
        address = address_of(chosen)
        components.markup(
            fill(
                '<p><img src="{{ src }}" width="220" height="220" alt="QR code of the address of {{ name }}"></p>',
                src=qr_data_uri(address),
                name=chosen.name,
            ),
            key=f"qr-{chosen.taster_id}",
        )
        st.code(address, language=None, wrap_lines=True)
    st.html(
        '<p class="quiet">Whoever has an address answers for that taster, without signing in, until the tasting is '
        "over. It shows codes and nothing else.</p>"
    )
    st.download_button(
        "Ballots to print",
        data=lambda: ballots(store, tasting, address_of).encode(),
        file_name="ballots.html",
        mime="text/html",
        on_click="ignore",
    )


# -- pouring


def pouring(tasting: Tasting) -> None:
    """What to pour, while it is asked for; whoever tastes too leaves it to somebody else."""
    st.html('<p class="quiet">If you taste too, let somebody else pour, and do not look at what is in which glass.</p>')
    if not st.toggle("Show what is in which glass", key=f"pour-{tasting.tasting_id}"):
        return
    store = context.store()
    key, order = pouring_rows(store, tasting)
    st.html(components.titled_table(["Glass", "Drink"], key, "What is in which glass"))
    longest = max(len(row) for row in order) - 1
    headings = ["Taster", *(f"{n}." for n in range(1, longest + 1))]
    rows = [row + [""] * (longest + 1 - len(row)) for row in order]
    st.html(components.titled_table(headings, rows, "Who gets what, in order"))
    st.html(_evenness(tasting))


def _evenness(tasting: Tasting) -> Markup:
    if tasting.method == "triangle":
        return Markup()
    orders = [each.served for each in tastings.tasters_of(context.store(), tasting)]
    found = balance(orders, len(tasting.glasses))
    line = (
        '<p class="quiet">Each drink is served {{ served }}, stands in each place {{ place }}, and comes directly '
        "after each of the others {{ after }}.</p>"
    )
    return fill(
        line,
        served=_times(found.served),
        place=_times(found.in_a_place),
        after=_times(found.after_another),
    )


def _times(ends: tuple[int, int]) -> str:
    low, high = ends
    if low == 0 < high:
        return "at most once" if high == 1 else f"at most {plural(high, 'time')}"
    once = "once" if high == 1 else plural(high, "time")
    return once if low == high else f"{count(low)} to {plural(high, 'time')}"


# -- by hand


def by_hand(tasting: Tasting, say: Voice) -> None:
    """A ballot that was filled in on paper; what a taster said on their phone is not shown."""
    store = context.store()
    waiting = [each for each in tastings.tasters_of(store, tasting) if each.done_at is None]
    taster = st.selectbox(
        "Whose ballot", waiting, index=None, format_func=lambda each: each.name, placeholder="Choose one"
    )
    if taster is None:
        return
    codes = tastings.codes_of(tasting, taster)
    with forms.entry("ballot", say, save="Keep this ballot", shows=taster.taster_id) as form:
        if tasting.method == "triangle":
            odd = form.choice("odd", "The odd one out; none if they passed", codes, None)
            note = form.text("note", "Notes", max_chars=LONGEST_NOTE)
        else:
            rows = [_glass_inputs(form, tasting, code) for code in codes]
    if not form.sent:
        return
    if tasting.method == "triangle":
        form.keep(lambda: _keep_odd(tasting, taster, odd, note), f"The ballot of {taster.name} is kept.")
    else:
        form.keep(lambda: _keep_rows(tasting, taster, rows), f"The ballot of {taster.name} is kept.")


_Row = tuple[str, float | None, bool, str, str]
"""Code, score or rank, passed, aromas, note."""


def _glass_inputs(form: forms.Form, tasting: Tasting, code: str) -> _Row:
    with st.container(horizontal=True, vertical_alignment="bottom"):
        if tasting.method == "score":
            value = form.number(f"{code}-value", f"Glass {code}: score, 0 to 100", None, step=1.0, format="%g")
        else:
            value = form.number(f"{code}-value", f"Glass {code}: rank, 1 the best", None, step=1.0, format="%g")
        passed = form.tick(f"{code}-passed", f"{code} passed", False)
        aromas = form.text(f"{code}-aromas", f"{code}: aromas, with commas")
        note = form.text(f"{code}-note", f"{code}: notes", max_chars=LONGEST_NOTE)
    return code, value, passed, aromas, note


def _keep_odd(tasting: Tasting, taster: Taster, odd: str | None, note: str) -> None:
    store = context.store()
    tastings.keep_ballot(store, tasting, taster, tastings.odd_answers(store, tasting, taster, odd, note))


def _keep_rows(tasting: Tasting, taster: Taster, rows: list[_Row]) -> None:
    """Keep a whole ballot, or nothing of it.

    Raises
    ------
    EntryError
        Beside the glass that lacks an answer.
    """
    store, made = context.store(), list[TastingAnswer]()
    for code, value, passed, aromas, note in rows:
        if value is None and not passed:
            raise EntryError(f"{code}-value", f"glass {code} has no answer", "Give one, or tick that it was passed.")
        given = None if passed or value is None else value
        if tasting.method == "rank" and given is not None and given != int(given):
            raise EntryError(f"{code}-value", f"{given:g} is no rank", "Ranks are 1, 2, 3 and so on.")
        draft = replace(
            tastings.draft_of(store, taster, code), passed=passed, aromas=tuple(tastings.words_in(aromas)), note=note
        )
        if tasting.method == "score":
            made.append(replace(draft, score=given))
        else:
            made.append(replace(draft, rank=None if given is None else int(given)))
    tastings.keep_ballot(store, tasting, taster, made)
