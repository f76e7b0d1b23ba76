"""Batches laid over one another: an address says which, and the table says what the picture shows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dashboard.queries import queries
from dashboard.screens.compare import page as compare
from dashboard.screens.compare.charts import over_one_another
from ingest.model import BatchRecord, Vessel
from tests.dashboard.conftest import opened


def html_of(shown):
    return " ".join(str(each.value) for each in shown.get("html"))


@pytest.fixture
def pair(cellar):
    """Two batches of one wort, and one without a float."""
    store = cellar.store
    made = [store.save(replace(cellar.batches[name], split_of="Twin wort")) for name in ("active", "held")]
    vessel = store.save(Vessel(name="Bare jug"))
    bare = store.save(replace(made[0], batch_id="bare", vessel_id=vessel.vessel_id))
    yield [*made, bare]
    store.remove(bare)
    store.remove(vessel)
    for record in made:
        store.save(replace(record, split_of=None))


def test_an_address_names_a_wort_and_its_batches_are_drawn(cellar, pair, page):
    shown = page("compare", lot="Twin wort")
    text = html_of(shown)
    assert "Two batches, by days since pitching" in text
    assert "Vessel 1: Harbour Pale" in text
    assert "Too little was read to draw Bare jug: Harbour Pale" in text


def test_an_address_names_a_yeast_or_each_batch(cellar, pair, page):
    assert "Four batches, by days" in html_of(page("compare", yeast="Marrow"))
    one = page("compare", ids=cellar.batches["silent"].batch_id)
    assert "One batch, by days" in html_of(one)


def test_what_is_chosen_stands_in_the_address(cellar, pair, page):
    shown = page("compare")
    assert "Which batches?" in html_of(shown)
    ids = [pair[0].batch_id, pair[1].batch_id]
    shown.multiselect[0].set_value(ids)
    shown.run()
    assert shown.query_params["ids"] == ",".join(ids)


def test_days_since_pitching_gravity_and_attenuation_are_the_batches_own(cellar, pair):
    say = queries.voice()
    record = pair[0]
    outlook = cellar.outlooks.of(record.batch_id)
    plain, normal = (compare.line(record, outlook, height, say) for height in ("Gravity", "Attenuation"))
    assert plain.days[0] >= 0
    assert plain.days[-1] == pytest.approx(1.7, abs=0.1)
    # By hand: apparent attenuation is (OG - SG) / (OG - 1) in gravities, to within its use of °P.
    expected = 100 * (1.052 - plain.height[-1]) / 0.052
    assert normal.height[-1] == pytest.approx(expected, abs=3.0)
    assert np.all(np.diff(plain.days) >= 0)


def test_lines_differ_by_stroke_and_share_the_colours_of_their_meaning(cellar, pair):
    say = queries.voice()
    lines = [compare.line(b, cellar.outlooks.of(b.batch_id), "Gravity", say) for b in pair[:2]]
    figure = over_one_another(lines, compare.scale("Gravity", say), say, "light")
    courses = [t for t in figure.data if t.yaxis == "y"]
    warm = [t for t in figure.data if t.yaxis == "y2"]
    assert len({t.line.dash for t in courses}) == 2
    assert len({t.line.color for t in courses}) == 1
    assert [t.line.dash for t in warm] == [t.line.dash for t in courses]
    assert {t.line.color for t in warm} != {t.line.color for t in courses}


def test_a_whole_that_was_divided_is_told_by_its_parts(cellar, pair):
    whole = cellar.batches["ended Dune"]
    part = cellar.store.save(
        replace(
            whole,
            batch_id="a-part",
            vessel_id=cellar.store.save(Vessel(name="Part jug")).vessel_id,
            divided_from=whole.batch_id,
            divided_at=whole.ended_at,
            ended_at=None,
        )
    )
    known = [b.batch_id for b in compare.known()]
    cellar.store.remove(part)
    assert "a-part" in known
    assert whole.batch_id not in known
    assert isinstance(whole, BatchRecord)


def test_milestones_stand_side_by_side_when_they_are_asked_for(cellar, pair, page):
    ids = ",".join(cellar.batches[name].batch_id for name in ("held", "active"))
    shown = page("compare", ids=ids)
    assert "Half of the fall" not in html_of(shown)
    shown.toggle(key="milestones").set_value(True)
    shown.run()
    text = html_of(shown)
    assert "Half of the fall" in text
    assert "Terminal gravity" in text


def test_a_batchs_page_tells_its_milestones(cellar, page):
    batch_id = cellar.batches["held"].batch_id
    shown = page("batch", id=batch_id)
    assert "Milestones, with" not in html_of(shown)  # to weigh them takes as long as to judge the batch
    text = html_of(opened(shown, f"milestones {batch_id}"))
    assert "Milestones, with ranges of eight chances in ten" in text
    assert "Greatest rate" in text
