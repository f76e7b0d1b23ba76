"""What one finished batch teaches: what happened to it must not pass for a habit of its yeast."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, replace
from typing import Any

import numpy as np
import polars as pl
import pytest

from analysis import Batch, Event, FinishedBatch, Priors, learn
from analysis.inference.population import STAGES, BatchLikelihood, Correction
from analysis.inference.prior import FEATURES
from analysis.inference.training import Hindsight, batch_likelihood, replay

Ferment = Callable[..., Any]
WIDE = Priors(shipped={})
"""What batches are learnt from: nothing that shipped."""


def finished(made: Any, *events: Event) -> FinishedBatch:
    batch = Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale", yeast="Marrow", events=events)
    return FinishedBatch(batch, made.readings)


def hindsight(one: FinishedBatch) -> Hindsight:
    taught = batch_likelihood(one, WIDE)
    assert not isinstance(taught, str)
    return taught[1]


def late_by_h(one: FinishedBatch, finish_h: float) -> float:
    return float(np.median(hindsight(one).finish_h)) - finish_h


@pytest.mark.parametrize("seed", range(4))
def test_a_plain_batch_is_known_to_have_finished_when_it_did(fermentation: Ferment, seed: int) -> None:
    made = fermentation(seed=seed)
    assert abs(late_by_h(finished(made), made.finish_h)) < 15.0


@pytest.mark.parametrize("seed", range(4))
def test_a_plateau_on_the_way_is_no_habit(fermentation: Ferment, seed: int) -> None:
    made = fermentation(seed=seed)
    held_up = made.paused(45.0, 85.0)
    one = finished(held_up)
    assert abs(late_by_h(one, held_up.finish_h)) < 20.0
    plain, its = batch_likelihood(finished(made), WIDE), batch_likelihood(one, WIDE)
    assert not isinstance(plain, str)
    assert not isinstance(its, str)
    assert plain[0].ending is not None
    assert its[0].ending is not None
    assert abs(its[0].ending[0] - plain[0].ending[0]) < 0.5


@pytest.mark.parametrize("seed", range(4))
def test_what_hops_bring_about_is_no_long_tail(fermentation: Ferment, seed: int) -> None:
    """Hops go in a day after the end and take four more points away over two weeks."""
    made = fermentation(seed=seed, days=30)
    at_h = made.finish_h + 24.0
    creep = 0.004 * -np.expm1(-np.maximum(made.hours - at_h, 0.0) / 90.0)
    hopped = replace(made, readings=made.readings.with_columns(pl.col("gravity_sg") - pl.Series(creep)))
    assert abs(late_by_h(finished(hopped, Event("dry hop", made.at(at_h))), made.finish_h)) < 60.0


@pytest.mark.parametrize("seed", range(4))
def test_what_a_float_says_in_the_cold_is_not_what_fermented(fermentation: Ferment, seed: int) -> None:
    """After the end it is chilled, and the float reads two points lower there, slowly."""
    made = fermentation(seed=seed, days=24)
    cold_h = made.finish_h + 48.0
    cold = np.clip((made.hours - cold_h) / 24.0, 0.0, 1.0)
    sinks = 0.002 * -np.expm1(-np.maximum(made.hours - cold_h, 0.0) / 60.0)
    chilled = replace(
        made,
        readings=made.readings.with_columns(
            pl.col("temperature_c") - 18.0 * pl.Series(cold), pl.col("gravity_sg") - pl.Series(sinks)
        ),
    )
    assert abs(late_by_h(finished(chilled), made.finish_h)) < 30.0


def test_a_batch_is_played_again_as_if_it_were_not_known(
    fermentation: Ferment, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However many others there are: what is known of a batch from itself would flatter our forecasts of it."""
    those = [finished(fermentation(seed=k, half_h=40.0 + k, days=10, spacing_h=1.0)) for k in range(10)]
    known: dict[int, tuple[BatchLikelihood, ...]] = {}

    def seen(one: FinishedBatch, priors: Priors, _: Hindsight) -> tuple[tuple[float, ...], tuple[float, ...]]:
        known[next(k for k, x in enumerate(those) if x is one)] = priors.likelihoods["ale"]
        return (), ()

    monkeypatch.setattr("analysis.inference.training.replay", seen)
    likelihoods = learn(those).likelihoods["ale"]
    assert len(likelihoods) == len(those)
    assert sorted(known) == list(range(len(those)))
    for k, others in known.items():
        assert [x.pull for x in others] == [x.pull for x in likelihoods[:k] + likelihoods[k + 1 :]]


