"""Tables of the contributor's guide that are made from the source: ``python -m tests.documents`` writes them anew."""

from __future__ import annotations

import ast
import re
from dataclasses import dataclass, fields
from pathlib import Path

from analysis import thresholds
from analysis.drinks import DRINK_FACTS, DrinkFacts

SOURCE = Path(thresholds.__file__)
GUIDE = Path(__file__).parents[1] / "DEVELOPERS.md"
_FORM = re.compile(r"(?P<unit>[^;]+); (?P<meaning>.+?\.) Source: (?P<source>.+\.)", re.DOTALL)


class NotInFormError(Exception):
    """A constant without unit, meaning and source in the form that the module's docstring gives."""


@dataclass(frozen=True)
class Threshold:
    """One row of the table."""

    subject: str
    name: str
    value: object
    unit: str
    meaning: str
    source: str


def thresholds_table(text: str | None = None) -> list[Threshold]:
    """Every constant of `analysis.thresholds` in its order, or of another module's `text`.

    Raises
    ------
    NotInFormError
        If one has no docstring, or one that is not of the form ``<unit>; <meaning>. Source: <source>.``
    """
    said = SOURCE.read_text(encoding="utf-8") if text is None else text
    headings = [(n, line[2:].rstrip(".")) for n, line in enumerate(said.splitlines(), 1) if line.startswith("# ")]
    body = ast.parse(said).body
    rows = []
    for node, below in zip(body, [*body[1:], None], strict=True):
        if not isinstance(node, ast.AnnAssign | ast.Assign):
            continue
        name = ast.unparse(node.target if isinstance(node, ast.AnnAssign) else node.targets[0])
        doc = below.value.value if isinstance(below, ast.Expr) and isinstance(below.value, ast.Constant) else None
        form = _FORM.fullmatch(" ".join(doc.split())) if isinstance(doc, str) else None
        if form is None:
            raise NotInFormError(f"{name}, line {node.lineno}: write <unit>; <meaning>. Source: <source>.")
        subject = next((title for line, title in reversed(headings) if line < node.lineno), "")
        rows.append(Threshold(subject, name, getattr(thresholds, name, None), **form.groupdict()))
    return rows


def as_markdown(rows: list[Threshold]) -> str:
    """The table with a heading for each subject."""
    lines: list[str] = []
    subject = None
    for row in rows:
        if row.subject != subject:
            subject = row.subject
            lines += ["", f"### {subject}", "", "| Name | Value | Unit | Meaning | Source |", "|---|---|---|---|---|"]
        lines.append(f"| `{row.name}` | {row.value} | {row.unit} | {row.meaning} | {row.source} |")
    return "\n".join(lines).strip()


def drinks_table() -> str:
    """What is usual of each drink, one column a fact."""
    names = [f.name for f in fields(DrinkFacts)]
    lines = [f"| Drink | {' | '.join(f'`{name}`' for name in names)} |", "|---" * (len(names) + 1) + "|"]
    for drink, facts in DRINK_FACTS.items():
        cells = [str(getattr(facts, name)).replace("True", "yes").replace("False", "no") for name in names]
        lines.append(f"| {drink} | {' | '.join(cells)} |")
    return "\n".join(lines)


def with_tables(text: str) -> str:
    """The contributor's guide with its tables as the source has them now."""
    for name, table in (("drinks", drinks_table()), ("thresholds", as_markdown(thresholds_table()))):
        begin, end = f"<!-- {name}: made by python -m tests.documents -->", f"<!-- end of {name} -->"
        head, _, rest = text.partition(begin)
        _, _, tail = rest.partition(end)
        text = f"{head}{begin}\n\n{table}\n\n{end}{tail}"
    return text


if __name__ == "__main__":
    GUIDE.write_text(with_tables(GUIDE.read_text(encoding="utf-8")), encoding="utf-8")
