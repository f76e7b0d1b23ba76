from __future__ import annotations

import os
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from ingest.errors import StoreError, StoreInUse, StoreTooNew
from ingest.model import AssessmentRecord, BatchRecord, Device, Placement, Rejection, Vessel
from ingest.store.store import Store
from tests.ingest.reports import HOUR, T, report


def test_a_new_cellar_is_made_with_its_folder_and_found_again(tmp_path):
    with Store.open(tmp_path / "deep" / "cellar") as store:
        assert store.path == tmp_path / "deep" / "cellar" / "tunroom.duckdb"
        store.keep([report()])
    with Store.open(tmp_path / "deep" / "cellar" / "tunroom.duckdb") as store:
        assert store.counts()["readings"] == 1


def test_a_second_store_on_one_file_names_this_process(tmp_path):
    with Store.open(tmp_path), pytest.raises(StoreInUse, match=rf"process {os.getpid()}.*--data"):
        Store.open(tmp_path)
    Store.open(tmp_path).close()  # free again


def test_a_second_process_is_told_the_first_ones_number(tmp_path):
    script = "import sys; from pathlib import Path; from ingest.store.store import Store; Store.open(Path(sys.argv[1]))"
    with Store.open(tmp_path):
        second = subprocess.run([sys.executable, "-c", script, str(tmp_path)], capture_output=True, text=True)
    assert second.returncode != 0
    assert f"StoreInUse: {tmp_path / 'tunroom.duckdb'} is in use by process {os.getpid()}" in second.stderr


def test_a_file_of_a_later_version_is_refused_and_left_alone(tmp_path):
    with Store.open(tmp_path) as store, store._file.writing() as cursor:
        cursor.execute("INSERT INTO schema_version VALUES (999, 'From the future.', now()::TIMESTAMP)")
    with pytest.raises(StoreTooNew, match=r"tables 999.*Upgrade tunroom"):
        Store.open(tmp_path)
    with pytest.raises(StoreTooNew):  # the refusal let go of the file
        Store.open(tmp_path)


def test_a_file_that_is_no_cellar_is_refused_and_left_as_it_is(tmp_path):
    path = tmp_path / "diary.duckdb"
    path.write_bytes(b"Dear diary" * 1000)
    with pytest.raises(StoreError, match=r"no cellar of tunroom.*left as it is"):
        Store.open(path)
    assert path.read_bytes() == b"Dear diary" * 1000


def test_a_damaged_file_is_refused_with_what_to_do(tmp_path):
    with Store.open(tmp_path) as store:
        store.keep([report(n) for n in range(100)])
        path = store.path
    damaged = bytearray(path.read_bytes())
    damaged[20:4000] = bytes(3980)
    path.write_bytes(damaged)
    with pytest.raises(StoreError, match=r"is damaged.*import your last export"):
        Store.open(tmp_path)


def test_a_folder_that_cannot_be_made_is_named(tmp_path):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(StoreError, match="file cannot be used"):
        Store.open(tmp_path / "file")


def test_close_may_be_called_twice_and_calls_after_it_say_so():
    store = Store.in_memory()
    store.close()
    store.close()
    with pytest.raises(StoreError, match="closed"):
        store.keep([report()])


def test_rejections_come_newest_first_and_can_be_resolved(store):
    bad = [
        Rejection(rejection_id=f"r{n}", topic="t", payload=bytes([n, 255]), received_at=T + n * HOUR, faults=("a", "b"))
        for n in range(3)
    ]
    store.keep([], bad)
    assert store.rejections(limit=2) == [bad[2], bad[1]]
    store.resolve_rejections(["r1", "r2", "unheard of"])
    assert store.rejections() == [bad[0]]
    assert {r.rejection_id for r in store.rejections(resolved=True)} == {"r1", "r2"}
    assert store.counts()["rejected"] == 1


def test_what_was_said_is_kept_in_order(store):
    said = [
        AssessmentRecord(
            batch_id="b", made_at=T + n * HOUR, phase="active", finished=False, stalled=False, hold_met=False,
            finish_p50=T, detail={"why": ["a", n]},
        )
        for n in (2, 1)
    ]  # fmt: skip
    for record in said:
        store.add_assessment(record)
    assert store.assessments("b") == said[::-1]
    assert store.assessments("other") == []


def test_a_note_is_replaced_by_its_key(store):
    assert store.get_note("k") is None
    store.set_note("k", "one")
    store.set_note("k", "two")
    assert store.get_note("k") == "two"
    assert store.notes() == {"k": "two"}


def test_many_threads_may_call_at_once(tmp_path: Path):
    problems: list[BaseException] = []
    with Store.open(tmp_path) as store:
        store.save(Vessel(vessel_id="v", name="V"))
        store.save(Device(device_id="float-1", kind="float"))
        store.save(BatchRecord(batch_id="b", name="B", vessel_id="v", pitched_at=T))
        store.save(Placement(device_id="float-1", vessel_id="v", from_at=T))

        def send(turn: int) -> None:
            for n in range(turn, 80, 2):  # both senders overlap by delivering twice
                store.keep([report(n), report(n + 1), report(n, device_id=f"other-{turn}")])

        def look() -> None:
            for n in range(30):
                store.readings_of("b")
                store.device_statuses()
                store.counts()
                store.set_note(f"n{n % 3}", str(n))
                store.save(replace(store.get(Vessel, "v"), volume_l=1.0 + n))

        def guarded(work, *given) -> None:
            try:
                work(*given)
            except BaseException as error:
                problems.append(error)

        threads = [threading.Thread(target=guarded, args=(send, turn)) for turn in (0, 1)]
        threads += [threading.Thread(target=guarded, args=(look,)) for _ in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert problems == []
        assert store.readings_as_sent("float-1").height == 81
        assert store.counts()["readings"] == 161
        assert store._file.read("SELECT count(*), count(DISTINCT device_id) FROM device_key") == [(3, 3)]


def test_what_a_device_said_last_is_known_after_a_reopening_however_long_it_has_been_silent(tmp_path):
    days = 24 * HOUR
    with Store.open(tmp_path) as store:
        for device, begins in (("float-old", T - 300 * days), ("float-new", T)):
            store.keep(
                [
                    replace(report(), device_id=device, measured_at=begins + n * HOUR, received_at=begins + n * HOUR,
                            sequence=None, battery_v=4.0 - n / 1000)
                    for n in range(8 * 24)
                ]
            )  # fmt: skip
        before = store.device_statuses()
        assert [word.device_id for word in before] == ["float-new", "float-old"]
        assert all(word.usual_interval_s == 3600 and word.battery_days_left is not None for word in before)
    with Store.open(tmp_path) as store:
        assert store.device_statuses() == before
