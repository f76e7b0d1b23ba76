from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from dashboard.__main__ import main
from ingest.model import BatchRecord, Vessel
from ingest.settings.settings import DATABASE
from ingest.store.store import Store

PITCHED = datetime(2026, 3, 1, 9, tzinfo=UTC)


def test_a_cellar_is_exported_into_a_dataset_and_all_of_that_is_judged(tmp_path: Path, capsys):
    with Store.open(tmp_path / "data" / DATABASE) as store:
        vessel = store.save(Vessel(name="Barrel 1"))
        for number, name in enumerate(("Orchard", "Hedge")):
            pitched = PITCHED + timedelta(days=40 * number)
            ended = pitched + timedelta(days=30)
            store.save(BatchRecord(name=name, vessel_id=vessel.vessel_id, pitched_at=pitched, ended_at=ended))
    club = tmp_path / "club"
    assert main(["export", str(club), "--partitioned", "--cellar", "Mill", "--data", str(tmp_path / "data")]) == 0
    assert "batches: 2" in capsys.readouterr().out
    asked = ["assess", "--dataset", str(club), "--workers", "1", "--now", "2026-06-01T00:00Z"]
    assert main(asked) == 0
    first, second, counted = capsys.readouterr().out.splitlines()
    assert first == "Mill: Orchard: lag, as of 2026-03-31"  # never read: judged as of its end
    assert second.startswith("Mill: Hedge: lag")
    assert counted == "2 batches: 2 lag"
    assert main([*asked, "--json"]) == 0
    judged = json.loads(capsys.readouterr().out)
    assert [(each["cellar"], each["pitched"], each["finished"]) for each in judged] == [
        ("Mill", "2026-03", False),
        ("Mill", "2026-04", False),
    ]


@pytest.mark.parametrize(
    ("given", "problem"),
    [
        (["assess"], "either a log or --dataset"),
        (["assess", "log.csv", "--dataset", "club"], "either a log or --dataset"),
        (["assess", "log.csv", "--workers", "2"], "one log is judged at once"),
        (["assess", "--dataset", "club", "--scheduler", "tcp://host:1", "--workers", "2"], "workers of its own"),
        (["assess", "--dataset", "club"], "there are no batches in it"),
        (["export", "club", "--cellar", "Mill"], "Give --partitioned"),
    ],
)
def test_what_does_not_go_together_is_refused(given, problem, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(given) == 2
    assert problem in capsys.readouterr().err
