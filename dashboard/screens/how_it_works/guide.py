"""The manual: its parts as they stand in `dashboard/guide/`, and a search over their headings and paragraphs."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from dashboard.ui import link

FOLDER: Final = Path(__file__).parents[2] / "guide"
PAGE: Final = "how-it-works"

MOST_FOUND: Final = 30
"""Passages that a search shows; who has more before them asks with a further word."""

_ENTRY: Final = re.compile(r"^- \[(?P<title>[^\]]+)\]\((?P<part>[a-z-]+)\.md\): (?P<about>.+)$", re.MULTILINE)
_LINK: Final = re.compile(r"\[(?P<text>[^\]]+)\]\((?P<part>[a-z-]+)\.md(?:#[\w-]+)?\)")
_CODE: Final = re.compile(r"(```.*?```|`[^`]*`)", re.DOTALL)
_FIGURE: Final = re.compile(
    r"(\d) (°[CFPB]|kPa|bar\b|psi\b|mg/L|g/L|mL\b|L\b|g\b|h\b|% vol|MB\b|GB\b|px\b|V\b|SG\b|ppm\b)"
)
"""A figure and its unit, which stay on one line."""
_HEADING: Final = re.compile(r"^#{1,6} +(.+)$")
_CONTENTS: Final = re.compile(r"^- \[[^\]]+\]\(#[^)]+\)$")
_SENTENCE_END: Final = re.compile(r"(?<=[.?!]) +(?=[A-Z“\"])")


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the manual: its file's name without ending, its title, and what it is about."""

    name: str
    title: str
    about: str


@dataclass(frozen=True, slots=True)
class Passage:
    """A paragraph, a list's item, a table's row or a line of code, as plain text, below its heading."""

    part: str
    heading: str
    text: str


@dataclass(frozen=True, slots=True)
class Found:
    """Where a search led: the passage, and the sentence of it to show."""

    passage: Passage
    sentence: str


@cache
def parts() -> tuple[Part, ...]:
    """The parts in the order of the contents; `index.md` is the one home of their titles."""
    return tuple(Part(m["part"], m["title"], m["about"]) for m in _ENTRY.finditer(_read("index")))


@cache
def markdown(name: str) -> str:
    """A part as Markdown for the screen: links to other parts become addresses of this page."""

    def to_page(match: re.Match[str]) -> str:
        return link(PAGE, match["text"], part=match["part"])

    pieces = _CODE.split(_LINK.sub(to_page, _read(name)))
    return "".join(each if n % 2 else _FIGURE.sub("\\1\u202f\\2", each) for n, each in enumerate(pieces))


@cache
def passages(name: str) -> tuple[Passage, ...]:
    """All that can be found in a part, in its order; its own list of contents is left out."""
    found: list[Passage] = []
    heading, lines, in_code = "", list[str](), False

    def close() -> None:
        if lines:
            found.append(Passage(name, heading, _plain(" ".join(lines))))
            lines.clear()

    for line in _read(name).splitlines():
        text = line.strip()
        if text.startswith("```"):
            close()
            in_code = not in_code
        elif in_code:
            if text:
                found.append(Passage(name, heading, text))
        elif (title := _HEADING.match(text)) is not None:
            close()
            heading = _plain(title[1])
        elif not text or _CONTENTS.match(text) or set(text) <= set("|-: "):
            close()
        elif text.startswith("|"):
            close()
            found.append(Passage(name, heading, _plain(text.strip("| ").replace(" | ", ": ", 1).replace(" | ", ", "))))
        else:
            if re.match(r"[-*] |\d+\. ", text):
                close()
            lines.append(re.sub(r"^(?:[-*]|\d+\.) +", "", text))
    close()
    return tuple(found)


def search(words: str, among: Iterable[Passage]) -> list[Found]:
    """Passages in which every word stands, in the heading or the text; those that have them in the heading first."""
    wanted = words.casefold().split()
    if not wanted:
        return []
    named: list[Found] = []
    told: list[Found] = []
    for passage in among:
        heading, text = passage.heading.casefold(), passage.text.casefold()
        if not all(word in heading or word in text for word in wanted):
            continue
        (named if all(word in heading for word in wanted) else told).append(Found(passage, _best(passage.text, wanted)))
    once = {found.passage.heading: found for found in reversed(named)}  # one line for each heading that has the words
    return [*reversed(once.values()), *told]


def _best(text: str, wanted: list[str]) -> str:
    """The sentence in which most of the words stand, the first of those."""
    return max(_SENTENCE_END.split(text), key=lambda sentence: sum(word in sentence.casefold() for word in wanted))


def _plain(text: str) -> str:
    """Markdown's marks taken off."""
    text = re.sub(r"\[([^\]]+)\]\([^)]*\)", r"\1", text)
    text = re.sub(r"<(https?://[^>]+)>", r"\1", text)
    return re.sub(r"\*\*|`|(?<!\w)\*(?=\S)|(?<=\S)\*(?!\w)", "", text)


def _read(name: str) -> str:
    return (FOLDER / f"{name}.md").read_text(encoding="utf-8")
