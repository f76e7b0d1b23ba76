"""One engine makes all HTML, and what is put into it is escaped."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from jinja2 import UndefinedError

import dashboard
from dashboard.templates import Markup, fill, join
from dashboard.ui import components
from dashboard.ui.links import address, link, underlined

HERE = Path(dashboard.__file__).parent
SOURCES = sorted(HERE.rglob("*.py"))
TAG = re.compile(r"</?(?!br>|extra>)[a-z][a-z0-9]*[ >/]")
"""A tag, but for the two that figures use for a line's end and for what stands beside a hover text."""


def test_text_is_escaped_and_html_of_ours_is_not() -> None:
    assert fill("<b>{{ a }}</b>{{ b }}", a="<i>'&\"", b=Markup("<u>x</u>")) == "<b>&lt;i&gt;&#39;&amp;&#34;</b><u>x</u>"
    assert isinstance(fill("x"), Markup)
    assert join(["<", Markup("<br>")]) == "&lt;<br>"  # type: ignore[list-item]


def test_what_is_typed_is_never_read_as_a_template() -> None:
    assert fill("{{ name }}", name="{{ 7 * 7 }}{% raw %}") == "{{ 7 * 7 }}{% raw %}"


def test_a_value_that_is_not_given_is_an_error() -> None:
    with pytest.raises(UndefinedError):
        fill("{{ nobody }}")


def test_templates_in_files_are_escaped_too() -> None:
    table = components.table(["<a>"], [["</td><script>"]], '"')
    assert "<script>" not in table
    assert "&lt;/td&gt;&lt;script&gt;" in table


def test_a_table_of_many_columns_has_each_value_beside_its_heading_on_a_phone() -> None:
    few, many = components.table(["Glass", "Drink"], [["417", "Amber"]], "Key"), ["Drink", "Points", "", "Aromas"]
    assert "stacks" not in few
    told = components.table(many, [["Amber", "81 (74 to 88)", "", "citrus (5), stone fruit (3)"]], "Drinks")
    assert 'class="log stacks"' in told
    assert '<td role="cell" data-heading="Points" class="short">81 (74 to 88)</td>' in told
    assert '<td role="cell" data-heading="Aromas">citrus (5), stone fruit (3)</td>' in told


def test_a_table_of_three_columns_stays_one_on_a_phone_only_where_they_fit() -> None:
    short = components.table(["when", "SG", "temp"], [["2026-01-02 08:00", "1.062", "20.5"]], "The log")
    assert "stacks" not in short
    linked = Markup("<a href='a-long-address-that-nobody-reads-on-the-page'>Marrow</a>")
    assert "stacks" not in components.table(["Yeast", "Days", "End"], [[linked, "5", "79"]], "Yeasts")
    long = [["Greatest rate", "9.7 points a day (9.0 to 10.4)", "24.1 points a day (22.0 to 26.2)"]]
    assert 'class="log stacks"' in components.table(["Milestone", "Marrow", "Dune"], long, "Milestones")


def test_an_address_says_the_id_that_it_was_given() -> None:
    assert address("sensors", device="a b&c=d+é") == "sensors?device=a%20b%26c%3Dd%2B%C3%A9"
    assert link("batch", "<x>", id='"') == '<a href="batch?id=%22" data-go="batch?id=%22">&lt;x&gt;</a>'
    assert underlined("set-up", "a & b") == '<a href="set-up" data-go="set-up"><u>a &amp; b</u></a>'


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(HERE)))
def test_nothing_escapes_by_hand_or_puts_a_tag_beside_a_value(path: Path) -> None:
    """A tag in an f-string, a sum, ``format`` or ``%`` is HTML without the engine."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    faults = []
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module == "html":
            faults.append(f"line {node.lineno}: takes {node.names[0].name} from html")
        if isinstance(node, ast.Import) and any(each.name == "html" for each in node.names):
            faults.append(f"line {node.lineno}: imports html")
        if isinstance(node, ast.JoinedStr):
            literal = "".join(v.value for v in node.values if isinstance(v, ast.Constant))
            faults += [f"line {node.lineno}: a tag in an f-string"] if TAG.search(literal) else []
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add | ast.Mod):
            for side in (node.left, node.right):
                if isinstance(side, ast.Constant) and isinstance(side.value, str) and TAG.search(side.value):
                    faults.append(f"line {node.lineno}: a tag in a sum")
    assert not faults


def test_every_template_is_part_of_what_is_installed() -> None:
    """The build takes the whole folder of the package; a template must not lie outside it or be ignored."""
    names = {p.relative_to(HERE / "templates").as_posix() for p in (HERE / "templates").rglob("*.html")}
    used = {
        found
        for path in SOURCES
        for found in re.findall(r'render\(\s*"([a-z_/]+\.html)"', path.read_text(encoding="utf-8"))
    }
    assert used == names
