from __future__ import annotations

import json
import re
import shlex
from datetime import UTC, datetime
from pathlib import Path

import pytest

from analysis.display_units import DisplayUnits, chance_word, chances_table
from analysis.model import PHASES
from dashboard.screens.how_it_works import glossary
from dashboard.screens.sensors import first_steps
from ingest.decoding.decode import decode
from ingest.settings.settings import Broker, Settings


def test_every_phase_is_explained():
    assert set(glossary.PHASE_MEANINGS) == set(PHASES)


def test_the_words_for_chances_are_those_that_are_used():
    for word, span in chances_table():
        low, high = ([0.0, *[float(n) / 100 for n in re.findall(r"\d+", span)]])[-2:]
        assert chance_word((low + high) / 2) == word


# Mastrandrea et al., Guidance Note for Lead Authors of the IPCC Fifth Assessment Report on Consistent Treatment of
# Uncertainties, 2010, table 1 (from memory): very likely 90 to 100 %, likely 66 to 100 %, about as likely as not
# 33 to 66 %, unlikely 0 to 33 %, very unlikely 0 to 10 %.
@pytest.mark.parametrize(
    ("word", "border"), [("very likely", 90), ("likely", 66), ("about as likely as not", 33), ("unlikely", 10)]
)
def test_the_borders_are_the_published_ones(word, border):
    assert dict(chances_table())[word].startswith(f"{border} to ")


def test_the_page_keeps_the_three_notions_apart_and_ends_in_its_limits(service, page):
    text = " ".join(str(e.value) for e in page("how_it_works").get("html"))
    assert "What the words and verdicts mean" in text
    html = glossary.page_html(DisplayUnits())
    for title, _ in glossary.NOTIONS:
        assert title in html
    assert "local codes" in html


@pytest.mark.parametrize("word", ["safe", "None", "NaN", "null"])
def test_words_that_may_not_stand_there_do_not(word):
    assert not re.search(rf"\b{word}\b", re.sub("<[^>]+>", " ", glossary.page_html(DisplayUnits())))


def settings(**broker):
    return Settings(data_dir=Path("cellar"), broker=Broker(**broker))


@pytest.mark.parametrize(
    ("broker", "expected"),
    [
        ({"port": 1884}, ["-h", "localhost", "-p", "1884"]),
        ({"host": "broker.example", "port": 8883, "tls": True}, ["-h", "broker.example", "--tls-use-os-certs"]),
        ({"host": "b.example", "user": "anna", "password": "secret"}, ["-u", "anna", "-P", "PASSWORD"]),
        ({"prefix": "barn"}, ["barn/report/float-1"]),
    ],
)
def test_the_line_to_copy_names_this_servers_broker_and_no_password(broker, expected):
    line = first_steps.publish_line(settings(**broker))
    words = shlex.split(line)
    assert words[0] == "mosquitto_pub"
    assert all(word in words for word in expected)
    assert "secret" not in line


def test_what_the_line_sends_is_understood():
    words = shlex.split(first_steps.publish_line(settings()))
    topic, message = words[words.index("-t") + 1], words[words.index("-m") + 1]
    decoded = decode(topic, message.encode(), received_at=datetime.now(UTC))
    assert decoded.faults == ()
    assert decoded.reports[0].gravity_sg == json.loads(message)["gravity_sg"]


def test_a_broker_that_only_this_machine_reaches_says_how_to_open_it():
    assert "answers on this machine only" in first_steps.connect_html(settings())
    assert "answers on this machine only" not in first_steps.connect_html(settings(host="broker.example"))
