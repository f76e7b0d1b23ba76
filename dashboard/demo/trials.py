"""The demo's trials: two yeasts in one wort, finished and tasted by six, and the same under way. All of it invented."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Final

from dashboard.queries import tastings
from ingest.model import BatchRecord, TrialRecord
from ingest.store import Store
from ingest.tastings import Tasting

FINISHED: Final = "First pale"
UNDER_WAY: Final = "Window amber"
"""Worts of the story that went into two vessels, each with its yeast."""

# Points of 100 by taster, for the yeast of each column: six people who agree halfway, as six people do.
_YEASTS: Final = ("Marrow", "Dune")
_SAID: Final[dict[str, tuple[float, float]]] = {
    "Ada": (62.0, 71.0),
    "Bram": (55.0, 74.0),
    "Cleo": (70.0, 66.0),
    "Dov": (58.0, 69.0),
    "Esme": (64.0, 77.0),
    "Finn": (49.0, 60.0),
}
_AROMAS: Final = {"Marrow": ("bread", "malt"), "Dune": ("citrus", "stone fruit")}


def enter(store: Store) -> None:
    """Enter both trials and the tasting, through the calls that the screens use; none that the story has not."""
    pale, amber = (_parts(store, wort) for wort in (FINISHED, UNDER_WAY))
    if len(pale) == len(_YEASTS):
        trial = store.save(
            TrialRecord(
                name="Two yeasts for a pale",
                question="Which yeast makes the better pale?",
                arms=tuple((b.yeast or b.name, b.batch_id) for b in pale),
                decides="tasting",
                equal="one mash, one boil",
                made_at=pale[0].pitched_at,
            )
        )
        _taste(store, trial, pale)
    if len(amber) == len(_YEASTS):
        store.save(
            TrialRecord(
                name="Two yeasts for an amber",
                question="Which yeast is done sooner?",
                arms=tuple((b.yeast or b.name, b.batch_id) for b in amber),
                made_at=amber[0].pitched_at,
            )
        )


def _parts(store: Store, wort: str) -> list[BatchRecord]:
    """The batches of a wort in the order of the yeasts' columns."""
    found = {b.yeast: b for b in store.all(BatchRecord, split_of=wort)}
    return [found[yeast] for yeast in _YEASTS if yeast in found]


def _taste(store: Store, trial: TrialRecord, parts: list[BatchRecord]) -> None:
    arms = tuple((b.yeast or b.name, ((b.batch_id, 1.0),)) for b in parts)
    draft = tastings.Draft(
        trial.question, "score", arms, tuple(_SAID), ("cereals containing gluten",), "none added", trial.trial_id
    )
    tasting = tastings.make(store, draft)
    at = max(b.ended_at or b.pitched_at for b in parts) + timedelta(days=14)
    tasting = store.save(replace(tasting, at=at))
    for taster in tastings.tasters_of(store, tasting):
        _said(store, tasting, taster.name)
    tastings.end(store, tasting)


def _said(store: Store, tasting: Tasting, name: str) -> None:
    """What one taster said of each glass."""
    [taster] = [each for each in tastings.tasters_of(store, tasting) if each.name == name]
    for code in tastings.codes_of(tasting, taster):
        arm = dict(tasting.glasses)[code]
        found = _AROMAS[_YEASTS[arm]]
        answer = replace(tastings.draft_of(store, taster, code), score=_SAID[name][arm], aromas=found)
        tastings.keep_glass(store, taster, answer)
