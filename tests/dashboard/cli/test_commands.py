"""The commands that answer and end, as a person calls them."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest

from dashboard.__main__ import main

LOGS = Path(__file__).parents[3] / "sample_data" / "logs"
PALE = [str(LOGS / "invented-ale-awaiting-hops.csv"), "--original-gravity", "1.050", "--pitched", "2026-03-12T14:00Z"]


def run(capsys, *arguments: str) -> tuple[int, str, str]:
    """Exit status, output and error output of a command."""
    try:
        status = main(arguments)
    except SystemExit as stop:
        status = int(stop.code or 0)
    said = capsys.readouterr()
    return status, said.out, said.err


def test_assess_answers_in_json_with_verdict_and_dates(capsys):
    status, out, _ = run(
        capsys, "assess", *PALE, "--drink", "ale", "--expect", "0.77-0.82", "--dry-hops", "1", "--json"
    )
    assert status == 0
    answer = json.loads(out)
    assert answer["phase"] == "finished"
    assert answer["finished"] is True
    assert answer["hold_met"] is True
    hops, package = (datetime.fromisoformat(answer[k]) for k in ("hop_day", "packaging_day"))
    assert (package - hops).days == 3  # common practice, no source
    assert answer["now"].endswith("Z")
    assert any("apparent attenuation so far" in sentence for sentence in answer["evidence"])
    assert all(isinstance(sentence, str) for sentence in (*answer["evidence"], *answer["advice"]))


def test_assess_plans_no_dry_hop_unless_one_is_asked_for(capsys):
    _, out, _ = run(capsys, "assess", *PALE, "--drink", "ale", "--expect", "0.77-0.82", "--json")
    answer = json.loads(out)
    assert answer["hop_day"] is None
    assert answer["packaging_day"] is not None
    assert "ops go in" not in answer["reason"]
    status, _, errors = run(capsys, "assess", *PALE, "--dry-hops", "1.5")
    assert status == 2
    assert "'1.5' is not a number of dry hop doses" in errors


@pytest.mark.parametrize("option", ["--diastatic", "--mixed-culture"])
def test_assess_believes_no_end_of_a_culture_that_eats_on(capsys, option):
    status, out, _ = run(capsys, "assess", *PALE, "--drink", "ale", "--expect", "0.77-0.82", option, "--json")
    assert status == 0
    answer = json.loads(out)
    assert answer["finished"] is False
    assert answer["ready"] is False
    assert answer["may_package"] is False


def test_assess_is_ready_only_where_the_gate_is(capsys):
    arguments = ("assess", *PALE, "--drink", "ale", "--expect", "0.77-0.82", "--json")
    answer = json.loads(run(capsys, *arguments)[1])
    assert answer["finished"] is True
    assert answer["ready"] is False  # no hand sample has agreed, and hops are to come
    assert any("Take a hand sample before you package" in caution for caution in answer["cautions"])


def test_assess_leaves_out_what_lies_in_the_future_and_says_so(capsys, tmp_path):
    log = tmp_path / "ahead.csv"
    text = Path(PALE[0]).read_text(encoding="utf-8").rstrip("\n")
    header, *rows = text.splitlines()
    last = rows[-1].split(",")
    at = header.split(",").index("measured_at")
    log.write_text("\n".join((text, ",".join([*last[:at], "2099-03-01T10:00:00Z", *last[at + 1 :]]))) + "\n")
    _, whole, _ = run(capsys, "assess", *PALE, "--json")
    status, out, err = run(capsys, "assess", str(log), *PALE[1:], "--json")
    assert status == 0
    assert "One reading lies in the future, up to 2099-03-01" in err
    told, usual = json.loads(out), json.loads(whole)
    assert (told["now"], told["held_h"], told["p_finished"]) == (usual["now"], usual["held_h"], usual["p_finished"])
    log.write_text(f"{header}\n" + ",".join([*last[:at], "2099-03-01T10:00:00Z", *last[at + 1 :]]) + "\n")
    status, _, err = run(capsys, "assess", str(log))
    assert status == 2
    assert "every reading lies in the future" in err
    assert "Set the clock right" in err


def test_assess_tells_nothing_in_json_that_only_the_next_assessment_asks_for(capsys):
    _, out, _ = run(capsys, "assess", *PALE, "--drink", "ale", "--json")
    assert not {"hysteresis", "fingerprint", "marked", "course"} & set(json.loads(out))


def test_assess_says_the_verdict_in_a_sentence_first(capsys):
    status, out, _ = run(capsys, "assess", *PALE, "--drink", "ale")
    assert status == 0
    assert out.splitlines()[0].startswith("Finished")
    assert "Why we say so" in out
    assert "None" not in out
    assert "nan" not in out


def test_assess_prints_the_trades_curve_with_its_errors_and_refuses_it_before_the_bend(capsys, tmp_path):
    _, out, _ = run(capsys, "assess", *PALE)
    told = out[out.index("The trade's curve") :]
    assert re.search(r"ends at 1\.\d{4} ± 0\.\d{4}", " ".join(told.split()))
    _, out, _ = run(capsys, "assess", *PALE, "--json")
    found = json.loads(out)["classical_fit"]
    assert 1.005 < found["end_sg"]["estimate"] < 1.015
    assert 1.04 < found["start_sg"]["estimate"] < 1.07  # the level long before pitching, above the original gravity
    assert 0 < found["end_sg"]["standard_error"] < 0.002
    early = tmp_path / "early.csv"
    early.write_text("\n".join((LOGS / "invented-ale-awaiting-hops.csv").read_text().splitlines()[:30]) + "\n")
    _, out, _ = run(capsys, "assess", str(early), *PALE[1:], "--json")
    assert "do not bend" in json.loads(out)["classical_fit"]["refused"]


def test_a_stalled_batch_is_promised_no_date(capsys):
    log = str(LOGS / "invented-ale-stalled.csv")
    facts = ["--original-gravity", "1.068", "--pitched", "2026-03-13T07:00Z", "--drink", "ale", "--expect", "0.74-0.79"]
    status, out, _ = run(capsys, "assess", log, *facts)
    assert status == 0
    assert out.startswith("Stalled at")
    assert "No date while it is stalled" in out
    assert "ikely done" not in out


def test_assessing_an_earlier_moment_uses_nothing_later(capsys, tmp_path):
    lines = (LOGS / "invented-ale-awaiting-hops.csv").read_text().splitlines()
    half = tmp_path / "half.csv"
    half.write_text("\n".join(lines[: len(lines) // 2]) + "\n")
    now = lines[len(lines) // 2 - 1].split(",")[0]
    _, whole, _ = run(capsys, "assess", *PALE, "--now", now, "--json")
    _, part, _ = run(capsys, "assess", str(half), *PALE[1:], "--now", now, "--json")
    assert json.loads(whole) == json.loads(part)


def test_an_event_reaches_the_assessment(capsys):
    log = str(LOGS / "invented-ale-creeping.csv")
    facts = ["--original-gravity", "1.051", "--pitched", "2026-03-10T02:00Z", "--drink", "ale"]
    status, out, _ = run(capsys, "assess", log, *facts, "--event", "dry hop=2026-03-18T08:00Z", "--json")
    assert status == 0
    answer = json.loads(out)
    assert answer["phase"] == "creeping"
    assert answer["creep"]["fall_sg"]["p50"] > 0.001


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--original-gravity", "1052"], "1.052"),
        (["--pitched", "yesterday"], "2026-03-01T10:00Z"),
        (["--pitched", "2026-03-01T10:00"], "no time zone"),
        (["--pitched", "2026-03-01"], "write 2026-03-01T00:00Z"),
        (["--expect", "80-72"], "0.72-0.80"),
        (["--event", "hopping=2026-03-01T10:00Z"], "dry hop"),
        (["--drink", "rum"], "mead"),
        (["--pitched", "2031-01-01T10:00Z"], "after the moment"),
        (["--pitched", "2016-03-12T14:00Z"], "Look at the year"),
        (["--pitched", "0001-01-01T00:00+14:00"], "of the year 1"),
        (["--time-zone", "Mars"], "Europe/Paris"),
        (["--event", "forced test=2026-03-15T10:00Z=nan"], "write 1.011"),
        (["--event", "feed=2026-03-15T10:00Z, treacle, 1 kg"], "honey"),
        (["--event", "feed=2026-03-15T10:00Z, honey, one kilo"], "1.2 kg"),
        (["--event", "crash=2026-03-15T10:00Z, water, 1 L"], "only a feed or a dilute"),
        (["--volume", "lots"], "usual: 1 to 2000"),
    ],
)
def test_what_cannot_be_used_is_answered_with_the_way_to_mend_it(capsys, arguments, said):
    status, _, err = run(capsys, "assess", PALE[0], *arguments)
    assert status == 2
    assert said in err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("measured_at,temperature_c\n2026-03-01T10:00Z,20\n", "no column gravity_sg"),
        ("measured_at,gravity_sg\n", "there are none"),
        ("measured_at,gravity_sg\n2026-03-01T10:00Z,1.05O\n", "row 1, column 'gravity_sg'"),
        ("measured_at,gravity_sg\n2026-03-01T10:00Z,1052\n", "is outside"),
        ("measured_at,gravity_sg\n1 March,1.052\n", "row 1, column 'measured_at'"),
    ],
)
def test_a_log_that_cannot_be_read_is_named_by_row_and_column(capsys, tmp_path, text, said):
    log = tmp_path / "log.csv"
    log.write_text(text)
    status, _, err = run(capsys, "assess", str(log))
    assert status == 2
    assert said in err
    assert log.name in err


def test_a_log_in_plato_with_semicolons_and_commas_is_judged_as_the_import_would_read_it(capsys, tmp_path):
    log = tmp_path / "notebook.csv"
    rows = [
        f"2026-03-{d:02d} 10:00;{str(x).replace('.', ',')};19,5" for d, x in ((1, 12.9), (3, 9.1), (5, 4.0), (8, 2.8))
    ]
    log.write_text("when;Extract;temperature_c\n" + "\n".join(rows) + "\n")
    columns = ("--column", "measured_at=when", "--column", "extract_plato=Extract")
    status, out, err = run(capsys, "assess", str(log), *columns, "--time-zone", "Europe/Vienna", "--json")
    assert status == 0
    # 2.8 °P are a gravity of 1.0109 (ASBC table, from memory).
    assert json.loads(out)["gravity_sg"]["p50"] == pytest.approx(1.0109, abs=0.004)
    assert "no zone" in err


def test_a_missing_log_is_said_to_be_missing(capsys):
    status, _, err = run(capsys, "assess", "nowhere.csv")
    assert status == 2
    assert "no such file" in err


def test_a_sheet_goes_from_json_to_json(capsys, tmp_path):
    given = tmp_path / "sheet.json"
    given.write_text(
        '{"drink": "mead", "volume_l": 18.927, "sulfite_ppm": 35, "sulfite_as": "salt", "tablet_salt_g": 0.44}'
    )
    status, out, _ = run(capsys, "sheet", "--input", str(given), "--json")
    assert status == 0
    answer = json.loads(out)
    # At the top of the usual 25 to 35 ppm of the salt, 5 US gallons take just over one and a half tablets
    # that declare 0.44 g of it (common practice, no source).
    assert answer["tablets"] == pytest.approx(1.5, abs=0.02)


@pytest.mark.parametrize(
    ("text", "said"),
    [('{"volume_l": -3}', "volume_l"), ("[]", "JSON object"), ("{", "not JSON"), ('{"volum_l": 3}', "volum_l")],
)
def test_a_sheet_that_cannot_be_worked_out_exits_2_with_the_key(capsys, tmp_path, text, said):
    given = tmp_path / "sheet.json"
    given.write_text(text)
    status, _, err = run(capsys, "sheet", "--input", str(given), "--json")
    assert status == 2
    assert said in err


def test_a_sheet_names_every_key_that_cannot_be_used(capsys, tmp_path):
    given = tmp_path / "sheet.json"
    given.write_text('{"volume_l": -3, "ph": 9, "drink": "alle"}')
    status, _, err = run(capsys, "sheet", "--input", str(given))
    assert status == 2
    assert [line.split(": ")[2] for line in err.splitlines()] == ["volume_l", "ph", "drink"]


def test_the_printable_sheet_is_one_file_without_anything_from_outside(capsys, tmp_path):
    given, page = tmp_path / "sheet.json", tmp_path / "sheet.html"
    given.write_text('{"drink": "ale", "volume_l": 20, "original_gravity_sg": 1.05, "final_gravity_sg": 1.011}')
    status, _, _ = run(capsys, "sheet", "--input", str(given), "--html", str(page))
    assert status == 0
    html = page.read_text(encoding="utf-8")
    assert not re.search(r"(src|href)=[\"']?(https?:)?//", html)
    assert "<script" not in html


def test_a_log_is_taken_in_once_and_comes_out_whole(capsys, tmp_path):
    data, out_dir = tmp_path / "cellar", tmp_path / "export"
    log = str(LOGS / "invented-ale-active.csv")
    rows = len(Path(log).read_text().splitlines()) - 1
    for new in (rows, 0):
        status, out, _ = run(capsys, "import", log, "--device", "float-1", "--data", str(data))
        assert status == 0
        assert f"new: {new}" in out.splitlines()
    status, out, _ = run(capsys, "export", str(out_dir), "--data", str(data))
    assert status == 0
    assert f"readings: {rows}" in out
    assert (out_dir / "readings.parquet").exists()


def test_a_cellar_goes_into_one_file_and_comes_back_from_it(capsys, tmp_path):
    data, file = tmp_path / "cellar", tmp_path / "share" / "one.duckdb"
    file.parent.mkdir()
    log = str(LOGS / "invented-ale-active.csv")
    rows = len(Path(log).read_text().splitlines()) - 1
    run(capsys, "import", log, "--device", "float-1", "--data", str(data))
    status, out, _ = run(capsys, "backup", str(file), "--data", str(data))
    assert (status, f"readings: {rows}" in out) == (0, True)
    status, _, err = run(capsys, "restore", str(file), "--data", str(data))
    assert (status, "is there already" in err) == (2, True)
    status, out, _ = run(capsys, "restore", str(file), "--data", str(tmp_path / "new"))
    assert (status, f"readings: {rows}" in out, "checksum: as written" in out) == (0, True, True)
    status, out, _ = run(capsys, "import", log, "--device", "float-1", "--data", str(tmp_path / "new"))
    assert "new: 0" in out.splitlines()


def test_nothing_is_made_where_a_cellar_is_only_asked_for(capsys, tmp_path):
    out = str(tmp_path / "out")
    for command in (["export", out], ["backup", out], ["plan", "Vessel 1"]):
        status, _, err = run(capsys, *command, "--data", str(tmp_path / "mistyped"))
        assert status == 2
        assert "no cellar" in err
    assert not (tmp_path / "mistyped").exists()


def test_a_batch_that_is_not_there_is_answered_with_those_that_are(capsys, tmp_path):
    from ingest.model import BatchRecord, Vessel
    from ingest.store.store import Store

    with Store.open(tmp_path) as store:
        vessel = store.save(Vessel(name="Cask nine"))
        store.save(
            BatchRecord(name="Gatepost", vessel_id=vessel.vessel_id, pitched_at=datetime(2026, 3, 1, tzinfo=UTC))
        )
    status, _, err = run(capsys, "plan", "Gatpost", "--data", str(tmp_path))
    assert status == 2
    assert "Gatepost (batch-" in err
    for name in ("gatepost", "Cask nine"):
        status, out, _ = run(capsys, "plan", name, "--json", "--data", str(tmp_path))
        assert status == 0
        answer = json.loads(out)
        assert answer["packaging_day"] is None
        assert answer["reason"]


def test_decoding_uses_the_rules_made_on_screen_and_says_so(capsys, tmp_path):
    from ingest import commands, control
    from ingest.decoding import rules
    from ingest.store.store import Store

    own = {"name": "barn", "topic": "barn/{device}", "temperature": {"value": "t", "unit": "°F"}}
    asked = ["decode", "--topic", "barn/p1", "--payload", '{"t": 68}', "--data", str(tmp_path)]
    status, out, _ = run(capsys, *asked)
    assert status == 2
    assert "no rule fits" in out
    with Store.open(tmp_path) as store:
        rules.save_rule(store, rules.rule_from(own))
    status, out, _ = run(capsys, *asked)  # nobody owns the cellar
    assert status == 0
    assert "Rule 'barn' (made on screen)" in out
    assert "temperature_c = 20 °C" in out
    with Store.open(tmp_path) as store:  # a server owns it
        answers = {"rules": lambda arguments, progress: commands.rules(store, arguments, progress)}
        with control.serving(tmp_path, answers):
            status, again, _ = run(capsys, *asked)
    assert status == 0
    assert "Rule 'barn' (made on screen)" in again


def test_help_is_given_where_no_command_is(capsys):
    status, out, _ = run(capsys)
    assert status == 2
    assert "tunroom demo" in out


def test_progress_is_drawn_as_a_bar_where_a_share_is_known():
    from dashboard.cli.commands import with_bar

    assert with_bar("device 1 of 4 (25 %)") == "[=====               ] device 1 of 4 (25 %)"
    assert with_bar("checking") == "checking"


def test_a_page_that_cannot_be_written_is_named(capsys, tmp_path):
    given = tmp_path / "sheet.json"
    given.write_text("{}")
    status, _, err = run(capsys, "sheet", "--input", str(given), "--html", str(tmp_path / "no" / "page.html"))
    assert status == 2
    assert "page.html" in err
    given.write_text("[" * 100_000)
    status, _, err = run(capsys, "sheet", "--input", str(given))
    assert status == 2
    assert "not JSON" in err


OTHER_UNITS = [word for unit in ("°Bx", "f", "psi", "us gal", "oz") for word in ("--unit", unit)]
FIRST_UNITS = re.compile(r"\bSG\b|°C|°P|\bkPa\b|\bg/L\b|\d[ \u202f](?:g|L|bar)\b|(?<![\d.])1\.0\d\d(?!\d)|\d points?\b")


def test_answers_in_words_come_in_the_units_that_are_asked_for_and_json_keeps_its_own(capsys, tmp_path):
    given = tmp_path / "sheet.json"
    given.write_text(
        '{"drink": "ale", "package": "bottle", "volume_l": 18.92705892, "original_gravity_sg": 1.05, "hops_g_per_l": 4,'
        ' "final_gravity_sg": 1.011, "carbonation_volumes": 2.4, "warmest_c": 20, "bottle_rating_kpa": 900}'
    )
    page = tmp_path / "sheet.html"
    calls = (["assess", *PALE, "--drink", "ale"], ["sheet", "--input", str(given), "--html", str(page)])
    for call in calls:
        _, usual, _ = run(capsys, *call)
        assert FIRST_UNITS.search(usual)
        status, told, _ = run(capsys, *call, *OTHER_UNITS)
        assert status == 0
        assert not FIRST_UNITS.search(told), FIRST_UNITS.search(told)
        _, plain, _ = run(capsys, *call, "--json")
        _, asked, _ = run(capsys, *call, *OTHER_UNITS, "--json")
        assert json.loads(plain) == json.loads(asked)
    assert "5.00\u202fUS gal" in page.read_text(encoding="utf-8")  # 1 US gallon is 3.785411784 L (NIST Handbook 44)


def test_a_unit_that_is_none_is_refused_with_those_that_are(capsys):
    status, _, err = run(capsys, "assess", *PALE, "--unit", "furlong")
    assert status == 2
    assert "°Bx" in err
