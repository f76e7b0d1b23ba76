"""Trials on their page: entered, answered, changed and taken back."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from analysis.wording import successor_sentences
from dashboard.queries import queries, tastings, trials
from dashboard.screens.several import wort
from dashboard.screens.several.rows import Row
from ingest.model import EventRecord, TrialRecord
from ingest.monitoring import AFTER, origin, trial_facts, trial_page
from ingest.tastings import Tasting


def html_of(shown):
    return " ".join(str(each.value) for each in shown.get("html"))


@pytest.fixture
def two(cellar):
    """Two ended batches of one wort that differ in the yeast."""
    store = cellar.store
    made = [store.save(replace(cellar.batches[f"ended {n}"], split_of="Twin wort")) for n in ("Marrow", "Dune")]
    yield made
    for trial in store.all(TrialRecord):
        store.remove(trial)
    for name in ("Marrow", "Dune"):
        store.save(cellar.batches[f"ended {name}"])


@pytest.fixture
def trial(cellar, two):
    return cellar.store.save(
        TrialRecord(
            trial_id="t",
            name="Two yeasts",
            question="Which is drier?",
            arms=tuple((b.yeast, b.batch_id) for b in two),
            decides="apparent_attenuation",
            equal="one mash",
        )
    )


def test_a_trial_leads_with_its_question_and_answers_with_a_chance(cellar, trial, page):
    text = html_of(page("trials", id="t"))
    assert "Which is drier?" in text
    assert "Dune attenuates further than Marrow" in text
    assert "Only the yeast differs." in text
    assert "One vessel an arm compares vessels as much as arms." in text
    assert "Two vessels an arm would tell arms from vessels." in text
    assert "Milestones, with ranges of eight chances in ten" in text
    assert "One mash" in text
    assert "equal, as you say" in text


def test_what_all_arms_have_alike_is_said_once_and_what_differs_of_each(cellar, trial, page):
    text = html_of(page("trials", id="t"))
    row = re.search(r"<tr[^>]*><td[^>]*>Wort</td>.*?</tr>", text, re.S)
    assert row is not None
    assert row[0].count("Twin wort") == 1
    assert "equal: Twin wort" in row[0]
    differs = re.search(r"<tr[^>]*><td[^>]*>Yeast</td>.*?</tr>", text, re.S)
    assert differs is not None
    assert re.findall(r">([^<>]+)</td>", differs[0]) == ["Yeast", "differs", "Marrow", "Dune"]


def test_the_curves_of_a_trial_can_be_read_without_aiming_at_a_line(cellar, trial, page):
    shown = page("trials", id="t")
    assert "Apparent attenuation, %" not in html_of(shown), "it is made where it is opened"
    shown.session_state["values t"] = True
    shown.run()
    text = html_of(shown)
    for title in ("Apparent attenuation, %", "Temperature, °C"):
        [table] = re.findall(rf'aria-label="{title}".*?</table>', text, re.S)
        # A row a day, from the day of pitching on.
        days = re.findall(r"<tr[^>]*><td[^>]*>(\d+)</td>", table)
        assert days == [str(n) for n in range(len(days))]
        assert len(days) > 4


def test_all_trials_are_listed_and_an_empty_cellar_says_what_one_is(cellar, two, page):
    assert "What do you want to know?" in html_of(page("trials"))
    cellar.store.save(
        TrialRecord(name="Two yeasts", question="Why?", arms=(("a", two[0].batch_id), ("b", two[1].batch_id)))
    )
    text = html_of(page("trials"))
    assert "One trial." in text
    assert "Why? Too few batches to tell: that" in text
    assert "This address names no trial" in html_of(page("trials", id="gone"))


def test_a_trial_is_entered_with_arms_named_by_what_they_have_of_their_own(cellar, two, page):
    shown = page("trials")
    shown.multiselect[0].set_value([b.batch_id for b in two])
    shown.run()
    names = {t.label: t.value for t in shown.text_input if t.label.startswith("Arm of ")}
    assert sorted(names.values()) == ["Dune", "Marrow"]
    shown.text_input[0].set_value("Spring")
    shown.button[0].click().run()
    [made] = cellar.store.all(TrialRecord)
    assert made.name == "Spring"
    assert shown.query_params["id"] == made.trial_id  # its page follows
    assert sorted(made.arms) == sorted((b.yeast, b.batch_id) for b in two)
    assert cellar.store.undo().startswith("Taken back: Added trial Spring")


def test_a_trial_without_a_name_is_refused_beside_the_field(cellar, two, page):
    shown = page("trials")
    shown.multiselect[0].set_value([b.batch_id for b in two])
    shown.run()
    shown.button[0].click().run()
    assert "The name is empty" in html_of(shown)
    assert cellar.store.all(TrialRecord) == []


def test_the_entries_of_the_batches_say_what_differs(cellar, trial, two):
    store = cellar.store
    hops = store.save(
        EventRecord(batch_id=two[0].batch_id, kind="dry hop", at=two[0].ended_at, amount_g=40.0, hop_variety="Plover")
    )
    found = trials.findings(trial)
    assert found.design.differing == ("yeast", "hop variety")
    store.remove(hops)
    assert trials.findings(trial).design.differing == ("yeast",)


def test_the_facts_have_the_keys_that_the_manual_names(cellar, trial):
    facts = trial_facts(trials.findings(trial), cellar.store.preferences().units)
    assert list(facts) == [
        "question", "arms", "differs", "equal", "milestones", "tasting", "agreement", "conclusion", "chance",
    ]  # fmt: skip
    assert [arm["arm"] for arm in facts["arms"]] == ["Marrow", "Dune"]
    assert facts["differs"] == ["yeast"]
    assert "one mash" in facts["equal"]
    assert {row["arm"] for row in facts["milestones"]} == {"Marrow", "Dune"}
    assert facts["tasting"] is None
    assert 0.5 < facts["chance"] < 1.0
    # By hand: Marrow went from 1.052 to 1.011, Dune to 1.009; in °P 12.84 to 2.81 and to 2.31.
    told = {row["arm"]: row for row in facts["milestones"] if row["milestone"] == "apparent_attenuation"}
    for arm, end in (("Marrow", 2.81), ("Dune", 2.31)):
        assert told[arm]["p10"] - 0.02 < 1 - end / 12.84 < told[arm]["p90"] + 0.02


def test_the_next_batch_is_drafted_from_the_leader_and_says_what_changed(cellar, trial, two, page):
    store = cellar.store
    dune = two[1]
    assert f"like={dune.batch_id}&amp;trial=t" in html_of(page("trials", id="t"))
    shown = page("several", part="wort", like=dune.batch_id, trial="t")
    assert "The next batch after the trial" in html_of(shown)
    named = {each.label: each.value for each in (*shown.text_input, *shown.selectbox)}
    assert named["Name of the wort"] == dune.name
    assert named["Yeast for all"] == "Dune"
    common = {
        "name": "Dune again", "drink": "ale", "yeast": "Dune", "pitched_at": dune.pitched_at, "dry_hops": 0.0,
        "original_gravity_sg": 1.052, "volume_l": None, "notes": "",
    }  # fmt: skip
    row = Row(0, "New jug", None, None, None)
    made = store.save_many(wort.records(store, common, [row], dune, trial), "Made the next")
    assert made
    [after] = trials.came_after(trial)
    assert (after.record.name, after.before) == ("Dune again", dune)
    assert after.changed == ()
    text = html_of(page("trials", id="t"))
    assert "What was made of it" in text
    assert "It has not finished yet." in text
    assert "Made after the trial" in html_of(page("batch", id=after.record.batch_id))
    # As last time of that one: where it came from is not where the next one comes from.
    assert wort.plan_like(store, after.record, None).keys().isdisjoint(origin(trial, dune))
    store.undo()
    assert trials.came_after(trial) == []


def test_a_successor_that_differs_says_in_what_and_whether_it_got_better(cellar, trial, two):
    store = cellar.store
    like = store.save(replace(two[1], plan={**two[1].plan, **origin(trial, two[0])}))
    [after] = trials.came_after(trial)
    told = successor_sentences(after.changed, after.conclusion, AFTER, store.preferences().units)
    assert after.changed == ("yeast",)
    assert told[0] == "Changed: yeast."
    assert "attenuates further than the one before" in told[1]
    store.save(replace(like, plan=two[1].plan))


def tasted(store, two, scores, *, method="score", trial_id=None):
    """A tasting of both arms by tasters who all say the same points of each."""
    arms = tuple((f"glass of {b.yeast}", ((b.batch_id, 1.0),)) for b in two)
    names = tuple(f"Taster {n}" for n in range(6))
    tasting = tastings.make(store, tastings.Draft("Friday", method, arms, names, (), "none added", trial_id))
    for n, taster in enumerate(tastings.tasters_of(store, tasting)):
        for code in tastings.codes_of(tasting, taster):
            arm = dict(tasting.glasses)[code]
            draft = tastings.draft_of(store, taster, code)
            tastings.keep_glass(store, taster, replace(draft, score=scores[arm] + n % 3))
    return tasting


def test_a_tasting_of_the_arms_reaches_page_report_and_conclusion_once_it_is_over(cellar, trial, two, page):
    store = cellar.store
    decided = store.save(replace(trial, decides="tasting"))
    tasting = tasted(store, two, (40.0, 82.0))
    assert trials.findings(decided).tasting is None  # nobody is told before it is over
    tastings.end(store, tasting)
    found = trials.findings(decided)
    facts = trial_facts(found, store.preferences().units)
    assert {d["drink"] for d in facts["tasting"]["drinks"]} == {"glass of Marrow", "glass of Dune"}
    assert facts["agreement"]["kendall_w"] == pytest.approx(1.0)
    assert found.conclusion.leader == "Dune"
    assert facts["chance"] == found.conclusion.chance > 0.9
    assert facts["conclusion"].startswith("Dune")
    text = html_of(page("trials", id="t"))
    assert "<h2>Tasting</h2>" in text
    assert text.count("can say little") == str(trial_page(found, queries.voice())).count("can say little") == 1
    measured = replace(found, record=trial)  # a milestone decides: then the tasting is told by itself
    assert trial_page(measured, queries.voice()).lists[0][0] == "Tasting"
    for taster in tastings.tasters_of(store, tasting):
        store.remove(taster)
    store.remove(store.get(Tasting, tasting.tasting_id))


def test_a_tasting_that_a_trial_asks_for_calls_its_drinks_by_their_arms(cellar, trial, page):
    shown = page("tasting", trial="t")
    shown.text_area[0].set_value("Ana")
    next(b for b in shown.button if b.label == "Make the tasting").click().run()
    [made] = cellar.store.all(Tasting)
    assert {name for name, _ in made.arms} == {"Marrow", "Dune"}
    cellar.store.remove(made)


def test_a_tasting_of_something_else_is_not_the_trials(cellar, trial, two):
    store = cellar.store
    other = tasted(store, [two[0], cellar.batches["held"]], (40.0, 82.0))
    tastings.end(store, other)
    assert trials.findings(trial).tasting is None
    store.remove(store.get(Tasting, other.tasting_id))


def test_two_windows_change_one_trial_without_overwriting_one_another(cellar, trial, page):
    mine = page("trials", id="t")
    cellar.store.save(replace(trial, notes="of the other window"))
    next(t for t in mine.text_input if t.label == "Question").set_value("Which is drier, really?")
    next(b for b in mine.button if b.label == "Save the trial").click().run()
    now = cellar.store.get(TrialRecord, "t")
    assert (now.question, now.notes) == ("Which is drier, really?", "of the other window")
