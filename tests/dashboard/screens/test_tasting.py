"""The host's page: it makes a tasting, tells who is done, and holds no answer and no drink's glass before its time."""

from __future__ import annotations

import pytest

from dashboard.charts import PALETTES
from dashboard.queries import queries, tastings
from dashboard.report import intervals_html
from dashboard.screens.tasting import host
from dashboard.tasting import ballots
from ingest.model import BatchRecord
from ingest.monitoring import tasting_page
from ingest.tastings import Taster, Tasting, TastingAnswer


def everything(shown) -> str:
    """All that was sent to the page: every element as it went over the socket."""
    return " ".join(str(each.proto) for each in shown._tree if hasattr(each, "proto"))


@pytest.fixture
def made(cellar):
    store = cellar.store
    arms = tuple((cellar.batches[n].name, ((cellar.batches[n].batch_id, 1.0),)) for n in ("ended Marrow", "ended Dune"))
    one = tastings.make(
        store,
        tastings.Draft(
            name="Which yeast?",
            method="score",
            arms=arms,
            tasters=("Ana", "Ben"),
            allergens=("cereals containing gluten",),
            sulfites="none added",
        ),
    )
    yield one
    store.remove(one)


def judge(store, one, name: str, scores) -> None:
    [taster] = [each for each in tastings.tasters_of(store, one) if each.name == name]
    said = []
    for code, score in zip(tastings.codes_of(one, taster), scores, strict=True):
        draft = tastings.draft_of(store, taster, code)
        said.append(TastingAnswer(**{**{f: getattr(draft, f) for f in draft.__dataclass_fields__}, "score": score}))
    tastings.keep_ballot(store, one, taster, said)


def test_a_tasting_is_made_of_chosen_batches(cellar, page):
    shown = page("tasting")
    shown.text_input[0].set_value("Which yeast?")
    chosen = [cellar.batches["ended Marrow"].batch_id, cellar.batches["ended Dune"].batch_id]
    shown.multiselect[0].set_value(chosen)
    shown.text_area[0].set_value("Ana\n\nBen\nCleo ")
    shown.button[0].click()
    shown.run()
    assert not shown.exception
    [one] = cellar.store.all(Tasting)
    assert [shares[0][0] for _, shares in one.arms] == chosen
    assert [each.name for each in cellar.store.all(Taster)] == ["Ana", "Ben", "Cleo"]
    assert shown.query_params["id"] == one.tasting_id
    cellar.store.remove(one)


def test_what_is_missing_is_said_beside_its_field_and_nothing_is_made(cellar, page):
    shown = page("tasting")
    shown.text_area[0].set_value("Ana\nana")
    shown.button[0].click()
    shown.run()
    assert "two tasters have the same name" in everything(shown).lower()
    assert not cellar.store.all(Tasting)


def test_before_the_end_the_page_holds_neither_scores_nor_what_is_in_a_glass(cellar, made, page):
    judge(cellar.store, made, "Ana", (87.25, 12.5))
    shown = page("tasting", id=made.tasting_id)
    sent = everything(shown)
    assert "One of two done" in sent
    assert "87.25" not in sent
    assert "12.5" not in sent
    for name, _ in made.arms:
        assert name not in sent
    tokens = [each.token for each in tastings.tasters_of(cellar.store, made)]
    assert not [token for token in tokens if token in sent]
    [pour] = [each for each in shown.toggle if "glass" in each.label]
    pour.set_value(True)
    shown.run()
    sent = everything(shown)
    assert all(name in sent for name, _ in made.arms)  # whoever pours must know
    assert "87.25" not in sent


def test_one_taster_at_a_time_gets_an_address(cellar, made, page):
    shown = page("tasting", id=made.tasting_id)
    ana, ben = tastings.tasters_of(cellar.store, made)
    [whose] = [each for each in shown.selectbox if each.label == "Whose address"]
    whose.set_value(ana)
    shown.run()
    sent = everything(shown)
    assert f"/taste/{ana.token}" in sent
    assert ben.token not in sent
    assert "work there only" in sent  # no network's name in a test


