from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from analysis import Assessment, Batch, Event, assess
from analysis.display_units import DisplayUnits
from analysis.errors import ReadingsError
from analysis.evidence import Advice, StandsByCurve
from analysis.model import PHASES
from analysis.schemas import COURSE, MARKED
from analysis.thresholds import STOOD_H, VAGUE_H
from analysis.wording.evidence import advice_sentences, sentences

Ferment = Callable[..., Any]


@pytest.fixture(scope="module")
def ale(fermentation: Ferment) -> Any:
    return fermentation()


@pytest.fixture(scope="module")
def batch(ale: Any) -> Batch:
    return Batch(pitched_at=ale.at(0), original_gravity_sg=1.052, drink="ale", expected_attenuation=(0.74, 0.80))


def hours(said: Assessment, batch: Batch, chance: float = 0.5) -> float:
    assert said.finish is not None
    return (said.finish.when(chance) - batch.pitched_at).total_seconds() / 3600


def test_a_forecast_at_three_quarters_of_the_fall_covers_the_true_finish(ale: Any, batch: Batch) -> None:
    hour = float(ale.hours[np.searchsorted(-ale.left_sg, -0.25 * ale.left_sg[0])])
    said = assess(ale.readings, batch, now=ale.at(hour))
    assert said.phase in ("active", "slowing")
    assert not said.finished
    assert hours(said, batch, 0.02) < ale.finish_h < hours(said, batch, 0.98)
    assert hours(said, batch) == pytest.approx(ale.finish_h, abs=36)


def test_a_day_after_pitching_it_lags_or_has_begun(ale: Any, batch: Batch) -> None:
    assert assess(ale.readings, batch, now=ale.at(8)).phase == "lag"


def test_a_finished_batch_is_called_finished_with_its_evidence(ale: Any, batch: Batch) -> None:
    said = assess(ale.readings, batch, now=ale.at(ale.finish_h + 96))
    assert said.finished
    assert said.phase == "finished"
    assert said.p_finished is not None
    assert said.p_finished > 0.65
    assert said.hold_met
    assert said.ready
    assert said.held_since is not None
    told = sentences(said.evidence, DisplayUnits())
    assert any("moved by" in s for s in told)
    assert any("apparent attenuation" in s for s in told)
    assert any("less than 0.001" in s for s in told)


def test_finished_is_not_said_while_two_points_are_left(ale: Any, batch: Batch) -> None:
    early = ale.hours[ale.left_sg >= 0.002]
    kept = None
    for hour in np.arange(60.0, early[-1], 6.0):
        kept = assess(ale.readings, batch, now=ale.at(hour), previous=kept)
        assert not kept.finished, hour


def test_the_estimates_are_ordered_and_their_frames_keep_their_schemas(ale: Any, batch: Batch) -> None:
    said = assess(ale.readings, batch, now=ale.at(100))
    for one in (said.gravity_sg, said.terminal_gravity_sg, said.remaining_fall_sg, said.original_gravity_sg):
        assert one is not None
        assert one.p10 <= one.p50 <= one.p90
    assert said.marked.schema == MARKED
    assert said.course.schema == COURSE
    assert (said.course["gravity_p10_sg"] <= said.course["gravity_p90_sg"]).all()
    assert said.course["at"].is_sorted()
    assert said.course["at"][0] == batch.pitched_at


def test_phases_come_in_time_order_and_end_with_the_present_one(ale: Any, batch: Batch) -> None:
    for hour in (10, 40, 70, 120, 200, 300):
        said = assess(ale.readings, batch, now=ale.at(hour))
        began = [s.began_at for s in said.phases]
        assert began == sorted(began)
        assert began[-1] <= said.now
        assert said.phases[-1].phase == said.phase
        assert {s.phase for s in said.phases} <= set(PHASES)


def test_a_prefix_never_uses_the_future(ale: Any, batch: Batch) -> None:
    now = ale.at(90)
    whole = assess(ale.readings, batch, now=now)
    cut = assess(ale.readings.filter(pl.col("measured_at") <= now), batch, now=now)
    assert whole.finish == cut.finish
    assert whole.p_finished == cut.p_finished
    assert whole.fingerprint == cut.fingerprint
    assert_frame_equal(whole.course, cut.course)


def test_a_later_event_changes_nothing_before_it(ale: Any, batch: Batch) -> None:
    later = Batch(
        pitched_at=batch.pitched_at,
        original_gravity_sg=1.052,
        drink="ale",
        expected_attenuation=(0.74, 0.80),
        events=(Event("dry hop", ale.at(200)), Event("forced test", ale.at(220), gravity_sg=1.020)),
    )
    assert assess(ale.readings, later, now=ale.at(100)).finish == assess(ale.readings, batch, now=ale.at(100)).finish


