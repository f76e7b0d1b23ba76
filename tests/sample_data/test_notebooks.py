from __future__ import annotations

import numpy as np

from analysis.model import FinishedBatch
from sample_data.notebooks import DIGIT_SG, READ_SD_SG, kept_by_hand, notebook_of
from sample_data.scenarios import make_set


def test_a_notebook_has_a_reading_a_day_near_the_truth_to_a_point() -> None:
    run = next(r for r in make_set(503, 8, 1)[0] if r.scenario == "ordinary")
    kept = kept_by_hand(run, 24.0)
    assert abs(kept.at_h.size - run.end_h / 24.0) <= 1.5
    assert np.abs(np.diff(kept.at_h) - 24.0).max() <= 8.0 + 1e-9
    off = kept.gravity_sg - np.interp(kept.at_h, run.times_h, run.true_gravity_sg)
    assert np.abs(off).max() < 4.0 * READ_SD_SG + 0.5 * DIGIT_SG
    np.testing.assert_allclose(np.round(kept.gravity_sg / DIGIT_SG), kept.gravity_sg / DIGIT_SG, atol=1e-6)
    assert kept.by_hand.all()


def test_an_earlier_batch_keeps_its_facts_in_a_notebook() -> None:
    run = next(r for r in make_set(503, 8, 1)[0] if r.scenario == "ordinary")
    one = FinishedBatch(run.batch, run.readings(run.end_h), "porter")
    kept = notebook_of(one, 48.0)
    assert (kept.batch, kept.name) == (one.batch, "porter")
    assert 3 <= kept.readings.height <= run.end_h / 48.0 + 1
    assert kept.readings.schema == one.readings.schema