def test_a_batch_that_was_cold_from_the_start_teaches_nothing(fermentation: Ferment) -> None:
    made = fermentation(temperature_c=lambda h: np.where(h < 3.0, 20.0, 2.0))
    assert batch_likelihood(finished(made), WIDE) == "hardly fermented"


def test_a_batch_hopped_before_its_last_stage_is_not_played_again(fermentation: Ferment) -> None:
    made = fermentation()
    plain, hopped = finished(made), finished(made, Event("dry hop", made.at(60.0)))
    assert len(replay(plain, Priors(), hindsight(plain))[0]) == len(STAGES)
    assert replay(hopped, Priors(), hindsight(hopped)) == ((), ())


def test_a_known_finish_is_missed_by_one_number(fermentation: Ferment) -> None:
    made = fermentation()
    one = finished(made)
    known = hindsight(one)
    for off_h, sign in ((-40.0, -1), (60.0, 1)):
        misses, unsure = replay(one, Priors(), Hindsight(known.reached_h, np.full(9, made.finish_h + off_h)))
        assert np.all(np.sign(misses) == sign)
        assert unsure == (0.0,) * len(STAGES)


def test_what_hindsight_leaves_open_counts_as_spread() -> None:
    """Misses of nought that may as well have been of one are no proof of good forecasts."""
    size = len(FEATURES)

    def missed(unsure: float) -> BatchLikelihood:
        return replace(
            BatchLikelihood.of(
                np.eye(size), np.zeros(size), yeast=None, lingers=False, strength=0.0, ending=(0.0, 1.0)
            ),
            misses=(0.0,) * len(STAGES),
            unsure=(unsure,) * len(STAGES),
        )

    sure, open_ = (Correction.unknown().leaning([missed(v)] * 200, pull=3.0).spread for v in (0.0, 1.0))
    assert np.all(open_ > sure)
    np.testing.assert_allclose(open_, 1.0, atol=0.02)