def test_a_ballot_by_hand_is_kept_whole_or_not_at_all(cellar, made, page):
    shown = page("tasting", id=made.tasting_id)
    ana = tastings.tasters_of(cellar.store, made)[0]
    [whose] = [each for each in shown.selectbox if each.label == "Whose ballot"]
    whose.set_value(ana)
    shown.run()
    codes = tastings.codes_of(made, ana)
    numbers = {each.label: each for each in shown.number_input}
    numbers[f"Glass {codes[0]}: score, 0 to 100"].set_value(70.0)
    [keep] = [each for each in shown.button if each.label == "Keep this ballot"]
    keep.click()
    shown.run()
    assert f"Glass {codes[1]} has no answer" in everything(shown)
    assert not cellar.store.all(TastingAnswer)
    shown.checkbox[1].set_value(True)
    [keep] = [each for each in shown.button if each.label == "Keep this ballot"]
    keep.click()
    shown.run()
    said = tastings.answers_of(cellar.store, ana)
    assert said[codes[0]].score == 70.0
    assert said[codes[1]].passed
    assert cellar.store.get(Taster, ana.taster_id).done_at is not None


def test_a_triangle_on_paper_is_one_line_of_the_journal_and_taken_back_as_one(cellar, made, page):
    store = cellar.store
    draft = tastings.Draft("Do they differ?", "triangle", made.arms, ("Ana", "Ben"), (), "not known")
    one = tastings.make(store, draft)
    ana = tastings.tasters_of(store, one)[0]
    shown = page("tasting", id=one.tasting_id)
    [whose] = [each for each in shown.selectbox if each.label == "Whose ballot"]
    whose.set_value(ana).run()
    odd = tastings.codes_of(one, ana)[1]
    next(each for each in (*shown.radio, *shown.selectbox, *shown.button_group) if odd in each.options).set_value(odd)
    before = store.changes(1)[0].change_id
    next(each for each in shown.button if each.label == "Keep this ballot").click().run()
    assert store.changes(1)[0].change_id == before + 1
    assert store.get(Taster, ana.taster_id).done_at is not None
    assert [code for code, each in tastings.answers_of(store, ana).items() if each.odd] == [odd]
    assert store.take_back(before + 1)
    assert store.get(Taster, ana.taster_id).done_at is None
    assert not tastings.answers_of(store, ana)
    store.remove(one)


def test_once_all_are_done_it_says_what_it_says_and_how_little(cellar, made, page):
    judge(cellar.store, made, "Ana", (80.0, 30.0))
    judge(cellar.store, made, "Ben", (75.0, 35.0))
    shown = page("tasting", id=made.tasting_id)
    sent = everything(shown)
    assert "can say little" in sent
    assert all(name in sent for name, _ in made.arms)
    assert "Chance to be best" in sent
    assert "To try next" in sent  # blends of the two
    drinks = tasting_page(made, tastings.result(cellar.store, made), (), queries.voice()).intervals
    assert sorted(one for drink in drinks for one in drink.given) == [30.0, 35.0, 75.0, 80.0]
    picture = intervals_html(drinks, PALETTES["light"])
    assert [picture.count(f'cx="{each}%" cy="10" r="4"') for each in (30.0, 35.0, 75.0, 80.0)] == [1, 1, 1, 1]
    [make_blends] = [each for each in shown.button if each.label.startswith("Make a tasting of")]
    make_blends.click()
    shown.run()
    assert not shown.exception
    bench = next(each for each in cellar.store.all(Tasting) if each.tasting_id != made.tasting_id)
    assert all(len(shares) == 2 for _, shares in bench.arms[1:])
    cellar.store.remove(bench)


def test_ballots_name_no_drink(cellar, made):
    store = cellar.store
    paper = ballots(store, made, lambda taster: f"http://cellar.example/taste/{taster.token}")
    for name, shares in made.arms:
        assert name not in paper
        assert shares[0][0] not in paper
    assert made.name not in paper
    assert paper.count("<section>") == 2
    assert "data:image/svg+xml" in paper


def test_a_batch_that_is_removed_leaves_its_tasting_readable(cellar, made, page):
    record = cellar.store.get(BatchRecord, made.arms[0][1][0][0])
    judge(cellar.store, made, "Ana", (80.0, 30.0))
    tastings.end(cellar.store, made)
    cellar.store.remove(record)
    assert made.arms[0][0] in everything(page("tasting", id=made.tasting_id))
    cellar.store.undo()


@pytest.mark.parametrize(
    ("ends", "said"),
    [((0, 2), "at most two times"), ((0, 1), "at most once"), ((1, 1), "once"), ((1, 2), "one to two times"),
     ((4, 4), "four times"), ((2, 3), "two to three times"), ((0, 0), "no times")],
)  # fmt: skip
def test_how_even_the_orders_are_is_said_as_people_count(ends, said):
    assert host._times(ends) == said
