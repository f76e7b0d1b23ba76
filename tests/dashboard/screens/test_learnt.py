"""What the cellar has learnt, on the yeasts' page."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta

import pytest

from dashboard.queries import tastings
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
                EventRecord(
                    batch_id=record.batch_id,
                    kind="dry hop",
                    at=at,
                    amount_g=grams,
                    hop_variety=variety,
                    contact_days=3.0,
                )
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
    assert re.search(r'href="batch\?id=[^"]+"[^>]*><u>Earlier Marrow', text)
    assert re.search(r"(same end|ends (one|two|\w+) points? (further|less far)), .* as wide", text)


def test_hops_and_doses_are_compared_on_demand(cellar, hops, page):
    cellar.outlooks.learn()
    shown = page("yeasts")
    shown.toggle(key="hops compared").set_value(True)
    shown.run()
    text = html_of(shown)
    assert "Hop varieties" in text
    assert "Plover" in text
    plover = re.search(r"<td[^>]*>Plover</td>.*?</tr>", text)[0]
    assert "dose not known for 2 to 4 days" in plover
    assert "not: they know hops, not which" in plover
    assert f'href="batch?id={hops[0].batch_id}"' in plover
    assert "too few batches to tell it from the others" in text


def test_what_tasters_liked_of_yeasts_is_told_once_a_tasting_is_over(cellar, page):
    store = cellar.store
    marrow, dune = (cellar.batches[f"ended {yeast}"] for yeast in ("Marrow", "Dune"))
    drinks = [(each.name, ((each.batch_id, 1.0),)) for each in (marrow, dune)]
    tasting = tastings.make(store, tastings.Draft("Two", "score", tuple(drinks), ("Ada", "Ben"), (), "not known"))
    for taster in tastings.tasters_of(store, tasting):
        for (code, _), points in zip(tasting.glasses, (70.0, 50.0), strict=True):
            tastings.keep_glass(store, taster, replace(tastings.draft_of(store, taster, code), score=points))
    assert "What tasters liked" not in html_of(page("yeasts"))
    tastings.end(store, tasting)
    text = html_of(page("yeasts"))
    assert "What tasters liked" in text
    assert "Yeast, by the scores of one tasting" in text
    assert "Marrow before Dune" in text
    assert "too few drinks to tell" in text
    store.remove(tasting)
