from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from analysis.packaging import FollowUp
from ingest.model import BatchRecord
from ingest.monitoring.lots import follow_ups, looked_after, lot_warnings, set_aside, warnings_for, with_follow_up

NOW = datetime(2026, 3, 3, 12, tzinfo=UTC)
BURST = FollowUp("burst", date(2026, 3, 10))
GUSHED = FollowUp("gushing", date(2026, 3, 9))
RIGHT = FollowUp("right", date(2026, 3, 20))


def brew(name: str, *, days_ago: float = 20, yeast: str | None = None, split_of: str | None = None) -> BatchRecord:
    return BatchRecord(
        batch_id=name,
        name=name,
        vessel_id="vessel-1",
        pitched_at=NOW - timedelta(days=days_ago),
        yeast=yeast,
        split_of=split_of,
    )


def showed(record: BatchRecord, *found: FollowUp) -> BatchRecord:
    for each in found:
        record = replace(record, plan=with_follow_up(record, each))
    return record


def test_every_batch_of_the_same_wort_or_yeast_is_in_doubt_and_no_other() -> None:
    source = showed(brew("source", yeast="House Ale", split_of="brew 7"), BURST)
    same_wort = brew("wort", yeast="Other", split_of="Brew 7")
    same_yeast = brew("yeast", yeast="house  ale", days_ago=90)
    both = replace(brew("both", yeast="House Ale", split_of="brew 7"), ended_at=NOW)
    stranger = brew("stranger", yeast="Other", split_of="brew 8")
    [warning] = lot_warnings([source, same_yeast, same_wort, both, stranger, brew("nothing said")])
    assert {r.record.name: r.shares for r in warning.related} == {
        "wort": ("wort",),
        "yeast": ("yeast",),
        "both": ("wort", "yeast"),
    }
    assert warning.related[-1].record.name == "yeast"  # the furthest away in time
    for record, warned in ((source, True), (both, True), (stranger, False)):
        assert bool(warnings_for(record, [warning])) is warned


def test_batches_without_a_wort_or_yeast_are_not_related_by_saying_nothing() -> None:
    [warning] = lot_warnings([showed(brew("source"), GUSHED), brew("other"), brew("third", yeast=" ", split_of="")])
    assert warning.related == ()


@pytest.mark.parametrize("bottles", [(GUSHED, RIGHT), (BURST, RIGHT), (RIGHT, GUSHED), (GUSHED, BURST, RIGHT)])
def test_a_good_bottle_does_not_take_a_bad_one_back(bottles: tuple[FollowUp, ...]) -> None:
    record = showed(brew("source"), *bottles)
    assert follow_ups(record) == bottles
    [warning] = lot_warnings([record])
    assert warning.found == max(bottles, key=lambda f: ("right", "gushing", "burst").index(f.result))
    assert follow_ups(replace(record, plan=set_aside(record))) == bottles


def test_right_and_flat_bottles_warn_nobody() -> None:
    assert lot_warnings([showed(brew("a", yeast="x"), RIGHT, FollowUp("flat", date(2026, 3, 1))), brew("b")]) == ()


def test_a_lot_that_was_looked_after_is_to_be_looked_after_again_when_another_bottle_is_bad() -> None:
    record = showed(brew("source"), GUSHED)
    seen = replace(record, plan=looked_after(record))
    assert [w.looked_after for w in lot_warnings([seen])] == [True]
    assert [w.looked_after for w in lot_warnings([showed(seen, RIGHT)])] == [True]
    assert [w.looked_after for w in lot_warnings([showed(seen, BURST)])] == [False]


def test_a_plan_that_cannot_be_read_warns_nobody_and_stops_nothing() -> None:
    broken = replace(brew("a"), plan={"follow_up": {"result": "exploded"}, "follow_up_before": "?"})
    assert lot_warnings([broken]) == ()
