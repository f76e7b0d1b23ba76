"""What the cellar has learnt: each belief is the one that the next forecast starts from."""

from __future__ import annotations

import pytest

from analysis import Batch, FinishedBatch, Priors, learn
from analysis.trials import beliefs
from tests.analysis.curves import PITCHED, every_half_hour, s_curve, sent


@pytest.fixture(scope="module")
def learnt():
    hours = every_half_hour(10.0)
    ends = {"b1": ("Marrow", 1.009), "b2": ("Marrow", 1.0085), "b3": ("Dune", 1.016)}
    return learn(
        FinishedBatch(
            Batch(pitched_at=PITCHED, original_gravity_sg=1.051, yeast=yeast, drink="ale"),
            sent(hours, s_curve(hours, end=end), seed=n),
            name,
        )
        for n, (name, (yeast, end)) in enumerate(ends.items())
    )


def test_a_drink_and_each_of_its_yeasts_have_a_belief_with_the_batches_behind_it(learnt):
    found = beliefs(learnt)
    assert [(b.drink, b.yeast, b.names) for b in found] == [
        ("ale", None, ("b1", "b2", "b3")),
        ("ale", "Dune", ("b3",)),
        ("ale", "Marrow", ("b1", "b2")),
    ]


def test_what_is_believed_is_where_the_next_forecast_starts(learnt):
    _, dune, marrow = beliefs(learnt)
    prior = learnt.prior(Batch(pitched_at=PITCHED, drink="ale", yeast="Marrow"))
    assert marrow.attenuation.p50 == pytest.approx(prior.expected_attenuation)
    assert dune.attenuation.p50 < marrow.attenuation.p50
    usual = Priors().prior(Batch(pitched_at=PITCHED, drink="ale"))
    assert marrow.attenuation_before.p50 == pytest.approx(usual.expected_attenuation)
    for each in (dune, marrow):
        assert each.attenuation.p90 - each.attenuation.p10 < each.attenuation_before.p90 - each.attenuation_before.p10
        assert each.half_h.p10 < each.half_h.p50 < each.half_h.p90
    # Two batches tell more of a yeast than one.
    assert marrow.attenuation.p90 - marrow.attenuation.p10 < dune.attenuation.p90 - dune.attenuation.p10


def test_an_empty_cellar_believes_nothing():
    assert beliefs(Priors()) == ()