def test_the_same_data_gives_the_same_answer_in_any_order_and_with_repeats(ale: Any, batch: Batch) -> None:
    now = ale.at(110)
    once = assess(ale.readings, batch, now=now)
    shuffled = pl.concat([ale.readings, ale.readings.head(150)]).sample(fraction=1.0, shuffle=True, seed=4)
    again = assess(shuffled, batch, now=now)
    assert again.finish == once.finish
    assert again.remaining_fall_sg == once.remaining_fall_sg
    assert again.finished == once.finished


def test_shifting_time_shifts_the_dates(ale: Any, batch: Batch) -> None:
    by = timedelta(days=17, hours=5)
    moved = ale.readings.with_columns(pl.col("measured_at") + by)
    there = Batch(
        pitched_at=batch.pitched_at + by,
        original_gravity_sg=1.052,
        drink="ale",
        expected_attenuation=(0.74, 0.80),
    )
    here = assess(ale.readings, batch, now=ale.at(100))
    said = assess(moved, there, now=ale.at(100) + by)
    assert said.finish is not None
    assert here.finish is not None
    assert abs((said.finish.p50 - here.finish.p50) - by) < timedelta(minutes=5)


def test_more_noise_widens_the_range_on_average_over_seeds(fermentation: Ferment) -> None:
    def width(noise: float, seed: int) -> float:
        made = fermentation(noise_sg=noise, seed=seed)
        known = Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale")
        said = assess(made.readings, known, now=made.at(130)).finish
        # A date too vague to be given counts as wide as the least that is withheld.
        return VAGUE_H if said is None else float((said.p90 - said.p10) / timedelta(hours=1))

    quiet, noisy = ([width(noise, seed) for seed in range(8)] for noise in (0.0002, 0.0020))
    assert max(quiet) < VAGUE_H
    assert np.mean(noisy) > np.mean(quiet)


def test_a_halt_is_called_a_stall_within_two_days_and_never_finished(fermentation: Ferment) -> None:
    made = fermentation(stops_at=0.62, days=10)
    known = Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale", expected_attenuation=(0.74, 0.80))
    stood_from = float(made.hours[np.flatnonzero(np.diff(made.gravity_sg) == 0)[0]])
    kept = None
    called = []
    for hour in np.arange(stood_from, stood_from + 120, 24.0):
        kept = assess(made.readings, known, now=made.at(hour), previous=kept)
        assert not kept.finished
        called += [hour - stood_from] * kept.stalled
    assert called
    assert called[0] <= 48
    assert kept is not None
    assert kept.phase == "stalled"
    assert kept.advice[0] is Advice.HAND_SAMPLE
    assert any("gush" in line for line in advice_sentences(kept.advice, DisplayUnits()))


@pytest.mark.parametrize(("scatter_sg", "silent_h"), [(0.0025, 0.0), (0.0, 20.0)])
@pytest.mark.parametrize("seed", [0])
def test_a_halt_that_half_days_do_not_show_is_called_a_stall_within_two_days(
    fermentation: Ferment, scatter_sg: float, silent_h: float, seed: int
) -> None:
    """The readings scatter by points, or none came just when it stopped: the course as a whole tells."""
    made = fermentation(stops_at=0.62, days=12, spacing_h=1.0, seed=seed)
    scatter = pl.Series(np.random.default_rng(seed).normal(0.0, scatter_sg, made.hours.size))
    known = Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale", expected_attenuation=(0.74, 0.80))
    stood_from = float(made.hours[np.flatnonzero(np.diff(made.gravity_sg) == 0)[0]])
    silent = pl.Series((made.hours > stood_from - 2.0) & (made.hours < stood_from - 2.0 + silent_h))
    readings = made.readings.with_columns(pl.col("gravity_sg") + scatter).filter(~silent)
    kept = None
    called = []
    for hour in np.arange(stood_from, stood_from + 90, 6.0):
        kept = assess(readings, known, now=made.at(hour), previous=kept)
        assert not kept.finished
        called += [hour - stood_from] * kept.stalled
        if kept.stalled:
            began = kept.phases[-1]
            assert began.phase == "stalled"
            assert (kept.held_h < STOOD_H) == any(isinstance(one, StandsByCurve) for one in kept.evidence)
            assert abs(began.began_at - made.at(stood_from)) < timedelta(hours=18)
    assert called
    assert called[0] <= 48


@pytest.mark.parametrize("seed", [1])
def test_a_quiet_float_with_three_decimals_is_believed_where_it_repeats_itself(
    fermentation: Ferment, seed: int
) -> None:
    for stops_at in (0.62, 1.0):
        made = fermentation(stops_at=stops_at, days=16, noise_sg=0.00005, spacing_h=0.25, seed=seed)
        readings = made.readings.with_columns(pl.col("gravity_sg").round(3))
        known = Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale", expected_attenuation=(0.74, 0.80))
        said = assess(readings, known, now=made.at(14 * 24))
        assert (said.stalled, said.finished) == (stops_at < 1, stops_at == 1)
        assert said.held_h > 96


