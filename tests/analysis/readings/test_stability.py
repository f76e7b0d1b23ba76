from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest

from analysis import Batch
from analysis.readings.binning import FINE_H, Series, bin_edges, summarise
from analysis.readings.cleaning import mark
from analysis.readings.stability import chilled_from, hold, moves_again, moves_off, scatter_of

Ferment = Callable[..., Any]


def series(made: Any, hour: float) -> Series:
    batch = Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale")
    return summarise(mark(made.readings, batch, now=made.at(hour)), batch, now=made.at(hour))


def test_the_hold_counts_from_the_last_time_it_was_a_point_away(fermentation: Ferment) -> None:
    made = fermentation(days=12)
    held = hold(series(made, 280.0), until_h=280.0)
    now = float(np.interp(280.0, made.hours, made.gravity_sg))
    a_point_above = float(made.hours[np.flatnonzero(made.gravity_sg - now >= 0.001)[-1]])
    assert held.since_h is not None
    assert a_point_above - 12 <= held.since_h <= a_point_above + 36
    assert held.held_h == int(held.until_h - held.since_h)
    assert held.moved_sg < 0.001


def test_while_it_falls_nothing_holds(fermentation: Ferment) -> None:
    assert hold(series(fermentation(), 55.0), until_h=55.0).held_h == 0


def test_nothing_before_a_new_start_counts(fermentation: Ferment) -> None:
    held = hold(series(fermentation(days=12), 280.0), until_h=280.0, from_h=250.0)
    assert held.since_h is not None
    assert held.since_h >= 250


def test_a_chill_is_seen_from_where_the_cooling_began(fermentation: Ferment) -> None:
    made = fermentation(temperature_c=lambda h: np.where(h < 200, 20.0, np.maximum(20 - (h - 200) * 0.5, 4.0)))
    assert chilled_from(series(made, 190.0)) is None
    began = chilled_from(series(made, 240.0))
    assert began == pytest.approx(203, abs=8)


def test_a_night_two_degrees_cooler_is_no_chill(fermentation: Ferment) -> None:
    made = fermentation(temperature_c=lambda h: 20.0 + 1.5 * np.sin(h / 24 * 2 * np.pi))
    assert chilled_from(series(made, 250.0)) is None


@pytest.mark.parametrize("hours", [10.0, 200.0, 240.5, 700.0, 5000.0])
def test_bins_cover_the_whole_time_and_stay_few(hours: float) -> None:
    rng = np.random.default_rng(3)
    at = np.arange(0.0, hours, 0.25)
    for scatter in (0.0, 0.004):
        for slow in (30.0, 0.3 * hours):
            edges = bin_edges(hours, at, 1.010 + 0.04 * np.exp(-at / slow) + rng.normal(0, scatter, at.size))
            assert edges[0] == 0
            assert edges[-1] >= hours
            assert np.all(np.diff(edges) > 0)
            assert edges.size < 130


def test_bins_stay_fine_where_it_came_to_a_stand_long_ago() -> None:
    at = np.arange(0.0, 500.0, 0.25)
    edges = bin_edges(500.0, at, 1.050 - 0.0004 * np.minimum(at, 90.0))
    near = edges[(edges >= 60.0) & (edges <= 90.0)]
    assert np.diff(near).max() == FINE_H
    assert np.diff(edges[(edges >= 120.0) & (edges <= 380.0)]).min() > 3 * FINE_H


def test_bins_are_fine_again_where_a_feed_ferments() -> None:
    at = np.arange(0.0, 700.0, 0.25)
    gravity = 1.080 - 0.0005 * np.minimum(at, 100.0) + np.where(at >= 250.0, 0.03, 0.0)
    gravity -= 0.0003 * np.clip(at - 250.0, 0.0, 100.0)
    edges = bin_edges(700.0, at, gravity, [250.0])
    assert np.diff(edges[(edges >= 260.0) & (edges <= 340.0)]).max() <= 2 * FINE_H
    assert np.diff(edges[(edges >= 120.0) & (edges <= 240.0)]).min() > 3 * FINE_H


def test_no_reading_of_a_float_leaves_bins_over_the_whole_time() -> None:
    edges = bin_edges(700.0, np.zeros(0), np.zeros(0))
    assert edges[0] == 0
    assert edges[-1] >= 700.0


def again(made: Any, at_h: float, *, by_sg_per_h: float) -> Any:
    """The same batch, falling again from `at_h` on."""
    fall = pl.Series(by_sg_per_h * np.maximum(made.hours - at_h, 0.0))
    return replace(made, readings=made.readings.with_columns(pl.col("gravity_sg") - fall))


def test_a_stand_that_ends_is_seen_to_end_by_the_time_a_point_has_fallen(fermentation: Ferment) -> None:
    """Slowly, as where a stall resumes by itself: half-days alone see it in half of the cases."""
    seen = []
    for seed in range(12):
        stuck = fermentation(stops_at=0.7, noise_sg=0.0002, seed=seed)
        moving = series(again(stuck, 200.0, by_sg_per_h=0.00006), 217.0)
        seen.append(moves_again(moving, hold(moving, until_h=217.0)))
    assert sum(seen) >= 11


