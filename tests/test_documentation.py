"""What the documents say is true: everything that can be given or sent stands in the manual, and its examples work."""

from __future__ import annotations

import argparse
import json
import re
import shlex
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import trustme

from analysis.display_units import DisplayUnits
from analysis.model import EVENT_KINDS, PHASES
from analysis.packaging import fields
from analysis.units import plato_to_sg
from analysis.wording.sheet_json import ANSWERS
from dashboard.__main__ import _parser
from dashboard.cli.assess import _event
from dashboard.screens.how_it_works.guide import FOLDER
from ingest.decoding.decode import decode
from ingest.decoding.quantities import NATIVE_NAMES
from ingest.decoding.rules import QUANTITY_UNITS, TIME_UNITS, rule_from
from ingest.model import BatchRecord, Device, Placement, Report, Vessel
from ingest.monitoring.alert_conditions import NOTIFY_KINDS
from ingest.monitoring.notifier import verdict_message
from ingest.monitoring.outlook import Outlooks
from ingest.settings.settings import SETTINGS, load
from ingest.store.store import Store
from ingest.transfer.export import READINGS_FILE
from ingest.transfer.log_file import OURS
from tests import documents
from tests.analysis.packaging.answers import sheet

ROOT = Path(__file__).parents[1]
GUIDE = {path.stem: path.read_text(encoding="utf-8") for path in sorted(FOLDER.glob("*.md"))}
README = (ROOT / "README.md").read_text(encoding="utf-8")
DOCUMENTS = {
    path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8")
    for path in (
        ROOT / "README.md",
        ROOT / "DEVELOPERS.md",
        ROOT / "analysis" / "README.md",
        *sorted(FOLDER.glob("*.md")),
    )
}
NOW = datetime(2026, 3, 1, 9, tzinfo=UTC)


def blocks(text: str, language: str) -> list[str]:
    """The fenced examples in this language, without the indent of a list."""
    found = re.findall(rf"^( *)```{language}\n(.*?)^ *```", text, re.DOTALL | re.MULTILINE)
    return ["\n".join(line.removeprefix(indent) for line in body.splitlines()) for indent, body in found]


def every_block(language: str) -> list[str]:
    return [block for text in (README, *GUIDE.values()) for block in blocks(text, language)]


def without_examples(text: str) -> str:
    return re.sub(r"^ *```.*?^ *```", "", text, flags=re.DOTALL | re.MULTILINE)


def named(text: str) -> set[str]:
    """What stands in code marks outside the examples."""
    return set(re.findall(r"`([^`\n]+)`", without_examples(text)))


def told(text: str, heading: str) -> str:
    """The section under a heading of the second level."""
    found = re.search(rf"^## {re.escape(heading)}\n(.*?)(?=^## |\Z)", text, re.DOTALL | re.MULTILINE)
    assert found is not None, heading
    return found[1]


# --- README.md and how the documents hang together -------------------------------------------------------------------


def test_the_readme_opens_with_the_job_in_one_paragraph():
    first = README.split("\n\n")[1]
    for word in ("fermentations", "finished", "dry hops", "package", "yeast"):
        assert word in first


def test_the_readme_is_short():
    assert len(README.splitlines()) <= 120


