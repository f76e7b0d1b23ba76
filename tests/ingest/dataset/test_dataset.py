"""A dataset of two cellars: written, scanned by two engines, and judged in three ways that agree."""

from __future__ import annotations

import json
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import polars as pl
import pytest

from analysis import assess
from analysis.model import Added, Batch, Event
from ingest.dataset import judge, write
from ingest.dataset.layout import Part, batch_from_json, batch_to_json, parts_of
from ingest.errors import EntryError, ImportFileError
from ingest.model import BatchRecord, Device, Placement, Report, Vessel
from ingest.monitoring.outlook import Outlooks
from ingest.store.duckdb_file import duckdb
from ingest.store.store import Store

NOW = datetime(2026, 6, 1, tzinfo=UTC)
WITHIN = 1e-9
"""Where the same inference is run in another process."""
CELLARS = {"Söhne & Co / 1": (0, (60.0, 30.0, 5.0)), "Mill": (10, (33.0, 3.0))}
"""Of each: a seed, and how many days ago its batches were pitched; what is older than twenty has ended."""


def put_batch(store: Store, number: int, days: float) -> None:
    pitched = NOW - timedelta(days=days)
    ended = pitched + timedelta(days=16) if days > 20 else None
    vessel = store.save(Vessel(name=f"Vessel {number}"))
    store.save(
        BatchRecord(
            batch_id=f"batch-{number}",
            name=f"Batch {number}",
            vessel_id=vessel.vessel_id,
            pitched_at=pitched,
            ended_at=ended,
            drink="ale",
            yeast="Marrow",
            original_gravity_sg=1.05,
        )
    )
    device = store.save(Device(device_id=f"float-{number}", kind="float"))
    store.save(Placement(device_id=device.device_id, vessel_id=vessel.vessel_id, from_at=pitched, to_at=ended))
    hours = np.arange(1.0, 24 * min(days, 15.0), 2.0)
    noise = np.random.default_rng(number).normal(0, 0.0004, hours.size)
    gravity = 1.012 + 0.038 / (1 + np.exp((hours / 24 - 1.6) / 0.42)) + noise
    store.keep(
        [
            Report(device_id=device.device_id, measured_at=at, received_at=at, gravity_sg=float(sg), temperature_c=19.0)
            for sg, at in zip(gravity, (pitched + timedelta(hours=float(h)) for h in hours), strict=True)
        ]
    )


@contextmanager
def cellar(name: str) -> Iterator[Store]:
    first, ages = CELLARS[name]
    with Store.in_memory() as store:
        store.save(replace(store.preferences(), cellar_name=name))
        for at, days in enumerate(ages):
            put_batch(store, first + at, days)
        yield store


@pytest.fixture(autouse=True)
def _no_script_as_main(monkeypatch):
    """A page's test may have left its script as the main module, which new processes would run."""
    monkeypatch.setitem(sys.modules, "__main__", ModuleType("__main__"))


