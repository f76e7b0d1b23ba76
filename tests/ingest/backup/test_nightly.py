from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from ingest.backup import Nightly, state_of
from ingest.backup.nightly import LATE_AFTER, staying
from ingest.model import Preferences
from ingest.store import Store

DAY = timedelta(days=1)
NIGHT = datetime(2026, 3, 10, 2, 30, tzinfo=UTC)  # 03:30 in Vienna


@pytest.fixture
def store():
    with Store.in_memory() as opened:
        opened.save(Preferences(time_zone="Europe/Vienna"))
        yield opened


def names(directory: Path) -> list[str]:
    return sorted(p.name for p in directory.iterdir() if p.suffix == ".duckdb")


def test_one_a_night_at_the_hour_of_the_cellars_clock(store, tmp_path):
    nightly = Nightly(store, tmp_path, hour=3, keep=14)
    nightly.consider(NIGHT)
    assert names(tmp_path) == ["tunroom-2026-03-10.duckdb"]
    for minutes in range(0, 24 * 60 - 31, 30):
        nightly.consider(NIGHT + timedelta(minutes=minutes))
    assert names(tmp_path) == ["tunroom-2026-03-10.duckdb"]
    nightly.consider(NIGHT + DAY)
    assert names(tmp_path) == ["tunroom-2026-03-10.duckdb", "tunroom-2026-03-11.duckdb"]


def test_a_machine_that_was_off_at_night_makes_it_up_in_the_morning(store, tmp_path):
    nightly = Nightly(store, tmp_path, hour=3, keep=14)
    nightly.consider(NIGHT)
    nightly.consider(NIGHT + 3 * DAY + timedelta(hours=6))
    assert names(tmp_path) == ["tunroom-2026-03-10.duckdb", "tunroom-2026-03-13.duckdb"]


def test_a_share_that_is_not_mounted_is_said_tried_again_and_forgotten_once_it_is_there(store, tmp_path):
    share = tmp_path / "share"
    nightly = Nightly(store, share, hour=3, keep=14)
    state = nightly.consider(NIGHT)
    assert state.made_at is None
    assert "there is no directory" in str(state.problem)
    share.mkdir()
    assert nightly.consider(NIGHT + timedelta(minutes=20)).made_at is None  # not every minute
    assert nightly.consider(NIGHT + timedelta(minutes=61)).problem is None
    assert names(share) == ["tunroom-2026-03-10.duckdb"]
    share.rename(tmp_path / "away")
    failed = nightly.consider(NIGHT + DAY)
    assert failed.made_at == (NIGHT + timedelta(minutes=61)).isoformat()  # what is known of the last good one stays
    assert state_of(store) == failed
    assert not failed.is_late(NIGHT + DAY, NIGHT)
    assert failed.is_late(NIGHT + timedelta(minutes=62) + LATE_AFTER, NIGHT)


def test_a_cellar_that_was_just_asked_is_not_late_yet_and_late_after_a_night_without(store, tmp_path):
    nightly = Nightly(store, tmp_path / "nowhere", hour=3, keep=14)
    assert not nightly.is_late(nightly.since + timedelta(hours=35))
    assert nightly.is_late(nightly.since + timedelta(hours=37))


def test_another_directory_gets_its_own_at_once(store, tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    Nightly(store, tmp_path / "a", hour=3, keep=14).consider(NIGHT)
    Nightly(store, tmp_path / "b", hour=3, keep=14).consider(NIGHT + timedelta(hours=2))
    assert names(tmp_path / "b") == ["tunroom-2026-03-10.duckdb"]


def test_what_stays_is_the_newest_days_and_the_last_of_each_month():
    days = [date(2024, 11, 1) + n * DAY for n in range(500)]  # to 2026-03-15
    kept = sorted(staying(days, 14))
    assert kept[-14:] == days[-14:]
    assert kept[:-14] == [
        date(2025, 4, 30), date(2025, 5, 31), date(2025, 6, 30), date(2025, 7, 31), date(2025, 8, 31),
        date(2025, 9, 30),
        date(2025, 10, 31), date(2025, 11, 30), date(2025, 12, 31), date(2026, 1, 31), date(2026, 2, 28),
    ]  # fmt: skip
    assert staying(days[:3], 14) == set(days[:3])


def test_files_that_are_not_ours_are_left_alone(store, tmp_path):
    (tmp_path / "diary.txt").write_text("mine")
    (tmp_path / "tunroom-old.duckdb").write_text("mine")
    nightly = Nightly(store, tmp_path, hour=3, keep=1)
    for n in range(3):
        nightly.consider(NIGHT + n * DAY)
    assert names(tmp_path) == ["tunroom-2026-03-12.duckdb", "tunroom-old.duckdb"]
    assert sorted(p.name for p in tmp_path.glob("*.sha256")) == ["tunroom-2026-03-12.duckdb.sha256"]
    assert (tmp_path / "diary.txt").read_text() == "mine"