def scattered(made: Any, by_sg: float, seed: int) -> Any:
    """The same batch, read by a float whose readings scatter."""
    noise = pl.Series(np.random.default_rng(seed).normal(0.0, by_sg, made.hours.size))
    return replace(made, readings=made.readings.with_columns(pl.col("gravity_sg") + noise))


def test_a_float_that_scatters_by_points_does_not_seem_to_move_again(fermentation: Ferment) -> None:
    """What counts is a fall beyond its own scatter, which a fall in its readings does not make larger."""
    standing, moving = [], []
    for seed in range(12):
        made = scattered(fermentation(stops_at=0.7, spacing_h=1.0, seed=seed), 0.0035, seed)
        for hour in (150, 180, 210):
            stands = series(made, float(hour))
            standing.append(moves_again(stands, hold(stands, until_h=float(hour))))
        falls = series(again(made, 200.0, by_sg_per_h=0.0007), 217.0)
        moving.append(moves_again(falls, hold(falls, until_h=217.0)))
    assert np.mean(standing) < 0.2
    assert np.mean(moving) > 0.8


def test_the_scatter_of_a_float_is_told_from_its_fall() -> None:
    noise = np.random.default_rng(5).normal(0.0, 0.001, 400)
    fall = np.linspace(0.05, 0.0, 400)
    assert scatter_of(noise) == pytest.approx(0.001, rel=0.15)
    assert scatter_of(noise + fall) == pytest.approx(scatter_of(noise), rel=0.05)
    assert scatter_of(noise[:3]) == 0.0


def test_what_stands_seldom_seems_to_move(fermentation: Ferment) -> None:
    seen = []
    for seed in range(6):
        stuck = fermentation(stops_at=0.7, noise_sg=0.0002, seed=seed)
        for hour in range(150, 330, 12):
            standing = series(stuck, float(hour))
            seen.append(moves_again(standing, hold(standing, until_h=float(hour))))
    assert np.mean(seen) < 0.06


def stand(days: float, newest_sg: float, seed: int, moved_h: float = 12.0) -> Series:
    """Bins of three hours that stand at 1.030 and wander by a third of a point, the newest hours moved."""
    hours = np.arange(100.0, 100.0 + 24 * days, 3.0)
    gravity = 1.030 + np.random.default_rng(seed).normal(0.0, 0.0003, hours.size)
    gravity[hours > hours[-1] - moved_h] += newest_sg
    ones, warm = np.ones(hours.size), np.full(hours.size, 19.0)
    return Series(
        hours, gravity, 1e-4 * ones, ones, 0 * ones, np.zeros(hours.size, bool), hours, warm, float(hours[-1]), 19.0,
        20.0, temperature_known=True,
    )  # fmt: skip


def test_a_long_stand_moves_only_by_more_than_it_wanders() -> None:
    moved = {}
    for newest in (0.0, -0.0015):
        looks = [stand(12, newest, seed) for seed in range(60)]
        moved[newest] = [moves_off(s, since_h=100.0, until_h=s.now_h) for s in looks]
    assert sum(bool(m) for m in moved[0.0]) <= 1
    assert all(moved[-0.0015])
    # By the time the half-day shows it, another point has gone.
    looks = [stand(12, -0.0015, seed, moved_h=6.0) for seed in range(60)]
    assert np.mean([bool(moves_off(s, since_h=100.0, until_h=s.now_h)) for s in looks]) > 0.9
    short = stand(2, 0.0, 1)
    assert moves_off(short, since_h=100.0, until_h=short.now_h) is None


def by_hand(*read: tuple[float, float]) -> Series:
    start = datetime(2026, 3, 1, tzinfo=UTC)
    rows = pl.DataFrame(
        {
            "measured_at": [start + timedelta(hours=hour) for hour, _ in read],
            "gravity_sg": [gravity_sg for _, gravity_sg in read],
            "temperature_c": [20.0] * len(read),
            "by_hand": [True] * len(read),
        }
    )
    batch, now = Batch(pitched_at=start, original_gravity_sg=1.090, drink="wine"), start + timedelta(hours=read[-1][0])
    return summarise(mark(rows, batch, now=now), batch, now=now)


FELL = ((24.0, 1.070), (72.0, 1.030), (120.0, 1.001))


@pytest.mark.parametrize(
    ("after", "held_h"),
    [
        (((168.0, 0.9930), (216.0, 0.9930)), 48),
        (((168.0, 0.9934), (216.0, 0.9942)), 48),  # a hydrometer is read to a point, up as well as down
        (((168.0, 0.9930), (192.0, 0.9942), (216.0, 0.9934)), 48),
        (((168.0, 0.9930), (180.0, 0.9930)), 0),  # the same day: nobody saw it hold
        (((168.0, 0.9940), (216.0, 0.9929)), 0),  # a point went
        (((168.0, 0.9950), (192.0, 0.9940), (216.0, 0.9933)), 0),
        (((168.0, 0.9930), (216.0, 0.9960)), 0),  # no gravity rises: one of the two is wrong
    ],
)
def test_samples_by_hand_hold_where_they_agree_days_apart(after, held_h) -> None:
    read = by_hand(*FELL, *after)
    assert hold(read, until_h=read.now_h).held_h == held_h
