"""The packagings of `tests.benchmarks.packagings`, fewer of them: no unsafe go, and ordinary ones do get theirs."""

from __future__ import annotations

import pytest

from tests.benchmarks.packagings import RISKY, SAFE, count

SEED = 20260411


@pytest.mark.parametrize("name", [name for name in RISKY if name != "undeclared"])
def test_no_go_of_a_dangerous_class_passes_its_rating(name: str) -> None:
    counted = count(name, RISKY[name], SEED, 250, leave_out=True)
    assert counted.dangerous > 0
    assert counted.unsafe == 0


@pytest.mark.parametrize("name", ["no rating", "misread rating"])
def test_without_a_rating_that_can_be_believed_nothing_goes(name: str) -> None:
    assert count(name, RISKY[name], SEED, 250, leave_out=True).go == 0


@pytest.mark.parametrize(
    ("name", "least"),
    [
        ("ordinary, forced test", 0.93),  # 0.95 over 1500; of 400 it may come out two standard deviations lower
        ("ordinary, 74 to 82 %", 0.70),
        ("600 to 800 kPa, forced test", 0.80),
        ("600 to 800 kPa, 74 to 82 %", 0.42),  # nobody says how high the cellar lies, which is 17 kPa
        ("hopped, forced test of it", 0.80),
        ("lactose, forced test", 0.95),
    ],
)
def test_ordinary_packagings_of_a_known_rating_get_their_go(name: str, least: float) -> None:
    counted = count(name, SAFE[name], SEED, 400, leave_out=False)
    assert counted.unsafe == 0
    assert counted.go >= least * counted.number


def test_what_nobody_knows_of_is_what_no_sheet_can_hold() -> None:
    # A wild yeast that nobody knows of: the guide says so, and that it is not zero is why it must.
    assert count("undeclared", RISKY["undeclared"], SEED, 250, leave_out=True).unsafe > 0
