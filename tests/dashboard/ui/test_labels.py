"""A person's words where Streamlit reads Markdown."""

from __future__ import annotations

import pytest
from markdown_it import MarkdownIt

from dashboard.ui.labels import plain

HOSTILE = (
    "**x**",
    "__x__ and _y_",
    "[a](javascript:alert)",
    "![a](https://example.org/a.png)",
    ":red[x]",
    ":material/home:",
    "$x$ and $$y$$",
    "`code`",
    "<b>x</b>",
    "&lt;b&gt;",
    "# one",
    "- two",
    "1. three",
    "~~gone~~",
    "https://example.org",
    "www.example.org",
    "a\\b",
    "| a | b |",
)


@pytest.mark.parametrize("text", HOSTILE)
def test_a_reader_of_markdown_shows_exactly_what_was_typed(text: str) -> None:
    """Judged by a reader of CommonMark with tables and struck text, the closest to the browser's that Python has."""
    reader = MarkdownIt("commonmark").enable(["table", "strikethrough"])
    tokens = reader.parse(plain(text))
    assert [t.type for t in tokens] == ["paragraph_open", "inline", "paragraph_close"]
    inline = tokens[1].children or []
    assert {t.type for t in inline} <= {"text", "text_special"}
    assert "".join(t.content for t in inline) == text


@pytest.mark.parametrize("text", [":red[x]", ":material/home:", "$x$", "https://example.org", "www.example.org"])
def test_streamlits_own_signs_are_escaped(text: str) -> None:
    first = next((sign for sign in text if sign in ":$"), "")
    assert not first or f"\\{first}" in plain(text)
    assert plain(text).count("\\$") == text.count("$")
    assert "www." not in plain(text)


def test_plain_names_stay_as_they_are() -> None:
    assert plain("Harbour Pale (2), 4.5 % é") == "Harbour Pale (2), 4.5 % é"
    assert plain("Thu 19 Mar, 16:00, Harbour Pale: 1.031 SG") == "Thu 19 Mar, 16:00, Harbour Pale: 1.031 SG"
    assert plain("one\n\ntwo") == "one two"
