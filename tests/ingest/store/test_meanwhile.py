from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from analysis.display_units import DisplayUnits
from ingest.model import BatchRecord, Preferences, Vessel
from ingest.store import Based, ChangedMeanwhileError
from tests.ingest.reports import T


def opened(store) -> BatchRecord:
    store.save(Vessel(vessel_id="v", name="Tun"))
    return store.save(BatchRecord(batch_id="b", name="Gatepost", vessel_id="v", pitched_at=T, plan={"a": 1, "b": 1}))


def test_what_each_of_two_windows_edited_is_kept_without_a_word(store):
    shown = opened(store)
    store.save(replace(shown, notes="warm", plan={"a": 2, "b": 1}), Based(shown))
    store.save(replace(shown, volume_l=20.0, plan={"a": 1, "b": 3}), Based(shown))
    now = store.get(BatchRecord, "b")
    assert (now.notes, now.volume_l, now.plan) == ("warm", 20.0, {"a": 2, "b": 3})


def test_a_field_that_both_edited_is_told_with_both_values_and_the_second_save_decides(store):
    shown = opened(store)
    store.save(replace(shown, volume_l=20.0), Based(shown))
    mine = replace(shown, volume_l=25.0, notes="cold")
    with pytest.raises(ChangedMeanwhileError) as caught:
        store.save(mine, Based(shown))
    assert caught.value.field == "volume_l"
    said = str(caught.value.in_units(DisplayUnits(volume_unit="L")))
    assert "it now says 20 L; your value was 25 L" in said.replace("\u202f", " ").replace("\xa0", " ")
    assert (store.get(BatchRecord, "b").volume_l, store.get(BatchRecord, "b").notes) == (20.0, "")
    store.save(mine, Based(shown, caught.value.now))
    assert (store.get(BatchRecord, "b").volume_l, store.get(BatchRecord, "b").notes) == (25.0, "cold")


def test_times_that_both_edited_are_told_on_the_clock_of_the_cellar(store):
    store.save(Preferences(time_zone="Asia/Kathmandu"))
    shown = opened(store)
    first, second = (datetime(2027, 1, 15, hour, tzinfo=UTC) for hour in (8, 9))
    store.save(replace(shown, ended_at=first), Based(shown))
    with pytest.raises(ChangedMeanwhileError) as caught:
        store.save(replace(shown, ended_at=second), Based(shown))
    # Nepal is 5 h 45 min ahead of UTC (IANA time zone database).
    assert "it now says 2027-01-15 13:45; your value was 2027-01-15 14:45" in str(caught.value)


def test_the_same_value_twice_is_no_conflict_and_a_third_change_is_told_again(store):
    shown = opened(store)
    store.save(replace(shown, volume_l=20.0), Based(shown))
    store.save(replace(shown, volume_l=20.0), Based(shown))
    seen = store.get(BatchRecord, "b")
    store.save(replace(seen, volume_l=22.0), Based(seen))
    with pytest.raises(ChangedMeanwhileError, match="now says 22"):
        store.save(replace(shown, volume_l=25.0), Based(shown, seen))


def test_what_was_removed_meanwhile_does_not_come_back_in_silence(store):
    shown = opened(store)
    store.remove(shown)
    with pytest.raises(ChangedMeanwhileError, match="removed meanwhile"):
        store.save(replace(shown, volume_l=25.0), Based(shown))
    assert store.get(BatchRecord, "b") is None