@pytest.fixture(scope="module")
def club(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A directory into which two cellars were exported; of the first, what it said of its batches itself."""
    directory = tmp_path_factory.mktemp("club") / "dataset"
    own: dict[str, Any] = {}
    for name in CELLARS:
        with cellar(name) as store:
            outlooks = Outlooks(store)
            made = write.export_partitioned(store, directory, outlooks=outlooks)
            assert made.batches == len(CELLARS[name][1])
            for record in store.all(BatchRecord):
                found = outlooks.of(record.batch_id, now=NOW)
                assert found is not None
                own[record.batch_id] = found.assessment.p_finished
    (directory.parent / "own.json").write_text(json.dumps(own))
    return directory


@pytest.fixture(scope="module")
def alone(club: Path) -> list[judge.Judged]:
    return judge.judge_all(club, now=NOW, workers=1)


def test_every_engine_scans_both_tables_by_cellar_and_month(club: Path) -> None:
    pattern = f"{club}/readings/**/*.parquet"
    lazily = pl.scan_parquet(pattern, hive_partitioning=True).group_by("cellar", "pitched").len()
    polars = {(cellar, str(month)): number for cellar, month, number in lazily.collect().iter_rows()}
    asked = "SELECT cellar, pitched, count(*) FROM read_parquet(?, hive_partitioning = true) GROUP BY ALL"
    found = {(cellar, str(month)[:7]): number for cellar, month, number in duckdb.execute(asked, [pattern]).fetchall()}
    assert found == {(cellar, month[:7]): number for (cellar, month), number in polars.items()}
    assert {key: number > 0 for key, number in found.items()} == {
        ("Söhne & Co / 1", "2026-04"): True,
        ("Söhne & Co / 1", "2026-05"): True,
        ("Mill", "2026-04"): True,
        ("Mill", "2026-05"): True,
    }
    batches = pl.scan_parquet(f"{club}/batches/**/*.parquet", hive_partitioning=True).select("batch_id").collect()
    assert batches.height == 5


def test_a_dataset_is_judged_as_its_cellars_judge_themselves(club: Path, alone: list[judge.Judged]) -> None:
    own = json.loads((club.parent / "own.json").read_text())
    assert len(alone) == len(own) == 5
    for said in alone:
        assert said["problem"] is None
        assert said["p_finished"] == pytest.approx(own[said["batch_id"]], abs=WITHIN)
    assert {said["finished"] for said in alone} == {True, False}


def agree(one: list[judge.Judged], other: list[judge.Judged]) -> None:
    assert [said["batch_id"] for said in one] == [said["batch_id"] for said in other]
    for a, b in zip(one, other, strict=True):
        assert a.keys() == b.keys()
        for name, value in a.items():
            if isinstance(value, float):
                assert b[name] == pytest.approx(value, abs=WITHIN), name
            elif name.startswith("finish_p") and value is not None:
                apart = datetime.fromisoformat(value) - datetime.fromisoformat(b[name])
                assert abs(apart.total_seconds()) < 1e-3, name
            else:
                assert b[name] == value, name


def test_processes_of_this_machine_agree_with_one(club: Path, alone: list[judge.Judged]) -> None:
    agree(alone, judge.judge_all(club, now=NOW, workers=2))


def test_a_dask_cluster_agrees_with_one_process(club: Path, alone: list[judge.Judged]) -> None:
    distributed = pytest.importorskip("distributed")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Dask's own, of ports that are taken and of a busy machine
        with distributed.LocalCluster(n_workers=1, threads_per_worker=2, dashboard_address=None) as cluster:
            agree(alone, judge.judge_all(club, now=NOW, scheduler=cluster.scheduler_address))


def test_a_batch_survives_the_way_through_json() -> None:
    batch = Batch(
        pitched_at=NOW,
        yeast="Märrow",
        expected_attenuation=(0.7, 0.8),
        events=(Event("feed", NOW, 1.04, "honey", added=Added("honey", mass_kg=0.5)), Event("pitch", NOW)),
        float_changed_at=(NOW,),
        volume_l=20.0,
    )
    assert batch_from_json(batch_to_json(batch)) == batch


def test_exported_again_a_cellar_replaces_its_own_part_alone(club: Path, tmp_path: Path) -> None:
    with cellar("Mill") as store:
        write.export_partitioned(store, tmp_path)
        put_batch(store, 12, 90.0)
        write.export_partitioned(store, tmp_path, cellar="Mill")
        assert {part.month for part in parts_of(tmp_path)} == {"2026-03", "2026-04", "2026-05"}
        with pytest.raises(EntryError, match="another cellar is called 'Söhne & Co / 1'"):
            write.export_partitioned(store, club, cellar="Söhne & Co / 1")
        assert len(parts_of(club)) == 4
        for wrong in ("", "x" * 300):
            with pytest.raises(EntryError, match="empty or too long"):
                write.export_partitioned(store, tmp_path, cellar=wrong)


def test_an_export_that_was_broken_off_while_it_moved_is_told_and_mended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rename = Path.rename

    def dies(path: Path, target: Path) -> Path:
        if "batches" in Path(target).parts:  # the second of the tables
            raise KeyboardInterrupt
        return rename(path, target)

    with cellar("Mill") as store:
        monkeypatch.setattr(Path, "rename", dies)
        with pytest.raises(KeyboardInterrupt):
            write.export_partitioned(store, tmp_path)
        monkeypatch.undo()
        with pytest.raises(ImportFileError, match="the export of Mill was broken off"):
            parts_of(tmp_path)
        write.export_partitioned(store, tmp_path)
    assert [len(judge.judge_part(part, NOW)) for part in parts_of(tmp_path)] == [1, 1]


@pytest.mark.parametrize(
    ("spoil", "problem"),
    [
        (lambda part: Path(part.lessons).write_text("{"), "had learned cannot be read"),
        (lambda part: Path(part.lessons).unlink(), "had learned cannot be read"),
        (lambda part: Path(part.readings).write_bytes(b"PAR1 no more"), "its files cannot be read"),
        (lambda part: Path(part.readings).unlink(), "its files cannot be read"),
    ],
)
def test_a_spoiled_file_is_named_with_its_cellar(tmp_path: Path, spoil: Any, problem: str) -> None:
    with cellar("Mill") as store:
        write.export_partitioned(store, tmp_path)
    part: Part = parts_of(tmp_path)[0]
    spoil(part)
    with pytest.raises(ImportFileError, match=problem):
        judge.judge_part(part, NOW)


def test_one_batch_that_cannot_be_judged_leaves_the_others(club: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(readings: pl.DataFrame, batch: Batch, **named: Any) -> Any:
        if batch.pitched_at == NOW - timedelta(days=30):
            raise ValueError("no such gravity")
        return assess(readings, batch, **named)

    monkeypatch.setattr(judge, "assess", fails)
    judged = [said for part in parts_of(club) for said in judge.judge_part(part, NOW)]
    assert [said["problem"] for said in judged].count("no such gravity") == 1
    assert [said["phase"] for said in judged].count(None) == 1


def test_a_directory_that_is_no_dataset_is_told(tmp_path: Path) -> None:
    with pytest.raises(ImportFileError, match="no batches in it"):
        parts_of(tmp_path)
