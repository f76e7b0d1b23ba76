"""Reports on paper: everything within one file, and every word of a name as text."""

from __future__ import annotations

import re
from dataclasses import asdict

from analysis.display_units import DisplayUnits
from analysis.trials import Estimate, Milestones
from dashboard.report import report_html
from ingest.monitoring import ReportPage
from ingest.monitoring.reports import ReportFigure, ReportLine, ReportTable, _milestones

HOSTILE = "<script>alert(1)</script>"


def page(**facts: object) -> str:
    lines = tuple(ReportLine(f"{HOSTILE} {n}", (0.0, 1.0, 2.5), (0.0, 10.0 * n + 40.0, 80.0 - n)) for n in range(8))
    usual = {
        "title": HOSTILE, "about": "Trial", "lead": "Dune leads.", "paragraphs": ("Only the yeast differs.",),
        "figures": (ReportFigure("Courses", "apparent attenuation, %", 0, lines),),
        "tables": (ReportTable("Milestones", ("", "A"), (("Lag", "9 h"),)),),
        "lists": (("What to try next", (HOSTILE,)), ("Nothing", ())), "made": "Made today.",
    }  # fmt: skip
    return str(report_html(asdict(ReportPage(**{**usual, **facts}))))


def test_nothing_comes_from_elsewhere_and_no_name_is_markup():
    text = page()
    assert HOSTILE not in text
    assert "&lt;script&gt;" in text
    assert not re.search(r"(src|href)=|url\(|@import|<script|<link|https?:", text)


def test_every_line_has_a_stroke_of_its_own_and_its_name():
    text = page()
    strokes = re.findall(r'<polyline [^>]*stroke-width="([\d.]+)"(?: stroke-dasharray="([^"]+)")?', text)
    assert len(strokes) == len(set(strokes)) == 8
    height = float(re.search(r'viewBox="0 0 630 (\d+)"', text)[1])
    assert all(float(y) < height for y in re.findall(r'<text x="[\d.]+" y="([\d.]+)">&lt;script', text))


def test_both_papers_have_room_for_the_page():
    # ISO 216: A4 is 210 mm wide; ANSI Letter 8.5 in, 215.9 mm. Between the margins of the page the body must fit.
    text = page()
    margin = float(re.search(r"@page \{ margin: (\d+)mm", text)[1])
    widest = float(re.search(r"max-width: (\d+)mm", text)[1])
    assert widest <= 210 - 2 * margin < 215.9 - 2 * margin


def test_what_is_empty_has_no_heading():
    text = page()
    assert "<h2>Nothing</h2>" not in text
    assert "<svg" not in page(figures=())


def test_many_arms_go_on_in_another_table_that_paper_is_wide_enough_for():
    arms = [(f"arm {n}", Milestones(lag_h=Estimate(9.0 + n, 1.0, 8.0, 10.0))) for n in range(6)]
    first, second = _milestones(arms, DisplayUnits())
    assert first.headings == ("Milestone", "arm 0", "arm 1", "arm 2", "arm 3")
    assert second.headings == ("Milestone", "arm 4", "arm 5")
    assert [row[0] for row in second.rows] == ["Lag"]
    assert second.rows[0][2].startswith("14")
