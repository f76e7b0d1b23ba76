from __future__ import annotations

import json
import subprocess
import sys
import threading
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from ingest import transfer
from ingest.decoding import rules
from ingest.errors import EntryError, ImportFileError
from ingest.model import (
    AssessmentRecord,
    BatchRecord,
    CalibrationRecord,
    Device,
    EventRecord,
    HandSample,
    Placement,
    Preferences,
    Rejection,
    Report,
    Vessel,
    Yeast,
)
from ingest.store.row_mapping import ENTRIES
from ingest.store.store import Store

T = datetime(2026, 3, 1, 10, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture
def cellar(store):
    for record in (
        Device(device_id="float-1", kind="float"),
        Device(device_id="probe-1", kind="probe", name="Förde"),
        Vessel(vessel_id="v", name="V", volume_l=20.0),
        Yeast(name="Marrow", attenuation_low=0.7),
        BatchRecord(
            batch_id="b", name="B", vessel_id="v", pitched_at=T, ended_at=T + 20 * HOUR, yeast="Marrow", plan={"a": [1]}
        ),
        Placement(device_id="float-1", vessel_id="v", from_at=T),
        Placement(device_id="probe-1", vessel_id="v", from_at=T, to_at=T + 5 * HOUR),
        CalibrationRecord(device_id="float-1", kind="inclination", points=((25.0, 1.0), (60.0, 1.09))),
        EventRecord(batch_id="b", kind="dry hop", at=T + 9 * HOUR, amount_g=50.0),
        EventRecord(
            batch_id="b",
            kind="dilute",
            at=T + 9 * HOUR,
            added="spirit",
            amount_l=1.9,
            amount_unit="US gal",
            added_abv_pct=60.0,
        ),
        HandSample(batch_id="b", at=T + 3 * HOUR, value=1.05, temperature_c=22.0),
        Preferences(cellar_name="Düne", notify_urls=("json://localhost",), hop_weekdays=(5,)),
    ):
        store.save(record)
    store.undo()
    hours = [T + n * HOUR for n in range(-3, 30)]
    store.keep(
        [
            *(
                Report(
                    device_id="float-1", measured_at=t, received_at=t + timedelta(seconds=90), inclination_deg=45.0,
                    temperature_c=19.0, extra={"firmware": "ä"}, sequence=n,
                )
                for n, t in enumerate(hours)
            ),
            *(Report(device_id="probe-1", measured_at=t, received_at=t, temperature_c=18.5) for t in hours),
            Report(device_id="stranger", measured_at=T, received_at=T, gravity_sg=1.04, time_flag="no clock"),
        ],
        [Rejection(topic="t", payload=b"\x00\xff", received_at=T, faults=("one", "two"))],
    )  # fmt: skip
    store.add_assessment(
        AssessmentRecord(
            batch_id="b", made_at=T, phase="active", finished=False, stalled=False, hold_met=False, finish_p50=T + HOUR
        )
    )
    store.set_note("watcher", '{"a": 1}')
    return store


def contents(store: Store) -> dict[str, object]:
    return {
        **{cls.__name__: sorted(store.all(cls), key=repr) for cls in ENTRIES},
        "assessments": store.assessments("b"),
        "rejections": store.rejections() + store.rejections(resolved=True),
        "notes": store.notes(),
        "changes": store.changes(),
        "words": store.device_statuses(),
        **{device: store.readings_as_sent(device).to_dicts() for device in store.device_ids()},
    }


def test_an_export_makes_the_same_cellar(cellar, tmp_path):
    told = transfer.export_cellar(cellar, tmp_path / "out")
    assert told.readings == 67
    with Store.in_memory() as other:
        taken = transfer.import_cellar(other, tmp_path / "out")
        assert (taken.readings_new, taken.assessments_new, taken.rejected_new) == (67, 1, 1)
        assert contents(other) == contents(cellar)
        assert other.readings_of("b").equals(cellar.readings_of("b"))
        assert other.undo() == "Taken back: Added hand sample 1.050 SG of B in V"
        cellar.undo()
        assert contents(other).keys() == contents(cellar).keys()


def test_an_export_taken_in_twice_changes_nothing(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out")
    before = contents(cellar)
    taken = transfer.import_cellar(cellar, tmp_path / "out")
    assert (taken.readings_new, taken.entries_new, taken.assessments_new, taken.rejected_new) == (0, 0, 0, 0)
    assert contents(cellar) == before


def test_a_zipped_export_makes_the_same_cellar_and_nothing_else_leaves_the_archive(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out" / "cellar")
    with zipfile.ZipFile(tmp_path / "cellar.zip", "w") as archive:
        for file in (tmp_path / "out" / "cellar").iterdir():
            archive.write(file, f"cellar/{file.name}")
        archive.writestr("../../escaped.parquet", b"no table")
        archive.writestr("notes.txt", b"mine")
    with Store.in_memory() as other:
        transfer.import_zip(other, tmp_path / "cellar.zip")
        assert other.all(BatchRecord) == cellar.all(BatchRecord)
        assert other.counts()["readings"] == cellar.counts()["readings"]
    assert not list(tmp_path.parent.glob("escaped*"))


@pytest.mark.parametrize("content", [b"not a zip", None])
def test_an_archive_that_is_no_export_is_refused(store, tmp_path, content):
    file = tmp_path / "cellar.zip"
    if content is None:
        with zipfile.ZipFile(file, "w") as archive:
            archive.writestr("readme.txt", b"hello")
    else:
        file.write_bytes(content)
    with pytest.raises(ImportFileError, match="cellar"):
        transfer.import_zip(store, file)
    assert store.changes() == []


def test_into_a_cellar_that_lives_an_export_is_one_change_to_undo(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out")
    with Store.in_memory() as other:
        other.save(Vessel(vessel_id="mine", name="Mine"))
        transfer.import_cellar(other, tmp_path / "out")
        assert len(other.all(Vessel)) == 2
        assert other.undo() == "Taken back: Imported the cellar in out"
        assert [v.name for v in other.all(Vessel)] == ["Mine"]


def test_rules_of_an_export_join_those_that_are_here_and_replace_none(cellar, tmp_path):
    def rule(name: str, unit: str) -> rules.Rule:
        return rules.rule_from({"name": name, "topic": "a/{device}", "temperature": {"value": "@", "unit": unit}})

    for each in (rule("both", "°C"), rule("theirs", "°C")):
        rules.save_rule(cellar, each)
    transfer.export_cellar(cellar, tmp_path / "out")
    with Store.in_memory() as other:
        rules.save_rule(other, rule("both", "°F"))
        transfer.import_cellar(other, tmp_path / "out")
        assert [(r.name, r.takes[0].unit) for r in rules.stored_rules(other)] == [("both", "°F"), ("theirs", "°C")]


def test_the_readings_file_has_each_reading_as_sent_and_as_calibrated(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out")
    readings = pl.read_parquet(tmp_path / "out" / "readings.parquet")
    assert readings.height == 67
    in_batch = readings.filter(pl.col("batch_id") == "b", pl.col("device_id") == "float-1")
    assert in_batch.height == 20
    ours = cellar.readings_of("b").filter(pl.col("device_id") == "float-1")
    assert in_batch["calibrated_gravity_sg"].to_list() == ours["gravity_sg"].to_list()
    assert set(in_batch["inclination_deg"]) == {45.0}
    assert set(in_batch["calibrated_temperature_c"][:5]) == {18.5}  # the probe's
    after = readings.filter(pl.col("batch_id").is_null(), pl.col("vessel_id") == "v")
    assert after.height == 10
    assert after["calibrated_gravity_sg"].null_count() == 0
    stranger = readings.filter(pl.col("device_id") == "stranger")
    assert stranger.select("vessel_id", "gravity_sg", "time_flag").rows() == [(None, 1.04, "no clock")]
    text = pl.read_csv(tmp_path / "out" / "readings.csv", infer_schema_length=None)
    assert text.columns == readings.columns
    assert text.height == 67
    assert text["measured_at"][0] == "2026-03-01T07:00:00.000000Z"


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1+1", "@SUM(A1)", "\t=1"])
def test_no_text_is_a_formula_in_a_spreadsheet_and_parquet_keeps_it(cellar, tmp_path, name):
    cellar.save(Yeast(name=name))
    transfer.export_cellar(cellar, tmp_path / "out")
    assert name.strip() in [kept.strip() for kept in pl.read_parquet(tmp_path / "out" / "yeast.parquet")["name"]]
    cells = pl.read_csv(tmp_path / "out" / "yeast.csv", infer_schema=False)["name"]
    assert not [cell for cell in cells if cell[0] in "=+-@\t\r"]


def test_a_directory_with_other_things_is_left_alone(cellar, tmp_path):
    (tmp_path / "diary.txt").write_text("mine")
    with pytest.raises(EntryError, match="is not empty"):
        transfer.export_cellar(cellar, tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["diary.txt"]
    transfer.export_cellar(cellar, tmp_path / "out")
    transfer.export_cellar(cellar, tmp_path / "out")  # over an earlier export


def test_what_is_no_export_is_refused(store, tmp_path):
    with pytest.raises(ImportFileError, match="this is no export"):
        transfer.import_cellar(store, tmp_path)


def test_an_export_of_a_later_version_is_refused(cellar, store, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out")
    manifest = tmp_path / "out" / "cellar.json"
    manifest.write_text(json.dumps(json.loads(manifest.read_text()) | {"tables": 999}))
    with Store.in_memory() as other, pytest.raises(ImportFileError, match="later version"):
        transfer.import_cellar(other, tmp_path / "out")


def test_a_damaged_export_is_refused_before_anything_is_kept(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out")
    (tmp_path / "out" / "rejection.parquet").write_bytes(b"PAR1 and no more")
    with Store.in_memory() as other:
        with pytest.raises(ImportFileError, match=r"rejection\.parquet: it cannot be read"):
            transfer.import_cellar(other, tmp_path / "out")
        assert other.all(Vessel) == []


def test_reports_go_on_arriving_during_import_and_export(tmp_path):
    frame = pl.DataFrame({"s": range(300_000)}).select(
        (pl.col("s") * 60 + 1_700_000_000).alias("measured_at"), (1.05 - pl.col("s") / 1e7).alias("gravity_sg")
    )
    frame.write_parquet(tmp_path / "log.parquet")
    stop, sent = threading.Event(), []
    with Store.open(tmp_path / "data") as store:

        def arrive() -> None:
            while not stop.is_set():
                at = T + len(sent) * timedelta(seconds=1)
                sent.append(store.keep([Report(device_id="live", measured_at=at, received_at=at, gravity_sg=1.02)]))

        sender = threading.Thread(target=arrive)
        sender.start()
        steps: list[str] = []
        told = transfer.import_log(store, tmp_path / "log.parquet", device_id="f", progress=steps.append)
        during = len(sent)
        transfer.export_cellar(store, tmp_path / "out", progress=steps.append)
        stop.set()
        sender.join()
        assert told.new == 300_000
        assert during > 3
        assert sum(sent) == len(sent)
        assert store.counts()["readings"] == 300_000 + len(sent)
    assert "300,000 of 300,000 readings (100 %)" in steps


def zipped(folder: Path, file: Path) -> Path:
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for each in sorted(folder.glob("*")):
            archive.write(each, f"cellar/{each.name}")
    return file


def refused(file: Path) -> str:
    with Store.in_memory() as other:
        take_in = transfer.import_cellar if file.is_dir() else transfer.import_zip
        with pytest.raises(ImportFileError) as error:
            take_in(other, file)
        assert other.all(Vessel) == []
        assert other.counts()["readings"] == 0
        assert other.changes() == []
    return str(error.value)


def test_an_archive_that_unpacks_to_far_more_than_an_export_is_refused_before_it_is_unpacked(
    cellar, tmp_path, monkeypatch
):
    transfer.export_cellar(cellar, tmp_path / "out")
    (tmp_path / "out" / "rejection.parquet").write_bytes(bytes(30_000_000))
    file = zipped(tmp_path / "out", tmp_path / "bomb.zip")
    assert file.stat().st_size < 200_000
    monkeypatch.setattr(zipfile.ZipFile, "open", lambda *_: pytest.fail("nothing is to be unpacked"))
    said = refused(file)
    assert said.startswith("bomb.zip, rejection.parquet: it would unpack to 1,0")
    assert "30 MB" in said


def test_the_sum_of_all_members_has_a_limit(cellar, tmp_path, monkeypatch):
    transfer.export_cellar(cellar, tmp_path / "out")
    file = zipped(tmp_path / "out", tmp_path / "cellar.zip")
    sizes = [p.stat().st_size for p in (tmp_path / "out").glob("*.parquet")]
    monkeypatch.setattr("ingest.transfer.archive.MOST_BYTES", sum(sizes) - 1)
    assert "the archive: it would unpack to" in refused(file)


def test_a_member_whose_head_lies_about_its_size_is_refused(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out")
    size = 3_000_000
    (tmp_path / "out" / "rejection.parquet").write_bytes(bytes(size))
    file = zipped(tmp_path / "out", tmp_path / "liar.zip")
    data = file.read_bytes()
    assert data.count(size.to_bytes(4, "little")) == 2
    file.write_bytes(data.replace(size.to_bytes(4, "little"), (1000).to_bytes(4, "little")))
    assert "cannot be read" in refused(file)


def test_a_name_that_is_there_twice_is_refused(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out")
    file = zipped(tmp_path / "out", tmp_path / "twice.zip")
    with zipfile.ZipFile(file, "a") as archive, pytest.warns(UserWarning, match="Duplicate"):
        archive.write(tmp_path / "out" / "batch.parquet", "cellar/batch.parquet")
    assert "batch.parquet: it is there more than once" in refused(file)


def test_an_encrypted_member_is_refused_with_what_to_do(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out")
    file = zipped(tmp_path / "out", tmp_path / "secret.zip")
    data = bytearray(file.read_bytes())
    at = data.index(b"PK\x01\x02")
    while data[at : at + 4] == b"PK\x01\x02":  # every entry of the directory, APPNOTE 6.3.10, 4.3.12: flags at 8
        data[at + 8] |= 1
        lengths = [int.from_bytes(data[at + n : at + n + 2], "little") for n in (28, 30, 32)]
        at += 46 + sum(lengths)
    file.write_bytes(data)
    assert "it is encrypted. Make a zip without a password" in refused(file)


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"tables": 1}', '{"tables": "x", "readings": 1}', '{"tables": 1, "readings": -1}', "\x00"]
)
def test_a_manifest_that_is_malformed_is_named(cellar, tmp_path, text):
    transfer.export_cellar(cellar, tmp_path / "out")
    (tmp_path / "out" / "cellar.json").write_text(text)
    assert refused(tmp_path / "out").startswith("out, cellar.json: ")


@pytest.mark.parametrize("name", ["readings", "event"])
def test_a_mixture_of_two_exports_is_refused_before_anything_is_kept(cellar, tmp_path, name):
    transfer.export_cellar(cellar, tmp_path / "out")
    fewer = pl.read_parquet(tmp_path / "out" / f"{name}.parquet")[:-1]
    fewer.write_parquet(tmp_path / "out" / f"{name}.parquet")
    said = refused(tmp_path / "out")
    assert f"{name}.parquet: it has {fewer.height} rows, and cellar.json says {fewer.height + 1}" in said


def test_readings_that_cannot_be_read_are_seen_before_anything_is_kept(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out")
    file = tmp_path / "out" / "readings.parquet"
    pl.read_parquet(file).drop("gravity_sg").write_parquet(file)
    assert "readings.parquet: it cannot be read" in refused(tmp_path / "out")


STOPPED = """
import os, sys
from pathlib import Path
from ingest import transfer
from ingest.transfer import export, manifest
from ingest.model import Vessel
from ingest.store.store import Store

with Store.in_memory() as store:
    for n in range(3):
        store.save(Vessel(vessel_id=f"new-{n}", name=f"New {n}"))
    stop = lambda *_: os._exit(9)
    if sys.argv[2] == "writing":
        export._write_readings = stop
    else:
        replace, count = Path.replace, int(sys.argv[2])
        def counted(self, to):
            global count
            count -= 1
            if count < 0:
                stop()
            return replace(self, to)
        Path.replace = counted
    transfer.export_cellar(store, Path(sys.argv[1]))
"""


@pytest.mark.parametrize("at", ["writing", "1", "27"])
def test_an_export_over_an_earlier_one_that_is_killed_leaves_one_of_the_two_whole(cellar, tmp_path, at):
    transfer.export_cellar(cellar, tmp_path / "out")
    (tmp_path / "out" / "diary.txt").write_text("mine")
    done = subprocess.run([sys.executable, "-c", STOPPED, str(tmp_path / "out"), at], capture_output=True, check=False)
    assert done.returncode == 9, done.stderr
    with Store.in_memory() as other:
        transfer.import_cellar(other, tmp_path / "out")
        if at == "writing":
            assert contents(other) == contents(cellar)
        else:
            assert [v.name for v in other.all(Vessel)] == ["New 0", "New 1", "New 2"]
            assert other.counts()["readings"] == 0
    transfer.export_cellar(cellar, tmp_path / "out")
    with Store.in_memory() as other:
        transfer.import_cellar(other, tmp_path / "out")
        assert contents(other) == contents(cellar)
    assert (tmp_path / "out" / "diary.txt").read_text() == "mine"
    assert not [p.name for p in (tmp_path / "out").iterdir() if p.is_dir()]


@pytest.mark.skipif(sys.platform == "win32", reason="modes of files")
def test_an_export_is_its_owners_alone(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "out")
    assert (tmp_path / "out").stat().st_mode & 0o777 == 0o700
    assert {p.stat().st_mode & 0o777 for p in (tmp_path / "out").iterdir()} == {0o600}


def test_an_export_from_before_dry_hops_were_asked_for_keeps_what_was_planned(cellar, tmp_path):
    transfer.export_cellar(cellar, tmp_path / "old")
    manifest = tmp_path / "old" / "cellar.json"
    about = json.loads(manifest.read_text(encoding="utf-8"))
    for tables, doses in ((1, 1), (about["tables"], 0)):
        manifest.write_text(json.dumps({**about, "tables": tables}), encoding="utf-8")
        with Store.in_memory() as other:
            transfer.import_cellar(other, tmp_path / "old")
            [record] = other.all(BatchRecord)
            assert record.plan.get("dry_hops", 0) == doses
            assert record.plan["a"] == [1]