def test_a_chill_before_the_end_is_never_finished(fermentation: Ferment) -> None:
    made = fermentation(temperature_c=lambda h: np.where(h < 80, 20.0, np.maximum(20.0 - (h - 80) * 0.8, 3.0)))
    known = Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale", expected_attenuation=(0.74, 0.80))
    kept = None
    for hour in np.arange(84.0, 330.0, 24.0):
        kept = assess(made.readings, known, now=made.at(hour), previous=kept)
        assert not kept.finished, hour
        assert not kept.stalled, hour
    assert kept is not None
    assert kept.phase == "chilled"


def test_what_finished_and_was_then_chilled_stays_finished(fermentation: Ferment) -> None:
    made = fermentation(
        temperature_c=lambda h: np.where(h < 280, 20.0, np.maximum(20.0 - (h - 280) * 0.8, 3.0)), days=18
    )
    assert made.finish_h < 210
    known = Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale", expected_attenuation=(0.74, 0.80))
    said = assess(made.readings, known, now=made.at(400))
    assert said.phase == "chilled"
    assert said.finished


def test_a_forced_test_tells_a_halt_from_the_end(fermentation: Ferment) -> None:
    made = fermentation(attenuation=0.66, days=12)
    hour = made.finish_h + 60
    facts: dict[str, Any] = {"pitched_at": made.at(0), "original_gravity_sg": 1.052, "drink": "ale"}
    end = float(made.gravity_sg[-1] - made.left_sg[-1])
    at_the_end = assess(
        made.readings, Batch(**facts, events=(Event("forced test", made.at(hour - 1), end),)), now=made.at(hour)
    )
    far_off = assess(
        made.readings, Batch(**facts, events=(Event("forced test", made.at(hour - 1), end - 0.010),)), now=made.at(hour)
    )
    assert at_the_end.p_finished is not None
    assert far_off.p_finished is not None
    assert far_off.p_finished < 0.2 < 0.6 < at_the_end.p_finished
    assert not far_off.finished


def test_previous_made_from_other_rows_is_dropped(ale: Any, batch: Batch) -> None:
    before = assess(ale.readings, batch, now=ale.at(150))
    late = ale.readings.with_columns(pl.col("gravity_sg") + 0.002)
    assert assess(late, batch, now=ale.at(156), previous=before).finish == assess(late, batch, now=ale.at(156)).finish


@pytest.mark.parametrize("rows", [0, 1, 2])
def test_hardly_any_readings_give_no_forecast_and_no_error(ale: Any, batch: Batch, rows: int) -> None:
    said = assess(ale.readings.head(rows), batch, now=ale.at(5))
    assert said.finish is None
    assert said.phase == "lag"
    assert said.evidence


def test_optional_columns_may_be_missing(ale: Any, batch: Batch) -> None:
    said = assess(ale.readings.select("measured_at", "gravity_sg"), batch, now=ale.at(100))
    assert said.finish is not None
    assert said.temperature_c is None


def test_a_missing_column_is_named(batch: Batch, ale: Any) -> None:
    with pytest.raises(ReadingsError, match="gravity_sg"):
        assess(ale.readings.select("measured_at"), batch, now=ale.at(5))


def test_naive_instants_are_refused_with_the_way_out(batch: Batch, ale: Any) -> None:
    naive = ale.readings.with_columns(pl.col("measured_at").dt.replace_time_zone(None))
    with pytest.raises(ReadingsError, match="replace_time_zone"):
        assess(naive, batch, now=ale.at(5))
    with pytest.raises(ValueError, match="time zone"):
        assess(ale.readings, batch, now=ale.at(5).replace(tzinfo=None))


def test_a_hand_sample_outweighs_the_float(fermentation: Ferment) -> None:
    made = fermentation(days=12, offset_sg=0.004)
    known = Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale")
    hour = made.finish_h + 30
    true = float(np.interp(hour, made.hours, made.gravity_sg))
    hand = pl.DataFrame(
        {"measured_at": [made.at(hour - 2)], "gravity_sg": [true], "temperature_c": [20.0], "by_hand": [True]},
    ).with_columns(pl.col("measured_at").cast(pl.Datetime("us", "UTC")))
    rows = pl.concat([made.readings.with_columns(by_hand=pl.lit(False)), hand])
    said = assess(rows, known, now=made.at(hour))
    assert said.gravity_sg is not None
    assert said.gravity_sg.p50 == pytest.approx(true, abs=0.0015)
