from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from ingest.decoding.decode import Decoded, decode
from ingest.decoding.rules import rule_from
from ingest.decoding.sites import is_good_site
from ingest.errors import SettingsError
from ingest.settings.settings import load

NOW = datetime(2026, 3, 1, 9, tzinfo=UTC)
PAYLOAD = b'{"gravity_sg": 1.05}'
RULE = rule_from({"topic": "shed/{device}/state", "gravity": {"value": "g", "unit": "SG"}})


def decoded(topic: str, payload: bytes = PAYLOAD, sites: tuple[str, ...] = ("barn", "mill")) -> Decoded:
    return decode(topic, payload, received_at=NOW, rules=[RULE], sites=sites)


def device(topic: str, payload: bytes = PAYLOAD) -> str:
    found = decoded(topic, payload)
    assert not found.faults
    [report] = found.reports
    assert report.topic == topic
    return report.device_id


def test_one_id_at_three_places_is_three_devices() -> None:
    topics = ("tunroom/report/float-1", "tunroom/site/barn/report/float-1", "tunroom/site/mill/report/float-1")
    assert [device(topic) for topic in topics] == ["float-1", "barn:float-1", "mill:float-1"]


def test_a_rule_reads_what_a_site_hands_on_by_its_topic_there() -> None:
    assert device("tunroom/site/barn/shed/float-2/state", b'{"g": 1.05}') == "barn:float-2"
    assert device("shed/float-2/state", b'{"g": 1.05}') == "float-2"


def test_a_rule_made_for_the_whole_topic_keeps_the_site_in_the_name() -> None:
    rule = rule_from({"topic": "tunroom/site/barn/hut/{device}", "gravity": {"value": "g", "unit": "SG"}})
    found = decode("tunroom/site/barn/hut/x", b'{"g": 1.05}', received_at=NOW, rules=[rule], sites=["barn"])
    assert [report.device_id for report in found.reports] == ["barn:x"]


def test_a_gateways_pack_at_a_site_names_devices_of_that_site() -> None:
    pack = b'[{"bn":"a:","n":"temperature","u":"Cel","v":19},{"bn":"b:","n":"temperature","u":"Cel","v":20}]'
    assert {r.device_id for r in decoded("tunroom/site/barn/report/hub", pack).reports} == {"barn:a", "barn:b"}


@pytest.mark.parametrize(
    ("topic", "problem"),
    [
        ("tunroom/site/attic/report/float-1", "no site 'attic' is named"),
        ("tunroom/report/barn:float-1", "a device of the site 'barn'"),
        ("tunroom/site/barn/report/", "cannot be a device's id"),
        ("tunroom/site/barn/report/float/1", "cannot be a device's id"),
        (f"tunroom/site/barn/report/{'x' * 126}", "cannot be a device's id"),  # too long with its site
        ("tunroom/site/barn/elsewhere", "no rule fits"),
    ],
)
def test_nobody_takes_the_name_of_a_sites_device_and_no_unknown_site_is_heard(topic: str, problem: str) -> None:
    found = decoded(topic)
    assert found.reports == ()
    assert problem in str(found.faults[0])


def test_a_cellar_without_sites_keeps_its_ids_and_topics() -> None:
    for topic, device_id in {
        "tunroom/report/barn:float-1": "barn:float-1",
        "tunroom/report/float-1": "float-1",
    }.items():
        assert [report.device_id for report in decoded(topic, sites=()).reports] == [device_id]


@pytest.mark.parametrize("name", ["", "bar:n", "bar n", "barn/loft", "+", "barn\u202e"])
def test_a_site_is_one_level_of_a_topic_without_colon(name: str, tmp_path: Path) -> None:
    assert not is_good_site(name)
    (tmp_path / "tunroom.toml").write_text(f'[broker]\nsites = ["{name}"]\n', encoding="utf-8")
    with pytest.raises(SettingsError, match="no name of a site"):
        load(tmp_path / "tunroom.toml", None, {})
    assert load(None, None, {"TUNROOM_BROKER__SITES": "barn, mill"}).broker.sites == ("barn", "mill")