def test_a_batch_is_seen_in_the_light_of_the_others_not_of_its_own_lesson(
    fermentation: Ferment, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also in the second look, by which its finish is known against which the forecasts of it are judged."""
    those = [
        replace(finished(fermentation(seed=k, half_h=40.0 + k, days=10, spacing_h=1.0)), name=f"batch {k}")
        for k in range(3)
    ]
    known: list[tuple[str, set[str]]] = []
    real = batch_likelihood

    def seen(one: FinishedBatch, priors: Priors) -> Any:
        known.append((one.name, set(priors.lessons())))
        return real(one, priors)

    monkeypatch.setattr("analysis.inference.training.batch_likelihood", seen)
    priors = learn(those)
    every = {one.name for one in those}
    assert known[3:] == [(one.name, every - {one.name}) for one in those]
    assert set(priors.lessons()) == every
    assert set(priors.without("batch 1").lessons()) == every - {"batch 1"}
    assert Priors.from_json(priors.to_json()).lessons() == priors.lessons()


def notebook(made: Any, every_h: float, until_h: float = 1e9) -> FinishedBatch:
    """The same fermentation by a hydrometer, read to a point."""
    at = np.arange(every_h, min(float(made.hours[-1]), until_h), every_h)
    read = np.round(np.interp(at, made.hours, made.gravity_sg), 3)
    rows = pl.DataFrame(
        {
            "measured_at": [made.at(float(h)) for h in at],
            "gravity_sg": read,
            "temperature_c": np.full(at.size, 20.0),
            "by_hand": np.full(at.size, True),
        }
    )
    batch = Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale", yeast="Marrow")
    return FinishedBatch(batch, rows, f"every {every_h} h")


def test_a_notebook_teaches_speed_and_attenuation_but_no_tail(fermentation: Ferment) -> None:
    """Five to fifteen readings a batch are most people's history."""
    quick = [notebook(fermentation(seed=k, half_h=22.0, days=9), 36.0) for k in range(4)]
    taught = learn(quick)
    assert [one.extent for one in taught.likelihoods["ale"]] == ["by hand"] * 4
    new = Batch(pitched_at=quick[0].batch.pitched_at, original_gravity_sg=1.052, drink="ale", yeast="Marrow")
    before, after = Priors().prior(new), taught.prior(new)
    assert after.sd[FEATURES.index("log_rate")] < 0.8 * before.sd[FEATURES.index("log_rate")]
    assert after.attenuation_sd < 0.8 * before.attenuation_sd
    assert after.same_drink == 4
    precision = np.zeros((len(FEATURES), len(FEATURES)))
    precision[np.tril_indices(len(FEATURES))] = taught.likelihoods["ale"][0].precision
    told = {name for name, row in zip(FEATURES, precision + precision.T, strict=True) if row.any()}
    assert told == {"log_rate", "log_lag", "attenuation"}


def test_the_more_seldom_a_notebook_was_kept_the_less_it_says_of_the_end(fermentation: Ferment) -> None:
    made = fermentation(half_h=40.0, days=14)

    def said(one: FinishedBatch) -> float:
        taught = batch_likelihood(one, WIDE)
        assert not isinstance(taught, str)
        assert taught[0].ending is not None
        return taught[0].ending[1]

    by_float, daily, seldom = (said(one) for one in (finished(made), notebook(made, 24.0), notebook(made, 60.0)))
    assert by_float < daily < seldom


def test_forecasts_of_a_daily_notebook_are_judged_by_the_days_between_which_it_ended(fermentation: Ferment) -> None:
    made = fermentation(half_h=130.0, days=40)
    priors = learn([notebook(fermentation(seed=k, half_h=130.0, days=40), 24.0) for k in range(2)])
    assert all(len(one.misses) == len(STAGES) for one in priors.likelihoods["ale"])
    finish = hindsight(notebook(made, 24.0)).finish_h
    assert float(np.std(finish)) >= 24.0 / 12.0**0.5
    # Of readings so seldom, nobody could have said anything at half of the fall.
    seldom = learn([notebook(made, 60.0)]).likelihoods["ale"][0]
    assert seldom.misses == ()


def test_a_fed_batch_teaches_and_one_that_stalled_tells_of_speed_alone(fermentation: Ferment) -> None:
    made = fermentation(days=12)
    fed = made.readings.with_columns(
        pl.col("gravity_sg") + pl.Series(np.where(made.hours >= 60.0, 0.008 * np.exp(-(made.hours - 60.0) / 25.0), 0.0))
    )
    one = replace(finished(made, Event("feed", made.at(60.0))), readings=fed, name="fed")
    taught = batch_likelihood(one, WIDE)
    assert not isinstance(taught, str)
    assert taught[0].extent == "additions"
    assert taught[0].ending is not None
    again = BatchLikelihood.from_dict(json.loads(json.dumps(asdict(taught[0]))))
    assert again == taught[0]
    # Where three fifths were over it stood for good: nobody knows from it where such a batch ends.
    stands_sg = 1.052 - 0.6 * (1.052 - made.gravity_sg[-1])
    stood = np.maximum(made.gravity_sg, stands_sg)
    stalled = replace(
        finished(made),
        readings=made.readings.with_columns(gravity_sg=pl.Series(stood) + 0.0003 * np.sin(made.hours)),
        name="stalled",
    )
    priors = learn([stalled], start=WIDE)
    assert priors.lessons()["stalled"] == "beginning"
    batch = Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale")
    assert priors.prior(batch).same_drink == 0


def test_what_teaches_nothing_is_named_with_the_reason(fermentation: Ferment) -> None:
    made = fermentation()
    few = replace(notebook(made, 24.0, until_h=80.0), name="few")
    assert few.readings.height == 3
    none = replace(few, readings=few.readings.clear(), name="none")
    assert learn([few, none]).untaught == {"few": "few readings", "none": "no readings"}
