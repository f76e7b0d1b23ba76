from __future__ import annotations

import re
from pathlib import Path

import pytest

from ingest.decoding.rules import rule_from
from ingest.errors import EntryError
from ingest.mqtt import broker_logins
from ingest.settings.settings import Broker

SHED = rule_from({"topic": "shed/{device}/state", "gravity": {"value": "sg", "unit": "SG"}})
LOFT = rule_from({"topic": "loft/+/t", "device": "loft", "temperature": {"value": "@", "unit": "°C"}})


def test_each_device_writes_its_own_topics_and_reads_none() -> None:
    logins = broker_logins.logins_of(["float-1", "loft"], "tunroom")
    text = broker_logins.access_list(Broker(topics=("more/#",)), "tunroom", logins, [SHED, LOFT])
    users = {part.split("\n")[0]: part.split("\n")[1:] for part in text.split("user ")[1:]}
    assert [line for line in users["float-1"] if line] == [
        "topic write tunroom/report/float-1",
        "topic write shed/float-1/state",
    ]
    assert [line for line in users["loft"] if line] == [
        "topic write tunroom/report/loft",
        "topic write shed/loft/state",
        "topic write loft/+/t",
    ]
    assert [line for line in users["tunroom"] if line] == [
        "topic read tunroom/report/+",
        "topic read more/#",
        "topic read shed/+/state",
        "topic read loft/+/t",
        "topic write tunroom/status",
        "topic write tunroom/verdict/#",
    ]


def test_no_two_devices_share_a_login_and_none_has_ours() -> None:
    ids = ["a:b", "a_b", "tunroom", "a_b-2", "übermut"]
    logins = broker_logins.logins_of([*ids, "a:b"], "tunroom")
    assert sorted(logins.values()) == sorted(ids)
    assert "tunroom" not in logins
    assert all(":" not in login for login in logins)


@pytest.mark.parametrize("bad", ["", "a b", "a/b", "+", "#", "a\nuser evil", "x" * 200, "a\x00"])
def test_an_id_that_is_none_writes_no_line_into_a_list(tmp_path: Path, bad: str) -> None:
    with pytest.raises(EntryError):
        broker_logins.write(tmp_path / "b", Broker(), [bad], [])
    assert not (tmp_path / "b" / broker_logins.ACCESS).exists()


def test_what_settings_hold_writes_no_line_of_its_own_into_a_list(tmp_path: Path) -> None:
    for broker in (Broker(user="a:b"), Broker(user="a\nb"), Broker(topics=("x\nuser evil\ntopic write #",))):
        with pytest.raises(EntryError):
            broker_logins.write(tmp_path, broker, ["float-1"], [])
    assert not (tmp_path / broker_logins.ACCESS).exists()


def test_a_second_run_keeps_logins_that_are_there(tmp_path: Path) -> None:
    folder = tmp_path / "broker"
    first = broker_logins.write(folder, Broker(), ["float-1"], [])
    assert first.new == ("float-1",)
    before = (folder / broker_logins.HASHES).read_text()
    assert broker_logins.write(folder, Broker(), ["float-1"], []).new == ()
    assert (folder / broker_logins.HASHES).read_text() == before
    assert broker_logins.write(folder, Broker(), ["float-1", "float-2"], []).new == ("float-2",)
    assert (folder / broker_logins.HASHES).read_text().startswith(before)
    words = dict(re.findall(r"^(float-\d)  ([a-z2-7]{26})$", (folder / broker_logins.LOGINS).read_text(), re.MULTILINE))
    assert len(words) == 2  # 26 letters of 32: 130 bits
    assert words["float-1"] != words["float-2"]
    assert not any(word in before for word in words.values())
    assert {path.stat().st_mode & 0o777 for path in folder.iterdir()} == {0o600}
    assert folder.stat().st_mode & 0o777 == 0o700
