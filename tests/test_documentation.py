"""What README.md says is true: every setting, command, topic and input stands there, and its examples work."""

from __future__ import annotations

import json
import re
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest

from analysis.model import EVENT_KINDS
from analysis.packaging import fields
from analysis.units import plato_to_sg
from dashboard.__main__ import _parser
from ingest.decoding.decode import decode
from ingest.decoding.rules import rule_from
from ingest.settings.settings import SETTINGS, load
from tests.analysis.packaging.answers import sheet

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
NOW = datetime(2026, 3, 1, 9, tzinfo=UTC)


def blocks(language: str) -> list[str]:
    """The fenced examples in this language, without the indent of a list."""
    found = re.findall(rf"^( *)```{language}\n(.*?)^ *```", README, re.DOTALL | re.MULTILINE)
    return ["\n".join(line.removeprefix(indent) for line in body.splitlines()) for indent, body in found]


def test_the_readme_opens_with_the_job_in_one_paragraph():
    first = README.split("\n\n")[1]
    for word in ("fermentations", "finished", "dry hops", "package", "yeast"):
        assert word in first


def test_every_setting_stands_in_the_example_file(tmp_path):
    example = next(b for b in blocks("toml") if "data_dir" in b)
    values = tomllib.loads(example)
    named = {"data_dir"} | {f"{table}.{key}" for table in ("broker", "server") for key in values[table]}
    assert named == set(SETTINGS)


def test_the_example_settings_for_the_network_load(tmp_path):
    (tmp_path / "tunroom.toml").write_text(next(b for b in blocks("toml") if "0.0.0.0" in b))
    (tmp_path / "broker.password").write_text("correct horse\n")
    settings = load(tmp_path / "tunroom.toml", None, {})
    assert settings.broker.listen == "0.0.0.0"
    assert settings.broker.password == "correct horse"
    assert settings.server.port == 8600


def commands() -> list[str]:
    action = next(a for a in _parser()._actions if a.choices and a.dest != "drink")
    return list(action.choices)


@pytest.mark.parametrize("command", commands())
def test_every_command_stands_in_the_readme(command):
    assert f"`tunroom {command}" in README


def test_the_shell_example_of_a_reading_decodes():
    topic, payload = re.search(r"mosquitto_pub -q 1 -t (\S+) -m '(.*?)'", README).groups()
    decoded = decode(topic, payload.encode(), received_at=NOW, prefix="tunroom", rules=[])
    assert not decoded.faults
    [report] = decoded.reports
    assert (report.device_id, report.gravity_sg, report.temperature_c) == ("float-1", 1.048, 19.5)


def test_the_python_example_of_a_reading_decodes():
    code = blocks("python")[0]
    body = re.search(r"reading = (\{.*?\})", code).group(1).replace("time.time()", str(NOW.timestamp()))
    payload = json.dumps(json.loads(body)).encode()
    decoded = decode("tunroom/report/float-1", payload, received_at=NOW, prefix="tunroom", rules=[])
    assert not decoded.faults
    [report] = decoded.reports
    assert report.inclination_deg == 52.4
    assert report.measured_at == NOW


def test_the_senml_example_decodes():
    received = datetime.fromtimestamp(1772352000 + 60, UTC)
    payload = blocks("json")[0].encode()
    decoded = decode("tunroom/report/float-1", payload, received_at=received, prefix="tunroom", rules=[])
    assert not decoded.faults
    [report] = decoded.reports
    assert report.device_id == "float-1"
    assert report.temperature_c == 19.5
    assert report.gravity_sg == pytest.approx(1.048, abs=1e-4)  # 1046.1 kg/m³ over water's 998.2 at 20 °C


def test_the_example_rule_reads_the_example_message():
    [example] = [b for b in blocks("toml") if "[[rules]]" in b]
    rules = [rule_from(rule) for rule in tomllib.loads(example)["rules"]]
    topic, payload = re.search(r"--topic (\S+) --payload '(.*?)'", README).groups()
    decoded = decode(topic, payload.encode(), received_at=NOW, prefix="tunroom", rules=rules)
    assert not decoded.faults
    [report] = decoded.reports
    assert report.device_id == "float-3"
    assert report.temperature_c == pytest.approx(19.0)
    assert report.gravity_sg == pytest.approx(plato_to_sg(11.8))


def test_the_example_sheet_is_worked_out():
    given = re.search(r"echo '(\{.*?\})' \| tunroom sheet", README, re.DOTALL).group(1)
    answer = sheet(json.loads(given))
    assert answer["priming_g"] > 0
    assert answer["refusals"] == []


@pytest.mark.parametrize("key", [f.key for f in fields()])
def test_every_input_of_the_sheet_stands_in_the_readme(key):
    assert f"`{key}`" in README


@pytest.mark.parametrize("topic", ["tunroom/report/", "<prefix>/status", "<prefix>/verdict/<vessel>"])
def test_every_topic_of_ours_stands_in_the_readme(topic):
    assert topic in README


@pytest.mark.parametrize("kind", EVENT_KINDS)
def test_every_event_kind_is_accepted_by_assess(kind, capsys):
    from dashboard.cli.assess import _event

    assert _event(f"{kind}=2026-03-08T09:00Z").kind == kind
