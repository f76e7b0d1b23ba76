from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from analysis.display_units import DisplayUnits
from analysis.packaging import sheet
from analysis.wording.sheet_json import as_json
from dashboard.__main__ import main
from dashboard.sheet.text import sheet_text
from ingest.model import Preferences

GIVEN = {
    "drink": "ale",
    "jurisdiction": "US",
    "package": "bottle",
    "volume_l": 19,
    "original_gravity_sg": 1.050,
    "final_gravity_sg": 1.011,
    "ph": 4.3,
    "carbonation_volumes": 2.4,
    "warmest_c": 20,
    "finished": True,
    "hold_met": True,
    "hand_sample": False,
    "remaining_fall_sg": 0.001,
    "bottle_rating_kpa": 800,
    "hops_g_per_l": 5,
    "hop_shares": {"Brindle": 2, "Osprey": 1},
    "sulfite_ppm": 30,
    "sulfite_as": "salt",
    "tablet_salt_g": 0.44,
}


@pytest.fixture
def asked(tmp_path: Path) -> Path:
    path = tmp_path / "sheet.json"
    path.write_text(json.dumps(GIVEN), encoding="utf-8")
    return path


def test_the_text_leads_with_the_verdict_and_every_reason() -> None:
    answer = as_json(sheet(GIVEN), DisplayUnits(pressure_unit="bar"))  # as preferences are unless they are changed
    text = sheet_text(sheet(GIVEN), Preferences())
    flat = " ".join(text.split())
    assert text.startswith("Caution. Something here needs your care first.")
    figures = flat.index("Alcohol and attenuation")
    for reason in answer["bottle_reasons"]:
        assert flat.index(" ".join(reason.split())) < figures
    for sentence in [*answer["cautions"], *answer["checklist"]]:
        assert flat.count(" ".join(sentence.split())) == 1


def test_the_text_has_labels_and_units_and_no_key_or_object(asked: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sheet", "--input", str(asked)]) == 0
    text = capsys.readouterr().out
    assert re.search(r"Priming sugar +\d+(\.\d+)?\u202fg", text)
    assert re.search(r"Pressure to expect +\d\.\d\d\u202fbar", text)
    assert re.search(r"Chance of more pressure than its rating +(under )?\d+\.\d\u202f%", text)
    assert re.search(r"Brindle +63\.0\u202fg", text)
    assert "kPa" not in text  # the sentences are in the units of the figures
    assert not re.search(r"\w_\w|[{}\[\]]|None", text)


def test_the_parts_of_a_priming_mix_and_what_is_poured_are_printed() -> None:
    mix = {"priming_shares": {"sucrose": 1, "fruit juice": 9}, "priming_brix": 11.5}
    text = sheet_text(sheet({**GIVEN, **mix, "hand_sample": True}), Preferences())
    assert re.search(r"Priming sugar +\d+(\.\d+)?\u202fg of mix \(\d+\u202fmL\)", text)
    assert re.search(r"Of it sucrose +\d+(\.\d+)?\u202fg", text)
    assert re.search(r"Of it fruit juice +\d+(\.\d+)?\u202fg", text)


def test_scripts_get_the_answer_of_the_sheet_itself(asked: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sheet", "--input", str(asked), "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == json.loads(json.dumps(as_json(sheet(GIVEN), DisplayUnits())))


def test_a_refusal_without_a_package_leads_the_text_too() -> None:
    sweet = sheet({"drink": "ale", "jurisdiction": "EU", "sulfite_ppm": 60, "sulfite_as": "so2"})
    assert sheet_text(sweet, Preferences()).startswith("Refused\n  - 60 mg/L of SO2 is at or over the limit")
    assert sheet_text(sheet({}), Preferences()).startswith("No verdict")
