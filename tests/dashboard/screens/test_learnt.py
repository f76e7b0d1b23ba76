"""What the cellar has learnt, on the yeasts' page."""

from __future__ import annotations

from datetime import timedelta

import pytest

from dashboard.queries import learnt
from ingest.model import EventRecord


def html_of(shown):
    return " ".join(str(each.value) for each in shown.get("html"))


@pytest.fixture
def hops(cellar):
    """The two ended batches got hops of two varieties, one a double dose."""
    store = cellar.store
    made = []
    for yeast, variety, grams in (("Marrow", "Plover", 40.0), ("Dune", "Wren", 90.0)):
        record = cellar.batches[f"ended {yeast}"]
        at = record.pitched_at + timedelta(days=5)
        made.append(
            store.save(
                EventRecord(batch_id=record.batch_id, kind="dry hop", at=at, amount_g=grams, hop_variety=variety)
            )
        )
    yield made
    for event in made:
        store.remove(event)


def test_beliefs_stand_beside_what_was_stated_and_the_batches_that_taught_them(cellar, page):
    assert "What the cellar has learnt" not in html_of(page("yeasts"))
    cellar.outlooks.learn()
    text = html_of(page("yeasts"))
    assert "What the cellar has learnt" in text
    assert "Marrow, ale" in text
    assert "74\u202f% to 80\u202f%" in text.replace("&#8239;", "\u202f")  # as entered of Marrow
    assert "Earlier Marrow" in text


def test_hops_and_doses_are_compared_on_demand(cellar, hops, page):
    cellar.outlooks.learn()
    shown = page("yeasts")
    shown.toggle(key="hops compared").set_value(True)
    shown.run()
    text = html_of(shown)
    assert "Hop varieties" in text
    assert "Plover" in text
    assert "too few batches to tell it from the others" in text


@pytest.mark.parametrize(
    ("grams", "step"),
    [(None, None), (0.5, "up to 2 g/L"), (2.0, "up to 2 g/L"), (4.0, "2 to 5 g/L"), (12.0, "above 10 g/L")],
)
def test_a_dose_has_its_step_and_an_unknown_one_none(grams, step):
    assert learnt.dose_of(grams) == step
