from __future__ import annotations

import re
from typing import Any

import pytest

from analysis.display_units import DisplayUnits
from dashboard.screens.how_it_works import glossary, guide
from dashboard.screens.how_it_works import page as how_it_works


def html_of(at: Any) -> str:
    return " ".join(str(e.value) for e in at.get("html"))


def all_passages() -> list[guide.Passage]:
    return how_it_works.everything((part.name for part in guide.parts()), DisplayUnits())


def test_the_parts_are_the_files_in_the_order_of_the_contents():
    names = [part.name for part in guide.parts()]
    assert {*names, "index"} == {path.stem for path in guide.FOLDER.glob("*.md")}
    assert names[0] == "connect"
    assert names[-1] == "upgrade"


@pytest.mark.parametrize("part", guide.parts(), ids=lambda part: part.name)
def test_a_part_has_its_own_address_and_shows_its_whole_text(service, page, part):
    at = page("how_it_works", part=part.name)
    assert not at.exception
    [text] = [m.value for m in at.markdown]
    source = (guide.FOLDER / f"{part.name}.md").read_text(encoding="utf-8")
    assert source.splitlines()[0] == f"# {part.title}"
    assert text.count("\n## ") == source.count("\n## ") > 1
    assert ".md)" not in text
    assert f'aria-current="page">{part.title}</a>' in html_of(at)


@pytest.mark.parametrize("asked", ["", "no-such-part", "../../README"])
def test_any_other_address_shows_the_words_and_limits(service, page, asked):
    at = page("how_it_works", part=asked) if asked else page("how_it_works")
    assert not at.exception
    assert not at.markdown
    assert "What the words and verdicts mean" in html_of(at)


def test_a_link_to_another_part_stays_on_the_page():
    assert 'data-go="how-it-works?part=calibrate"' in guide.markdown("connect")


def test_a_figure_stands_on_one_line_with_its_unit_and_code_stays_as_it_is():
    text = guide.markdown("package")
    assert re.search(r"\d\u202fkPa", text)
    assert not re.search(r"\d (?:°C|kPa|g/L|mg/L)", re.sub(r"```.*?```|`[^`]*`", "", text, flags=re.DOTALL))
    assert "--input - --json" in text


def test_a_search_leads_to_the_part_with_the_sentence(service, page):
    at = page("how_it_works")
    at.text_input[0].set_value("quiet hours").run()
    text = html_of(at)
    assert 'href="how-it-works?part=messages"' in text
    assert "Messages: Notifications" in text
    assert "What comes due in quiet hours waits for their end." in text


def test_a_search_without_a_result_says_so_and_what_to_try(service, page):
    at = page("how_it_works")
    at.text_input[0].set_value("<b>zzyzx</b>").run()
    text = html_of(at)
    assert "Nothing in the manual has “&lt;b&gt;zzyzx&lt;/b&gt;”" in text
    assert "<b>zzyzx" not in text


def test_a_common_word_shows_the_first_places_and_how_many(service, page):
    at = page("how_it_works")
    at.text_input[0].set_value("the").run()
    assert f"The first {guide.MOST_FOUND} places" in html_of(at)
    assert html_of(at).count("<li><a") >= guide.MOST_FOUND


def test_every_word_must_be_found_in_any_case_and_headings_come_first():
    found = guide.search("DISK full", all_passages())
    assert found[0].passage.heading == "The disk is full"
    for one in found:
        said = f"{one.passage.heading} {one.passage.text}".casefold()
        assert "disk" in said
        assert "full" in said


@pytest.mark.parametrize("nothing", ["", "   "])
def test_no_word_finds_nothing(nothing):
    assert guide.search(nothing, all_passages()) == []


@pytest.mark.parametrize(("title", "text"), glossary.texts(DisplayUnits()))
def test_the_glossary_is_searched_too(title, text):
    mine = [f.passage for f in guide.search(" ".join(text.split()[:4]), all_passages())]
    assert guide.Passage("words", title, text) in mine


def test_passages_are_plain_text_and_leave_out_the_list_of_contents():
    for passage in all_passages():
        assert "](" not in passage.text
        assert "**" not in passage.text
    assert not [p for p in guide.passages("trouble") if p.heading == "When something is wrong"]


def test_a_row_of_a_table_and_a_line_of_code_are_found():
    [row] = guide.search("signal_dbm strength", guide.passages("messages"))
    assert row.sentence == "signal_dbm: strength of the radio signal"
    assert any("mosquitto_pub" in f.sentence for f in guide.search("mosquitto_pub", guide.passages("connect")))
