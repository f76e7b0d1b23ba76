from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import polars as pl
import pytest

from analysis.model import Assessment, Batch, Event, Forecast, HandReading, Range
from analysis.packaging.follow_up import (
    DANGEROUS,
    RESULTS,
    FollowUp,
    Result,
    advice,
    bottle_day,
    lesson,
    possible_causes,
)
from analysis.planning.sheet_inputs import prefill
from analysis.schemas import MARKED
from tests.analysis.packaging.answers import sheet

NOW = datetime(2026, 3, 3, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


def finished(**given: Any) -> Assessment:
    ended = NOW - 60 * HOUR
    marked = pl.DataFrame(
        {
            "measured_at": [NOW - 100 * HOUR, NOW - 50 * HOUR, NOW - 40 * HOUR, NOW],
            "gravity_sg": [1.02, 1.0112, 1.011, 1.011],
            "temperature_c": [26.0, 20.5, 21.25, 19.0],
            "by_hand": [False] * 4,
            "set_aside": [None] * 4,
        },
        schema=MARKED,
    )
    usual: dict[str, Any] = {
        "now": NOW,
        "phase": "finished",
        "finished": True,
        "stalled": False,
        "p_finished": 0.97,
        "finish": Forecast((ended.timestamp() - 3600, ended.timestamp() + 3600), (0.0, 1.0)),
        "held_since": ended,
        "held_h": 60.0,
        "hold_met": True,
        "gravity_sg": Range(1.0105, 1.011, 1.0115),
        "terminal_gravity_sg": Range(1.0098, 1.0105, 1.011),
        "remaining_fall_sg": Range(0.0, 0.0003, 0.0008),
        "original_gravity_sg": Range(1.0498, 1.050, 1.0502),
        "apparent_attenuation": 0.78,
        "temperature_c": 19.0,
        "evidence": (),
        "hand_sample_agrees": True,
        "hand_samples": (HandReading(NOW, 1.011),),
        "newest_reading_at": NOW,
        "marked": marked,
    }
    return Assessment(**{**usual, **given})


def brew(*events: Event, **given: Any) -> Batch:
    return Batch(**{"pitched_at": NOW - timedelta(days=9), "drink": "ale", "events": events, **given})


def test_the_sheet_of_a_finished_batch_fills_itself_in_and_can_be_used_as_it_is() -> None:
    given = prefill(finished(), brew(expected_attenuation=(0.74, 0.80)), now=NOW, volume_l=19, jurisdiction="EU")
    assert given.final_gravity_sg == 1.011
    assert given.warmest_c == 21.2  # since the end of fermentation, not the 26 °C before it
    assert given.remaining_fall_sg == 0.0008
    assert given.lowest_plausible_sg == pytest.approx(1.0098)
    answer = sheet({**given.given(), "package": "bottle", "carbonation_volumes": 2.3, "bottle_rating_kpa": 1000})
    assert answer["bottle_verdict"] == "go"


def test_a_hold_that_nobody_has_looked_at_since_yesterday_does_not_count() -> None:
    assert prefill(finished(), brew(), now=NOW + 20 * HOUR).hold_met is True
    stale = prefill(finished(), brew(), now=NOW + 30 * HOUR)
    assert stale.hold_met is False
    assert stale.finished is None  # it is not known any more, and it was not seen to be otherwise
    assert prefill(finished(finished=False), brew(), now=NOW + 30 * HOUR).finished is False


@pytest.mark.parametrize("newest", [None, NOW + HOUR])
def test_a_sheet_fills_in_no_hold_without_readings_or_from_readings_of_the_future(newest: datetime | None) -> None:
    given = prefill(finished(newest_reading_at=newest), brew(), now=NOW)
    assert given.hold_met is False
    assert given.finished is None
    answer = sheet({**given.given(), "package": "bottle", "carbonation_volumes": 2.3, "bottle_rating_kpa": 1000})
    assert answer["bottle_verdict"] == "stop"


def test_hop_creep_is_not_known_from_a_hold_that_nobody_has_looked_at_since() -> None:
    out = brew(Event("dry hop", NOW - 130 * HOUR), Event("hops out", NOW - 62 * HOUR))
    assert prefill(finished(), out, now=NOW).hop_creep_fall_sg is not None
    assert prefill(finished(), out, now=NOW + 30 * HOUR).hop_creep_fall_sg is None


def test_a_batch_without_a_hand_sample_fills_in_a_caution() -> None:
    given = prefill(finished(hand_sample_agrees=None), brew(), now=NOW, volume_l=19)
    assert given.hand_sample is False
    assert sheet({**given.given(), "package": "bottle", "carbonation_volumes": 2.3})["bottle_verdict"] == "caution"


def test_hop_creep_is_unknown_until_the_gravity_has_held_since_the_hops_came_out() -> None:
    hopped = Event("dry hop", NOW - 130 * HOUR)
    early_out = Event("hops out", NOW - 62 * HOUR)
    unknown = prefill(finished(), brew(hopped), now=NOW, volume_l=19)
    assert unknown.dry_hopped is True
    assert unknown.hop_creep_fall_sg is None
    in_bottles = {"package": "bottle", "carbonation_volumes": 2.3, "bottle_rating_kpa": 1000}
    known = prefill(finished(), brew(hopped, early_out), now=NOW, volume_l=19)
    for hopped_batch in (unknown, known):  # a hold of two days cannot see what hops still start: 4.7 volumes at worst
        answer = sheet({**hopped_batch.given(), **in_bottles})
        assert answer["bottle_verdict"] != "go"
        assert answer["bottle_worst_volumes"] > 2.3 + 4.6
    assert prefill(finished(), brew(hopped, early_out), now=NOW).hop_creep_fall_sg == 0.001


def test_a_forced_test_is_taken_from_the_batchs_events() -> None:
    forced = Event("forced test", NOW - 90 * HOUR, gravity_sg=1.0095)
    assert prefill(finished(), brew(forced), now=NOW).forced_test_sg == 1.0095


@pytest.mark.parametrize("result", RESULTS)
def test_each_result_of_a_test_bottle_has_its_advice(result: Result) -> None:
    assert all(sentence.endswith(".") for sentence in advice(result))
    assert bool(possible_causes(result)) == (result != "right")


@pytest.mark.parametrize("result", sorted(DANGEROUS))
def test_a_lot_under_pressure_is_cooled_where_it_stands_before_anybody_opens_it(result: Result) -> None:
    told = advice(result)
    said = " ".join(told)
    order = [
        next(n for n, s in enumerate(told) if word in s) for word in ("Leave the bottles", "near 0 °C", "one cold")
    ]
    assert order == sorted(order)
    assert "the rest of the lot" in told[0]
    assert "Whoever has bottles" in said
    assert "licensed practice" in said
    # A crown cap is crimped: it comes off or stays on. Nobody is told to move what must not be carried about.
    assert "lift the closure" not in said
    assert not any("move it" in s or "move them to" in s.lower() for s in told)


def test_a_gushers_crown_cap_is_taken_off_and_a_new_one_put_on() -> None:
    assert any("crown cap off" in s and "new cap" in s for s in advice("gushing"))


@pytest.mark.parametrize("result", sorted(DANGEROUS))
def test_no_cause_of_too_much_gas_is_assumed(result: Result) -> None:
    causes = possible_causes(result)
    said = " ".join(each.what for each in causes).lower()
    for possible in ("priming sugar", "not ended", "dry hops", "diastatic or wild", "bacteria", "crystals"):
        assert possible in said
    assert all(each.how_to_tell for each in causes)
    _, sentence = lesson([FollowUp(result, date(2026, 2, 1))])
    assert sentence is not None
    assert "Why is not known" in sentence


def test_the_test_bottle_is_due_a_week_after_packaging() -> None:
    assert bottle_day(date(2026, 3, 3)) == date(2026, 3, 10)


def test_a_lot_that_gushed_teaches_the_next_sheet() -> None:
    earlier = [FollowUp("right", date(2026, 1, 1)), FollowUp("gushing", date(2026, 2, 1))]
    fall, sentence = lesson(earlier)
    assert prefill(finished(), brew(), now=NOW, earlier=earlier).remaining_fall_sg == fall > 0.0008
    assert sentence is not None
    assert "forced test" in sentence
    assert lesson(earlier[:1]) == (0.0, None)


def test_a_follow_up_comes_back_as_it_was_kept() -> None:
    kept = FollowUp("flat", date(2026, 3, 10), "cold cellar")
    assert FollowUp.from_dict(kept.as_dict()) == kept
    assert FollowUp.from_dict({"result": "exploded"}) is None
    with pytest.raises(ValueError, match="flat, right, gushing, burst"):
        FollowUp("exploded", date(2026, 3, 10))  # type: ignore[arg-type]
