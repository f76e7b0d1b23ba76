"""Standardised parameters by name: which hypothesis has which columns."""

from __future__ import annotations

import itertools

from analysis.inference.layout import COURSE, THETA, WANDER, Layout


def test_the_columns_of_each_hypothesis_are_all_of_them_and_each_once() -> None:
    for creeps, fed, over, lasting in itertools.product((False, True), repeat=4):
        layout = Layout.of(creeps=creeps, fed=fed, over=over, lasting=lasting)
        blocks = [layout.creep, layout.feed, layout.over, layout.lasting]
        assert [block is not None for block in blocks] == [creeps, fed, over, lasting]
        columns = [WANDER, *(column for block in blocks if block is not None for column in block)]
        assert [*range(THETA.stop), *columns] == list(range(layout.size))


def test_the_curve_at_one_temperature_comes_first() -> None:
    assert (COURSE.start, THETA.start) == (0, 0)
    assert COURSE.stop < THETA.stop == WANDER
