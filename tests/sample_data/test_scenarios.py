"""The simulator must be a fair judge: its truth consistent, its sets reproducible, its physics plausible."""

import numpy as np
import polars as pl
import pytest

from analysis.schemas import READINGS
from sample_data.kinetics import FALL_PER_SUGAR, SG_PER_EXTRACT, Recipe, simulate, temperature_factor
from sample_data.runs import Run, finish_hour
from sample_data.scenarios import SCENARIOS, make_set


@pytest.fixture(scope="module", params=["sugars", "tails"])
def runs(request: pytest.FixtureRequest) -> list[Run]:
    return make_set(502, 60, 6, request.param)[0]


def test_a_set_is_a_function_of_its_seed_and_sets_differ() -> None:
    one, other, third = (make_set(seed, 2, 0)[0] for seed in (503, 503, 504))
    for a, b in zip(one, other, strict=True):
        np.testing.assert_array_equal(a.gravity_sg, b.gravity_sg)
    assert not np.array_equal(one[0].gravity_sg[:50], third[0].gravity_sg[:50])


def test_every_scenario_and_kind_occurs(runs: list[Run]) -> None:
    assert len({r.scenario for r in runs}) >= len(SCENARIOS) - 2
    assert {r.kind for r in runs} == {"ale", "farmhouse", "lager", "mead", "cider", "high gravity"}


def test_gravity_never_rises_by_itself(runs: list[Run]) -> None:
    for run in runs:
        assert (np.diff(run.fall_sg) >= -1e-9).all(), run.name


def test_after_the_true_finish_less_than_a_point_falls_for_good(runs: list[Run]) -> None:
    ordinary = [r for r in runs if r.scenario == "ordinary"]
    assert ordinary
    for run in ordinary:
        for era in run.eras:
            assert era.finish_h is not None
            if era is run.eras[-1]:
                assert run.fall_sg[-1] - run.fallen(era.finish_h) < 0.001 + 1e-9, run.name
                if era.finish_h > era.from_h:
                    assert run.fall_sg[-1] - run.fallen(era.finish_h - 1) > 0.0009, run.name


def test_what_stalls_or_is_chilled_early_has_no_finish_while_it_stands(runs: list[Run]) -> None:
    for run in runs:
        if run.stalled_h is not None:
            middle = min(sum(run.stalled_h) / 2, run.stalled_h[0] + 60)
            assert run.stalled(middle)
            assert run.era(middle).finish_h is None
            assert run.remaining(middle) > 0.003, run.name
        if run.chilled_early_h is not None:
            assert run.era(run.chilled_early_h + 48).finish_h is None
            assert run.remaining(run.chilled_early_h + 48) > 0.002, run.name


def test_rows_that_come_later_are_not_seen_and_events_not_known(runs: list[Run]) -> None:
    for run in runs[:12]:
        early, late = run.readings(40.0), run.readings(80.0)
        assert early.height < late.height
        assert late.head(early.height).equals(early)
        assert early["measured_at"].max() <= run.when(40.0)  # type: ignore[operator]
        assert all(e.at <= run.when(40.0) for e in run.known(40.0).events)
        assert dict(early.schema) == dict(READINGS)


def test_readings_are_truth_plus_the_sins_of_a_float(runs: list[Run]) -> None:
    far = []
    for run in runs:
        floats = run.by_hand < 0.5
        true = np.interp(run.at_h[floats], run.times_h, run.true_gravity_sg)
        far.append(np.median(np.abs(run.gravity_sg[floats] - true)))
    assert 0.0002 < np.median(far) < 0.004


def test_all_sugar_that_can_be_fermented_is_in_the_end() -> None:
    recipe = Recipe(129.0, (13.0, 6.0, 55.0, 16.0))
    steps = 48 * 60
    course = simulate([recipe], np.full((1, steps), 19.0), np.ones((1, steps)))
    assert course.fall_sg[0, -1] == pytest.approx(90.0 * FALL_PER_SUGAR, rel=0.005)
    # 129 g/L is about 12.4 °P; the usual tables have 1.0499 to 1.0503 for it (from memory).
    assert pytest.approx(1.050, abs=0.0005) == 1 + 129.0 * SG_PER_EXTRACT


@pytest.mark.parametrize("law", ["cardinal", "arrhenius", "square root"])
def test_warmth_speeds_and_cold_nearly_stops(law: str) -> None:
    recipe = Recipe(129.0, (13.0, 6.0, 55.0, 16.0), law=law)
    factor = temperature_factor(recipe, np.array([2.0, 14.0, 19.0, 24.0, 40.0]))
    assert factor[2] == pytest.approx(1.0, rel=0.1)
    assert factor[0] < 0.1 < factor[1] < factor[2] < factor[3]
    assert factor[4] < 0.5 * factor[3]


def test_the_finish_of_a_known_exponential_is_where_a_point_is_left() -> None:
    hours = np.arange(0, 2000, 0.5)
    fall = 0.040 * (1 - np.exp(-hours / 30))
    assert finish_hour(hours, fall) == pytest.approx(30 * np.log(40), abs=0.5)


def test_the_analysis_knows_nothing_of_the_simulator() -> None:
    from pathlib import Path

    import analysis

    for path in Path(str(analysis.__file__)).parent.rglob("*.py"):
        assert "sample_data" not in path.read_text(), path.name


def test_earlier_batches_hold_readings_to_their_end() -> None:
    _, earlier = make_set(502, 4, 12)
    for finished in earlier:
        assert finished.readings.height > 50
        span = finished.readings.select(pl.col("measured_at").max() - pl.col("measured_at").min()).item()
        assert span.total_seconds() > 3 * 86_400
