from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.yeast_comparison import Outcome, compare
from tests.benchmarks.comparisons import Tally, World, draw
from tests.examples import examples


def outcome(n: int, yeast: str, days: float, attenuation: float = 0.77, **facts) -> Outcome:
    facts = {"drink": "ale", "temperature_c": 19.0, "original_gravity_sg": 1.050, **facts}
    return Outcome(batch_id=f"b{n}", name=f"Batch {n}", yeast=yeast, finish_days=days, attenuation=attenuation, **facts)


def difference(outcomes, quantity="finish_days"):
    [found] = [d for d in compare(outcomes)[0].differences if d.quantity == quantity]
    return found


def many(rng, yeast, mean, n=12, start=0):
    return [outcome(start + i, yeast, float(mean * np.exp(rng.normal(0, 0.08)))) for i in range(n)]


def test_a_clear_difference_is_found_with_its_size():
    rng = np.random.default_rng(1)
    found = difference([*many(rng, "Dune", 7.0), *many(rng, "Marrow", 5.5, start=50)])
    assert (found.first, found.second, found.verdict) == ("Dune", "Marrow", "differ")
    assert found.amount.p10 < 1.5 < found.amount.p90


def test_two_batches_are_too_few_to_tell_apart():
    assert difference([outcome(1, "Dune", 6.0), outcome(2, "Marrow", 5.7)]).verdict == "open"


def test_the_same_yeast_under_two_names_is_found_alike_in_the_end():
    rng = np.random.default_rng(2)
    found = difference([*many(rng, "Dune", 6.0, 60), *many(rng, "Marrow", 6.0, 60, start=100)])
    assert found.verdict == "alike"


def test_a_yeast_that_only_stood_warmer_is_not_praised_for_it():
    rng = np.random.default_rng(3)

    def at(yeast, temperature, start):
        time = 6.0 * np.exp(-0.069 * (temperature - 19))
        return [
            outcome(start + i, yeast, float(time * np.exp(rng.normal(0, 0.05))), temperature_c=temperature)
            for i in range(6)
        ]

    cold_and_warm = [*at("Dune", 17.0, 0), *at("Marrow", 21.0, 10)]
    assert difference(cold_and_warm).verdict != "differ"


def test_halves_of_one_wort_are_compared_with_one_another():
    # Worts differ far more than the two yeasts do; only the pairing shows that Marrow is always a little sooner.
    split, apart = [], []
    for n, wort in enumerate((4.0, 6.0, 9.0, 5.0, 7.5)):
        for k, (yeast, factor) in enumerate((("Dune", 1.06), ("Marrow", 0.94))):
            split.append(outcome(10 * n + k, yeast, wort * factor, split_of=f"wort {n}"))
            apart.append(outcome(10 * n + k, yeast, wort * factor))
    width = lambda found: found.amount.p90 - found.amount.p10  # noqa: E731
    assert width(difference(split)) < width(difference(apart))
    assert difference(split).p_below < difference(apart).p_below


def test_drinks_are_not_mixed():
    outcomes = [outcome(1, "Dune", 5), outcome(2, "Dune", 5), outcome(3, "Dune", 30, drink="mead")]
    assert [c.drink for c in compare(outcomes)] == ["ale"]


def test_a_batch_without_a_date_still_counts_for_attenuation():
    outcomes = [outcome(1, "Dune", 5), outcome(2, "Dune", 5), outcome(3, "Marrow", 5)]
    outcomes.append(Outcome(batch_id="x", name="x", yeast="Tor", drink="ale", finish_days=None, attenuation=0.7))
    [found] = compare(outcomes)
    tor = next(y for y in found.yeasts if y.yeast == "Tor")
    assert tor.finish_days is None
    assert tor.attenuation is not None


def test_no_batches_give_no_comparison():
    assert compare([]) == ()


@settings(max_examples=examples(15), deadline=None)
@given(st.integers(0, 10_000))
def test_swapping_the_names_swaps_the_sign(seed):
    rng = np.random.default_rng(seed)
    a, b = many(rng, "A", 5.0, 5), many(rng, "B", 6.0, 4, start=50)
    one = difference([*a, *b])
    swapped = [
        Outcome(
            batch_id=o.batch_id,
            name=o.name,
            yeast={"A": "B", "B": "A"}[o.yeast],
            drink="ale",
            finish_days=o.finish_days,
            attenuation=o.attenuation,
            temperature_c=o.temperature_c,
            original_gravity_sg=o.original_gravity_sg,
        )
        for o in (*a, *b)
    ]
    other = difference(swapped)
    assert other.amount.p50 == pytest.approx(-one.amount.p50, abs=1e-9)
    assert other.p_below == pytest.approx(1 - one.p_below, abs=1e-9)


def simulated(world: World, count: int, seed: int) -> Tally:
    rng, tally = np.random.default_rng(seed), Tally()
    for _ in range(count):
        tally.add(draw(rng, world, "apparent_attenuation"), "apparent_attenuation")
    return tally


def test_the_intervals_hold_as_often_as_they_say():
    # A short run of `tests/benchmarks/comparisons.py`, whose 500 comparisons a kind are for the figures: two to five
    # yeasts, one to five batches each, some of one wort. Differences of one comparison hang together: as if of 40
    # independent ones, three standard errors of a proportion of 0.8 are 0.19; of about 190 they are 0.087.
    tally = simulated(World("as expected"), 40, 11)
    assert 0.68 <= tally.held / tally.differences <= 0.92
    assert tally.wrong_way == 0
    assert tally.claimed > 0


def test_where_yeasts_do_not_differ_none_is_praised():
    # At most one comparison in twenty may claim a difference: of 40, five or more have a chance of 0.05.
    assert simulated(World("none", between=0.0), 40, 12).claiming <= 4


def test_what_is_not_known_counts_for_less_and_not_for_the_usual():
    # Four batches of each at 19 °C differ plainly; where nobody noted how warm half of them stood, less plainly.
    known = [outcome(n, "Dune", 7.0 + 0.1 * n) for n in range(4)] + [outcome(9 + n, "Marrow", 5.6) for n in range(4)]
    half = [replace(o, temperature_c=None) if o.yeast == "Dune" else o for o in known]
    wide, narrow = difference(half).amount, difference(known).amount
    assert wide.p90 - wide.p10 > narrow.p90 - narrow.p10


def test_too_few_batches_come_with_how_many_more_would_tell():
    found = difference([outcome(1, "Dune", 8.0), outcome(2, "Marrow", 5.2)])
    assert found.verdict == "open"
    assert 1 <= found.more_batches <= 30
    assert (
        difference(
            [*many(np.random.default_rng(4), "Dune", 9.0), *many(np.random.default_rng(5), "Marrow", 5.0, start=50)]
        ).more_batches
        is None
    )


def test_a_difference_is_claimed_only_beyond_the_margin_that_matters():
    # Sixty of each tell a difference of 0.3 days surely, and half a day is what matters.
    rng = np.random.default_rng(6)
    found = difference([*many(rng, "Dune", 6.3, 60), *many(rng, "Marrow", 6.0, 60, start=100)])
    assert found.p_below < 0.02
    assert found.margin == pytest.approx(0.5)
    assert found.verdict != "differ"
    assert found.p_exceeds < 0.5
