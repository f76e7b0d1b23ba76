"""A new tasting: which batches, by which method, who tastes, and what they must know before."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Final

import streamlit as st

from analysis.display_units import percent
from analysis.thresholds import FEW_TASTERS, MOST_GLASSES
from analysis.trials import power
from analysis.wording import Voice, plural
from dashboard import context
from dashboard.queries import tastings
from dashboard.templates import fill
from dashboard.ui import components, forms, plain
from ingest.model import BatchRecord, TrialRecord, Vessel
from ingest.tastings import METHODS, SULFITES, Arm, Method, Sulfites

METHOD_WORDS: Final[dict[Method, str]] = {
    "score": "Scores from 0 to 100",
    "rank": "An order from the best down",
    "triangle": "Triangle: which is the odd one out",
}
SULFITE_WORDS: Final[dict[Sulfites, str]] = {
    "not known": "Not known",
    "added": "Added",
    "none added": "None added",
}


def show(say: Voice, trial: TrialRecord | None = None) -> None:
    """The form; of a trial it begins with the trial's question and batches."""
    offered = known()
    if len(offered) < 2:
        way = components.underlined("set-up", "Set up")
        st.html(fill("<p>It takes two batches. Add them under {{ way }} first.</p>", way=way))
        return
    names = _names(offered, trial)
    st.html(
        fill(
            '<p class="quiet">Each drink gets a code of three digits. Orders are drawn so that each drink stands in '
            "each place, and follows each other, as equally often as can be; of more than {{ most }} drinks each "
            "taster gets {{ most }}. With fewer than {{ few }} tasters any result is rough; a triangle of six would "
            "show a large difference with a chance of {{ power }} only.</p>",
            most=MOST_GLASSES,
            few=FEW_TASTERS,
            power=percent(power(6)),
        )
    )
    with forms.entry("tasting", say, save="Make the tasting", shows=trial and trial.trial_id) as form:
        question = (trial.question or trial.name) if trial is not None else ""
        name = form.text("name", "What is asked", question, placeholder="Which hop is liked best?")
        asked = [key for key in _asked_for(trial) if key in names]
        chosen = st.multiselect(
            "Drinks", list(names), default=asked, format_func=names.__getitem__, key=form.key("arms")
        )
        form.place("arms", "glasses")
        method = form.choice("method", "How it is judged", METHODS, "score", METHOD_WORDS.__getitem__) or "score"
        people = form.area("tasters", "Who tastes, one on each line", height=150)
        allergens = form.several("allergens", "What is in any of them", tastings.ALLERGENS, (), plain)
        sulfites = form.choice("sulfites", "Sulfites", SULFITES, "not known", SULFITE_WORDS.__getitem__) or "not known"
        st.html(
            '<p class="quiet">Tasters are told this before they taste. If nothing is chosen, they are told that nobody '
            "has said. Local rules on serving alcohol hold for tastings too.</p>"
        )
    if form.sent:
        draft = tastings.Draft(
            name=name,
            method=method,
            arms=arms_of(chosen, names),
            tasters=tuple(people.splitlines()),
            allergens=tuple(allergens),
            sulfites=sulfites,
            trial_id=trial.trial_id if trial is not None else None,
        )
        made: list[str] = []
        form.keep(
            lambda: made.append(tastings.make(context.store(), draft).tasting_id),
            f"The tasting is made: {plural(len(chosen), 'drink')}.",
            then=lambda: st.query_params.from_dict({"id": made[0]}),
        )


def _asked_for(trial: TrialRecord | None) -> Sequence[str]:
    return trial.batch_ids if trial is not None else st.query_params.get("ids", "").split(",")


def known() -> list[BatchRecord]:
    """All batches, those under way first, then the latest; wholes that were divided are told by their parts."""
    store = context.store()
    found = [*store.active_batches(), *store.finished_batches()]
    return [each for each in found if not store.parts_of(each.batch_id)]


def _names(offered: Sequence[BatchRecord], trial: TrialRecord | None) -> dict[str, str]:
    """Each batch by its name, with its vessel where two have the same; of the trial that asks, by its arm."""
    store, often = context.store(), Counter(each.name for each in offered)
    arms = {batch_id: arm for arm, batch_id in trial.arms} if trial is not None else {}
    found = {}
    for each in offered:
        vessel = store.get(Vessel, each.vessel_id)
        name = f"{each.name} ({vessel.name})" if often[each.name] > 1 and vessel else each.name
        arm = arms.get(each.batch_id)
        if trial is not None and arm is not None:
            name = arm if len(trial.batches_of(arm)) == 1 else f"{arm}: {name}"
        found[each.batch_id] = name
    return found


def arms_of(chosen: Sequence[str], names: dict[str, str]) -> tuple[Arm, ...]:
    """Each batch as a drink of its own."""
    return tuple((names[key], ((key, 1.0),)) for key in chosen)
