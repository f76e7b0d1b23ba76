"""Commands that tell what batches went through, as a person calls them."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import polars as pl
import pytest

from dashboard.__main__ import main
from dashboard.queries import tastings
from ingest.model import BatchRecord, TrialRecord
from ingest.monitoring import MILESTONE_FILE
from ingest.settings import DATABASE
from ingest.store import Store
from tests.dashboard.conftest import NOW, put_batch


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A cellar on disk with ended batches, one under way, and a trial of two."""
    directory = tmp_path_factory.mktemp("cellar")
    with Store.open(directory / DATABASE) as store:
        put_batch(store, 1, "=Harbour Pale", 20, ended_at=NOW - timedelta(days=6))
        put_batch(store, 2, "Young", 1.0)
        facts = {"ended_at": NOW - timedelta(days=6), "split_of": "Twin wort"}
        twins = [
            put_batch(store, n, f"{yeast} twin", 20, yeast=yeast, end=end, **facts)
            for n, yeast, end in ((3, "Marrow", 1.013), (4, "Dune", 1.007))
        ]
        arms = tuple((b.yeast or "", b.batch_id) for b in twins)
        store.save(
            TrialRecord(name="Two yeasts", question="Which is drier?", arms=arms, decides="apparent_attenuation")
        )
    return directory


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    status = main(arguments)
    said = capsys.readouterr()
    return status, said.out, said.err


def test_milestones_are_told_in_words_units_and_files(capsys, data, tmp_path):
    csv, parquet = tmp_path / "m.csv", tmp_path / "m.parquet"
    given = ["milestones", "--data", str(data), "--csv", str(csv), "--parquet", str(parquet)]
    status, out, _ = run(capsys, *given, "--unit", "P", "--unit", "F")
    assert status == 0
    assert "=Harbour Pale\n" in out
    assert "°P a day" in out
    assert "°F (" in out
    assert "°C" not in out
    frame = pl.read_parquet(parquet)
    assert frame.schema == MILESTONE_FILE
    ended = frame.filter(pl.col("batch") == "=Harbour Pale")
    attenuation = ended.filter(pl.col("milestone") == "apparent_attenuation").row(0, named=True)
    # 1.052 to 1.011 in °P: 1 - 2.81 / 12.84.
    assert attenuation["p10"] - 0.02 < 1 - 2.81 / 12.84 < attenuation["p90"] + 0.02
    assert "finish_h" not in frame.filter(pl.col("batch") == "Young")["milestone"].to_list()
    written = pl.read_csv(csv)
    assert written.columns == frame.columns
    assert written["batch"][0] == "'=Harbour Pale"  # a spreadsheet runs no name as a formula


def test_one_batch_is_told_as_json_and_an_unknown_one_is_refused(capsys, data):
    status, out, _ = run(capsys, "milestones", "=Harbour Pale", "--data", str(data), "--json")
    assert status == 0
    assert {row["batch"] for row in json.loads(out)} == {"=Harbour Pale"}
    status, _, errors = run(capsys, "milestones", "Nobody", "--data", str(data))
    assert status == 2
    assert "no batch is called 'Nobody'" in errors


def test_a_file_that_cannot_be_written_is_said_so(capsys, data, tmp_path):
    nowhere = str(tmp_path / "missing" / "m.csv")
    status, _, errors = run(capsys, "milestones", "Young", "--data", str(data), "--csv", nowhere)
    assert status == 2
    assert "m.csv" in errors
    assert "cannot be written" in errors


def test_a_trial_is_reported_as_json_page_and_data(capsys, data, tmp_path):
    html, csv = tmp_path / "trial.html", tmp_path / "trial.csv"
    given = ["report", "trial", "two yeasts", "--data", str(data), "--html", str(html), "--csv", str(csv)]
    status, out, _ = run(capsys, *given, "--json")
    assert status == 0
    facts = json.loads(out)
    assert list(facts) == [
        "question", "arms", "differs", "equal", "milestones", "tasting", "agreement", "conclusion", "chance",
    ]  # fmt: skip
    assert facts["question"] == "Which is drier?"
    assert facts["differs"] == ["yeast"]
    assert "Dune" in facts["conclusion"]
    assert 0.5 < facts["chance"] < 1.0
    text = html.read_text(encoding="utf-8")
    assert "<h1>Which is drier?</h1>" in text
    assert facts["conclusion"] in text
    assert text.count("<polyline") == 2
    assert set(pl.read_csv(csv)["batch"]) == {"Marrow twin", "Dune twin"}


