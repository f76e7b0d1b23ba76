"""The milestones of a batch are kept for the readings that they were weighed by."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dashboard.queries import milestones


def test_what_a_float_had_kept_and_sent_within_the_hour_is_weighed(cellar: Any, monkeypatch: Any) -> None:
    whole = cellar.outlooks.of(cellar.batches["active"].batch_id)
    weighed: list[int] = []
    monkeypatch.setattr(milestones, "batch_milestones", lambda _, outlook: weighed.append(outlook.readings.height))
    many = whole.readings.height
    assert many > 50
    for height in (20, 20, many - 1, many, many):
        milestones.of(replace(whole, readings=whole.readings.head(height)))
    assert len(weighed) == 2  # and not for a reading more or less
    assert weighed[0] == 20