def anchors(text: str) -> set[str]:
    """Addresses of headings, as both the repository's viewer and the dashboard make them of plain words."""
    titles = re.findall(r"^#{1,6} +(.+)$", without_examples(text), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-") for title in titles}


@pytest.mark.parametrize("name", list(DOCUMENTS))
def test_every_link_between_documents_leads_somewhere(name):
    for target in re.findall(r"\]\(([^)\s]+)\)", without_examples(DOCUMENTS[name])):
        if target.startswith("http"):
            continue
        path, _, anchor = target.partition("#")
        there = ((ROOT / name).parent / path).resolve() if path else ROOT / name
        assert there.exists(), target
        if anchor:
            assert anchor in anchors(there.read_text(encoding="utf-8")), target


@pytest.mark.parametrize("name", list(GUIDE))
def test_headings_of_the_manual_have_one_address_everywhere(name):
    # An apostrophe, or a capital inside a word, gives another address in the dashboard than in the repository's viewer.
    for title in re.findall(r"^## (.+)$", without_examples(GUIDE[name]), re.MULTILINE):
        assert re.fullmatch(r"[A-Z][a-z]*(:?[ -][A-Za-z][a-z]*)*", title), title


@pytest.mark.parametrize("name", sorted(set(GUIDE) - {"index"}))
def test_every_part_of_the_manual_is_reached_and_begins_with_its_contents(name):
    assert f"({name}.md)" in GUIDE["index"]
    assert f"(dashboard/guide/{name}.md)" in README
    listed = re.findall(r"^- \[(.+)\]\(#", GUIDE[name], re.MULTILINE)
    assert listed == re.findall(r"^## (.+)$", without_examples(GUIDE[name]), re.MULTILINE)


@pytest.mark.parametrize("name", ["DEVELOPERS.md", "analysis/README.md"])
def test_every_path_that_is_named_exists(name):
    paths = re.findall(r"\b((?:analysis|ingest|dashboard|sample_data|tests)/[\w./]*)", DOCUMENTS[name])
    assert len(paths) > 10
    for path in paths:
        assert (ROOT / path.rstrip(".")).exists(), path


def test_every_module_that_a_folders_row_names_is_in_that_folder():
    rows = re.findall(r"^\| `([\w/]+/)` \|(.*)\|$", DOCUMENTS["DEVELOPERS.md"], re.MULTILINE)
    assert len(rows) > 10
    for folder, says in rows:
        for module in re.findall(r"`(\w+\.py)`", says):
            assert (ROOT / folder / module).is_file(), f"{folder}{module}"


# --- the command line ------------------------------------------------------------------------------------------------


def parsers() -> dict[str, argparse.ArgumentParser]:
    action = next(a for a in _parser()._actions if isinstance(a, argparse._SubParsersAction))
    return dict(action.choices)


def options() -> Iterator[tuple[str, str]]:
    for command, parser in parsers().items():
        yield from ((command, o) for a in parser._actions for o in a.option_strings if o.startswith("--"))


@pytest.mark.parametrize("command", list(parsers()))
def test_every_command_stands_in_the_manual(command):
    table = told(GUIDE["settings-and-commands"], "Commands")
    assert re.search(rf"^\| `tunroom {command}\b", table, re.MULTILINE)


@pytest.mark.parametrize(("command", "option"), list(options()))
def test_every_option_of_a_command_stands_in_the_manual(command, option):
    rows = re.findall(r"^\| (.+?) \| `(--[\w-]+)", told(GUIDE["settings-and-commands"], "Options"), re.MULTILINE)
    assert any(o == option and (of == "all" or f"`{command}`" in of) for of, o in rows)


def test_the_manual_names_no_option_that_there_is_not():
    there = {(command, option) for command, option in options()}
    for of, option in re.findall(
        r"^\| (.+?) \| `(--[\w-]+)", told(GUIDE["settings-and-commands"], "Options"), re.MULTILINE
    ):
        for command in re.findall(r"`([\w-]+)`", of):
            assert command == "tunroom" or (command, option) in there


def test_every_command_in_an_example_can_be_parsed():
    count = 0
    for block in every_block("sh"):
        whole = block.replace("\\\n", " ")  # as the shell joins a line that goes on
        for command in re.findall(r"(?:^|&& |\| )(?:\.venv/bin/)?tunroom .*?(?=$)", whole, re.MULTILINE):
            words = shlex.split(command.lstrip("&| "))
            assert _parser().parse_args(words[1:]).run is not None, command
            count += 1
    assert count >= 6


@pytest.mark.parametrize("kind", EVENT_KINDS)
def test_every_event_kind_is_explained_and_accepted_by_assess(kind):
    assert re.search(rf"^\| `{kind}` \| .+", told(GUIDE["set-up"], "Events"), re.MULTILINE)
    assert _event(f"{kind}=2026-03-08T09:00Z").kind == kind


# --- settings --------------------------------------------------------------------------------------------------------


def test_every_setting_stands_in_the_example_file():
    example = next(b for b in blocks(GUIDE["settings-and-commands"], "toml") if "data_dir" in b)
    values = tomllib.loads(example)
    there = {"data_dir"} | {
        f"{table}.{key}" for table in ("broker", "server", "backup", "log") for key in values[table]
    }
    assert there == set(SETTINGS)


def test_the_example_settings_load(tmp_path):
    [example] = blocks(GUIDE["settings-and-commands"], "toml")
    (tmp_path / "tunroom.toml").write_text(example)
    for file in ("broker.password", "ca.pem", "client.pem", "client.key"):
        (tmp_path / file).write_text("something\n")
    pair = trustme.CA().issue_cert("tun.example")
    pair.cert_chain_pems[0].write_to_path(tmp_path / "tun.pem")
    pair.private_key_pem.write_to_path(tmp_path / "tun.key")
    settings = load(tmp_path / "tunroom.toml", None, {})
    assert settings.broker.tls
    assert settings.data_dir == tmp_path / "cellar"


def test_the_example_settings_for_the_network_load(tmp_path):
    (tmp_path / "tunroom.toml").write_text(next(b for b in blocks(GUIDE["connect"], "toml") if "0.0.0.0" in b))
    (tmp_path / "broker.password").write_text("correct horse\n")
    settings = load(tmp_path / "tunroom.toml", None, {})
    assert settings.broker.listen == "0.0.0.0"
    assert settings.broker.password == "correct horse"
    assert settings.server.port == 8600


# --- messages --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [*NATIVE_NAMES, "measured_at", "measured_at_ms", "sequence"])
def test_every_name_that_a_device_may_send_is_explained(name):
    table = told(GUIDE["messages"], "What a device may send")
    assert re.search(rf"^\| [^|]*`{name}`[^|]* \| .+", table, re.MULTILINE)


@pytest.mark.parametrize("text", [README, GUIDE["connect"]], ids=["README", "connect"])
def test_the_shell_example_of_a_reading_decodes(text):
    topic, payload = re.search(r"mosquitto_pub -q 1 -t (\S+) -m '(.*?)'", text).groups()
    decoded = decode(topic, payload.encode(), received_at=NOW, prefix="tunroom", rules=[])
    assert not decoded.faults
    [report] = decoded.reports
    assert (report.device_id, report.gravity_sg, report.temperature_c) == ("float-1", 1.048, 19.5)


def test_the_python_example_of_a_reading_decodes():
    [code] = every_block("python")
    body = re.search(r"reading = (\{.*?\})", code).group(1).replace("time.time()", str(NOW.timestamp()))
    decoded = decode("tunroom/report/float-1", json.dumps(json.loads(body)).encode(), received_at=NOW, rules=[])
    assert not decoded.faults
    [report] = decoded.reports
    assert report.inclination_deg == 52.4
    assert report.measured_at == NOW
    compile(code, "connect.md", "exec")


def test_the_senml_example_decodes():
    received = datetime.fromtimestamp(1772352000 + 60, UTC)
    [payload] = every_block("json")
    decoded = decode("tunroom/report/float-1", payload.encode(), received_at=received, prefix="tunroom", rules=[])
    assert not decoded.faults
    [report] = decoded.reports
    assert report.device_id == "float-1"
    assert report.temperature_c == 19.5
    assert report.gravity_sg == pytest.approx(1.048, abs=1e-4)  # 1046.1 kg/m³ over water's 998.2 at 20 °C


def example_rules() -> str:
    [example] = [b for b in blocks(GUIDE["messages"], "toml") if "[[rules]]" in b]
    return example


def test_the_example_rule_reads_the_example_message():
    rules = [rule_from(rule) for rule in tomllib.loads(example_rules())["rules"]]
    topic, payload = re.search(r"--topic (\S+) \\\n +--payload '(.*?)'", GUIDE["messages"]).groups()
    decoded = decode(topic, payload.encode(), received_at=NOW, prefix="tunroom", rules=rules)
    assert not decoded.faults
    [report] = decoded.reports
    assert report.device_id == "float-3"
    assert report.temperature_c == pytest.approx(19.0)
    assert report.gravity_sg == pytest.approx(plato_to_sg(11.8))


@pytest.mark.parametrize(("quantity", "units"), [*QUANTITY_UNITS.items(), ("measured_at", TIME_UNITS)])
def test_every_unit_of_a_rule_stands_beside_its_quantity(quantity, units):
    line = next(line for line in example_rules().splitlines() if line.startswith(f"{quantity} ="))
    assert line.partition("#")[2].strip() == ", ".join(units)


@pytest.mark.parametrize("topic", ["tunroom/report/<device>", "<prefix>/status", "<prefix>/verdict/<vessel>"])
def test_every_topic_of_ours_stands_in_the_manual(topic):
    assert topic in named(GUIDE["messages"])


@pytest.mark.parametrize("kind", NOTIFY_KINDS)
def test_every_kind_of_message_to_a_person_is_named(kind):
    says = " ".join(told(GUIDE["messages"], "Notifications").split())
    assert re.search(rf"[:,] {kind}[,.]", says)


@pytest.fixture
def watched(tmp_path) -> Iterator[Store]:
    """A cellar in which one float has told of a batch for two days."""
    with Store.open(tmp_path / "cellar" / "tunroom.duckdb") as store:
        pitched = datetime.now(UTC).replace(microsecond=0) - timedelta(days=2)
        vessel = store.save(Vessel(name="Barrel 1"))
        store.save(
            BatchRecord(
                name="Plum", vessel_id=vessel.vessel_id, pitched_at=pitched, drink="ale", original_gravity_sg=1.05
            )
        )
        store.save(Device(device_id="float-1", kind="float"))
        store.save(Placement(device_id="float-1", vessel_id=vessel.vessel_id, from_at=pitched))
        times = [pitched + timedelta(hours=h) for h in range(1, 48)]
        store.keep(
            [
                Report(
                    device_id="float-1",
                    measured_at=at,
                    received_at=at,
                    gravity_sg=1.05 - 0.0005 * i,
                    temperature_c=20.0,
                )
                for i, at in enumerate(times)
            ]
        )
        yield store


def test_every_key_of_the_verdict_message_is_explained(watched):
    [record] = watched.active_batches()
    outlook = Outlooks(watched).of(record.batch_id, now=datetime.now(UTC), fresh=True)
    _, payload = verdict_message(outlook, DisplayUnits())
    section = told(GUIDE["messages"], "What tunroom sends")
    rows = re.findall(r"^\| (`[^|]+`) \| .+", section, re.MULTILINE)
    assert {key for row in rows for key in re.findall(r"`(\w+)`", row)} == set(json.loads(payload))
    for phase in PHASES:
        assert phase in section


def test_every_key_of_a_plan_is_named(watched):
    from ingest.commands import plan_of

    said = plan_of(watched, {"batch": "Plum"}, lambda _text: None)
    assert set(said) <= named(GUIDE["plan"])


def test_the_way_to_trace_a_verdict_can_be_walked(watched, tmp_path, monkeypatch, capsys):
    watched.close()
    monkeypatch.chdir(tmp_path)
    [code] = [b for b in blocks(DOCUMENTS["DEVELOPERS.md"], "python") if "assess" in b]
    exec(compile(code, "DEVELOPERS.md", "exec"), {})  # noqa: S102 - our own document
    assert capsys.readouterr().out.startswith("Plum\nactive\n")


# --- files -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("column", [*OURS, *(c for c in READINGS_FILE if c not in OURS), "by_hand"])
def test_every_column_of_a_file_is_named(column):
    assert column in named(GUIDE["import-and-export"])


# --- the packaging sheet ---------------------------------------------------------------------------------------------


def example_sheet() -> dict[str, object]:
    given = re.search(r"echo '(\{.*?\})' \| tunroom sheet", GUIDE["package"], re.DOTALL).group(1)
    return dict(json.loads(given))


def test_the_example_sheet_is_worked_out():
    answer = sheet(example_sheet())
    assert answer["priming_g"] > 0
    assert answer["refusals"] == []


@pytest.mark.parametrize("key", [f.key for f in fields()])
def test_every_input_of_the_sheet_is_named(key):
    assert key in named(told(GUIDE["package"], "What the sheet takes"))


def test_every_answer_of_the_sheet_is_named():
    much = {
        **example_sheet(),
        "drink": "mead",
        "ph": 3.4,
        "heat_treat": True,
        "sulfite_ppm": 30,
        "sulfite_as": "so2",
        "sorbate_ppm": 200,
        "sweetener": "honey",
        "sweetener_g": 100,
        "acid_g_per_l": 1,
        "hops_g_per_l": 2,
    }
    answers = {*ANSWERS, *sheet(much), *sheet({**much, "package": "keg", "serving_c": 4})}
    assert "heated_gauge_kpa" in answers
    assert answers <= named(told(GUIDE["package"], "What it answers"))


# --- the package -----------------------------------------------------------------------------------------------------


def test_the_manual_is_inside_a_package_that_the_wheel_holds():
    packages = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert FOLDER.relative_to(ROOT).parts[0] in packages["packages"]
    assert not {"exclude", "only-include"} & set(packages)


def test_the_tables_of_the_contributors_guide_are_those_of_the_source():
    text = documents.GUIDE.read_text(encoding="utf-8")
    assert text == documents.with_tables(text), "write them anew: python -m tests.documents"
    assert "| `HOLD_H` | 48.0 | hours |" in text
    assert "| lager | yes |" in text


def test_every_number_for_a_program_that_watches_stands_in_the_manual():
    source = (ROOT / "dashboard" / "web" / "numbers.py").read_text(encoding="utf-8")
    counted = {f"tunroom_{name}_total" for name in re.findall(r'_count\("(\w+)"', source)}
    measured = {f"tunroom_{name}" for name in re.findall(r'_gauge\("(\w+)"', source)} | {"tunroom_info"}
    table = told(GUIDE["small-computer"], "Numbers for a program that watches")
    assert set(re.findall(r"^\| `(\w+)` \| .+", table, re.MULTILINE)) == counted | measured
