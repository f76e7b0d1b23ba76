"""Pieces that every page is made of."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from analysis.display_units import DisplayUnits
from analysis.wording import Voice
from dashboard.ui import components

NOW = datetime(2026, 3, 5, 12, 0, tzinfo=UTC)
SAY = Voice(DisplayUnits(), ZoneInfo("Europe/Lisbon"), NOW)


def test_the_ages_in_a_sentence_say_their_exact_times_and_nothing_else_of_it_changes():
    read, heard = NOW - timedelta(minutes=12), NOW - timedelta(minutes=2)
    text = f"Last reading {SAY.ago(read)}, heard {SAY.ago(heard)}, of “a <b> & c”."
    html = components.with_ages(text, (read, heard), SAY)
    assert re.findall('data-exact="([^"]*)">([^<]*)<', html) == [
        (SAY.exact(when), SAY.ago(when)) for when in (read, heard)
    ]
    assert "a &lt;b&gt; &amp; c" in html


def test_of_two_times_of_one_age_the_last_is_told_and_a_sentence_without_an_age_stays():
    read, heard = NOW - timedelta(minutes=2, seconds=10), NOW - timedelta(minutes=2, seconds=5)
    html = components.with_ages(f"Heard {SAY.ago(heard)}.", (read, heard), SAY)
    assert html.count("data-exact") == 1
    assert components.with_ages("Never heard yet.", (read, heard), SAY) == "Never heard yet."


def test_a_short_name_within_a_text_is_one_piece_and_nothing_else_of_it_changes():
    html = components.in_one_piece("Probe-room and float-11 <i> wait", ["probe-room", "float-1", "x" * 21])
    assert html == '<span class="whole">Probe-room</span> and float-11 &lt;i&gt; wait'
    assert components.in_one_piece("a & b", []) == "a &amp; b"
    assert components.in_one_piece("f.1 and fx1", ["f.1"]) == '<span class="whole">f.1</span> and fx1'


def test_a_lead_parts_no_number_from_its_unit():
    assert components.lead("About 1.6 days sooner") == '<h1 class="lead">About 1.6\N{NO-BREAK SPACE}days sooner</h1>'