def test_a_batch_is_reported_in_words_and_as_a_page(capsys, data, tmp_path):
    html = tmp_path / "batch.html"
    status, out, _ = run(capsys, "report", "batch", "Dune twin", "--data", str(data), "--html", str(html))
    assert status == 0
    assert out.startswith("Dune twin\n")
    assert "clears nothing for packaging" in out
    text = html.read_text(encoding="utf-8")
    assert "<h2>Milestones" in text
    assert text.count("<polyline") == 1
    assert "clears nothing for packaging" in text


def test_a_trial_that_is_not_there_is_refused_with_those_that_are(capsys, data):
    status, _, errors = run(capsys, "report", "trial", "Nobody", "--data", str(data))
    assert status == 2
    assert "no trial is called 'Nobody'" in errors
    assert "Two yeasts" in errors


def test_a_trial_is_found_by_how_its_name_begins(capsys, data):
    assert run(capsys, "report", "trial", "two y", "--data", str(data))[0] == 0


@pytest.fixture
def tasting(data):
    """The twins, tasted by three of whom the last is not done."""
    with Store.open(data / DATABASE) as store:
        twins = [b for b in store.all(BatchRecord) if b.split_of == "Twin wort"]
        arms = tuple((b.yeast or "", ((b.batch_id, 1.0),)) for b in twins)
        draft = tastings.Draft("Which twin?", "score", arms, ("Ada", "Ben", "Cai"), (), "not known")
        made = tastings.make(store, draft)
        for taster, more in zip(tastings.tasters_of(store, made), (0, 5, 9), strict=True):
            said = [
                replace(
                    tastings.draft_of(store, taster, code), score=60.0 + more * arm, note="=SUM(A1)", aromas=("hay",)
                )
                for code, arm in made.glasses
            ]
            if taster.name == "Cai":
                tastings.keep_glass(store, taster, said[0])
            else:
                tastings.keep_ballot(store, made, taster, said)
    yield made
    with Store.open(data / DATABASE) as store:
        store.remove(made)


def test_a_tasting_is_told_only_once_it_is_over(capsys, data, tasting, tmp_path):
    html, csv, parquet = (tmp_path / f"tasting.{kind}" for kind in ("html", "csv", "parquet"))
    files = ["--html", str(html), "--csv", str(csv), "--parquet", str(parquet)]
    status, out, errors = run(capsys, "report", "tasting", "which", "--data", str(data), *files, "--json")
    assert status == 2
    assert "'Which twin?' is not over: 2 of 3 tasters are done" in errors
    assert not out
    assert not any(path.exists() for path in (html, csv, parquet))
    with Store.open(data / DATABASE) as store:
        tastings.end(store, tasting)
    status, out, _ = run(capsys, "report", "tasting", tasting.tasting_id, "--data", str(data), *files, "--json")
    assert status == 0
    facts = json.loads(out)
    assert list(facts) == [
        "tasting_id", "name", "method", "tasters", "drinks", "at", "agreement", "conclusion", "chance", "said",
    ]  # fmt: skip
    assert facts["chance"] == max(each["chance_best"] for each in facts["drinks"])
    assert len(facts["said"]) == 5
    text = html.read_text(encoding="utf-8")
    assert facts["conclusion"] in text
    assert text.count('r="6"') == 2
    assert "Yeast, by the scores of one tasting" in text
    assert pl.read_parquet(parquet).to_dicts() == facts["said"]
    assert set(pl.read_csv(csv)["note"]) == {"'=SUM(A1)"}  # a spreadsheet runs no note as a formula
