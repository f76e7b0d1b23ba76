from datetime import UTC, datetime

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from analysis import Batch, Event, assess
from sample_data.logs import ANCHOR, FOLDER, STATES, logs


def test_the_kept_logs_are_what_the_generator_writes() -> None:
    for name, frame in logs().items():
        assert_frame_equal(pl.read_csv(FOLDER / name), frame, abs_tol=2e-4)


def test_every_log_is_described_beside_it_as_invented() -> None:
    text = (FOLDER / "README.md").read_text()
    assert "simulated" in text
    assert {p.name for p in FOLDER.glob("*.csv")} == set(STATES)
    assert all(name in text for name in STATES)


@pytest.mark.parametrize(
    ("name", "batch", "finished", "stalled"),
    [
        (
            "invented-ale-awaiting-hops.csv",
            Batch(
                pitched_at=datetime(2026, 3, 12, 14, tzinfo=UTC),
                original_gravity_sg=1.050,
                drink="ale",
                expected_attenuation=(0.77, 0.82),
            ),
            True,
            False,
        ),
        (
            "invented-ale-stalled.csv",
            Batch(
                pitched_at=datetime(2026, 3, 13, 7, tzinfo=UTC),
                original_gravity_sg=1.068,
                drink="ale",
                expected_attenuation=(0.74, 0.79),
            ),
            False,
            True,
        ),
        (
            "invented-ale-creeping.csv",
            Batch(
                pitched_at=datetime(2026, 3, 10, 2, tzinfo=UTC),
                original_gravity_sg=1.051,
                drink="ale",
                expected_attenuation=(0.74, 0.79),
                events=(Event("dry hop", datetime(2026, 3, 18, 8, tzinfo=UTC)),),
            ),
            False,
            False,
        ),
    ],
)
def test_the_log_tells_the_story_that_is_told_of_it(name: str, batch: Batch, finished: bool, stalled: bool) -> None:
    readings = pl.read_csv(FOLDER / name).with_columns(
        pl.col("measured_at").str.to_datetime(time_zone="UTC", format="%Y-%m-%dT%H:%M:%SZ")
    )
    said = assess(readings, batch, now=ANCHOR)
    assert (said.finished, said.stalled) == (finished, stalled)
