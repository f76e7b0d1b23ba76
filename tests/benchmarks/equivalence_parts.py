"""What the analysis answers, and what is written in the source: two parts of a dump."""

from __future__ import annotations

import ast
import dataclasses
import itertools
import math
import random
import re
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from tests.benchmarks.equivalence_places import PACKAGES, ROOT, canonical, find

SETS = ((54, "sugars"), (55, "tails"))
SET_RUNS, SET_EARLIER = 24, 12
SEED = 20260320
SOUND = {
    "drink": "ale", "volume_l": 19.0, "original_gravity_sg": 1.05, "final_gravity_sg": 1.01, "finished": True,
    "hold_met": True, "hand_sample": True, "expected_low": 0.76, "expected_high": 0.82, "package": "bottle",
    "carbonation_volumes": 2.4, "warmest_c": 20.0, "storage_c": 25.0, "bottle_rating_kpa": 1000.0,
    "remaining_fall_sg": 0.0004, "lowest_plausible_sg": 1.008, "dry_hopped": False, "serving_c": 8.0,
    "keg_rating_kpa": 800.0,
}  # fmt: skip
"""An invented ale that may be packaged."""


def assessments(looks: int) -> dict[str, Any]:
    """Looks at the runs of both sets, and the plans made from them."""
    said: dict[str, Any] = {}
    for seed, family in SETS:
        runs, earlier = find("make_set")(seed, SET_RUNS, SET_EARLIER, family)
        priors = find("learn")(earlier)
        share = looks // len(SETS)
        for n, run in enumerate(runs):
            # The first runs take the odd looks, so that there are as many as were asked for.
            count = share // len(runs) + (n < share % len(runs))
            cuts = find("cuts_of")(run)
            at = np.unique(np.linspace(0, len(cuts) - 1, count).round().astype(int)) if count else []
            if n % 4 == 1:  # one after the other, up to the end: what is remembered counts most there
                at = range(max(len(cuts) - count, 0), len(cuts))
            chain = _looks(run, [cuts[int(k)].hour for k in at], None if n % 6 == 5 else priors, chained=n % 4 != 3)
            said |= {f"{family}-{seed} {n:02} {run.name} {hour:.2f} h": what for hour, what in chain}
    return said


def _looks(run: Any, hours: Sequence[float], priors: Any, *, chained: bool) -> Iterator[tuple[float, Any]]:
    choices = itertools.cycle(wishes())
    previous = kept_days = None
    for hour in hours:
        batch, now, wished = run.known(hour), run.when(hour), next(choices)
        said = find("assess")(run.readings(hour), batch, now=now, priors=priors, previous=previous)
        plan = find("plan")(said, batch, wished, now=now)
        steady = find("steady_plan")(said, batch, wished, now=now, said=kept_days)
        kept_days = (steady.hop_day, steady.packaging_day)
        previous = said if chained else None
        facts = {"assessment": said, "ready": said.ready, "plan": _worded(plan), "dates": _facts(plan)}
        yield hour, canonical({**facts, "steady plan": _worded(steady)})


def _worded(plan: Any) -> dict[str, Any]:
    """The plan with its sentences, where it keeps values."""
    found = {f.name: getattr(plan, f.name) for f in dataclasses.fields(plan)}
    if not hasattr(plan, "as_dict"):
        reason, units = find("reason"), find("Say")()
        found["reason"] = reason(plan.reason, units)
        found["cautions"] = [find("caution")(each) for each in plan.cautions]
        found["blocked_by"] = reason(plan.blocked_by, units) or None
    return found


def _facts(plan: Any) -> dict[str, Any]:
    facts: dict[str, Any] = plan.as_dict() if hasattr(plan, "as_dict") else find("plan_facts")(plan, find("Say")())
    return facts


def wishes() -> list[Any]:
    """A few people with different days, patience and packages."""
    made = find("Wishes")
    return [
        made(),
        made(hop_weekdays=(5, 6), package_weekdays=(4, 5), confidence=0.9, time_zone="America/New_York"),
        made(destination="bottle", rest_days=3, dry_hops=2, crash_days=2, time_zone="Australia/Adelaide"),
        made(destination="keg", early_dry_hop=True, hold_h=24, crash_days=1, crash_counts_as_contact=False),
    ]


def sheets(count: int) -> dict[str, Any]:
    """Random inputs and what the sheet makes of them; every fifth has a fault."""
    rng = random.Random(SEED)
    fields = find("fields")()
    said: dict[str, Any] = {"fields": canonical(fields)}
    for n in range(count):
        given = _usable(rng, fields)
        if n % 5 == 4:
            _spoil(rng, fields, given)
        said[f"{n:03}"] = canonical({"given": dict(given), **_sheet(given, n)})
    return said


def _sheet(given: dict[str, Any], n: int) -> dict[str, Any]:
    units = (("SG", "°C", "bar", "L"), ("°P", "°F", "psi", "US gal"), ("SG", "°C", "kPa", "L"))[n % 3]
    mine = find("Preferences")(
        gravity_unit=units[0], temperature_unit=units[1], pressure_unit=units[2], volume_unit=units[3]
    )
    try:
        answer = find("sheet")(given)
        here = find("Say")(*units[:3])
        typed = not isinstance(answer, dict)
        worded = answer if typed else find("sheet")(given, say=here)
    except find("SheetInputError") as error:
        return {"refused": [str(fault) for fault in error.all]}
    asked = (answer,) if typed else (given, worded)
    page = find("sheet_html")(*asked, title=f"Sheet {n}", made="Made today", preferences=mine)
    text = find("sheet_text")(worded, mine)
    if typed:
        answer, worded = (find("as_json")(answer, units) for units in (find("Say")(), here))
    style = re.search(r"<style>.*?</style>", page, re.DOTALL)
    # The style is the same on all of them; it is kept once.
    shown = page.replace(style[0], "") if style and n else page
    return {"answer": answer, "worded": worded, "text": text, "page": shown}


def _usable(rng: random.Random, fields: Sequence[Any]) -> dict[str, Any]:
    """Mostly within what is usual, now and then at the edge of what is accepted, many missing."""
    often, given = rng.uniform(0.25, 1.0), {}
    if rng.random() < 0.5:  # in good order but for a thing or two: what is drawn freely is nearly always refused
        often, given = rng.uniform(0.0, 0.15), dict(SOUND)
    for field in fields:
        if rng.random() < often:
            given[field.key] = _value(rng, field)
    original, final = given.get("original_gravity_sg"), given.get("final_gravity_sg")
    if rng.random() < 0.93:  # what would contradict itself, mostly mended
        if final is not None:
            if original is not None and original < max(final, 1.001):
                given["original_gravity_sg"] = min(max(final, 1.0) + 0.04, 1.25)
            for key, sign in (("sweeten_to_sg", 1), ("lowest_plausible_sg", -1)):
                if given.get(key) is not None and (given[key] - final) * sign < 0:
                    given[key] = min(max(final + sign * 0.004, 0.97), 1.2)
        if None not in (low := given.get("expected_low"), high := given.get("expected_high")) and low > high:
            given["expected_low"], given["expected_high"] = high, low
        if given.get("sulfite_ppm") is not None:
            given.setdefault("sulfite_as", "so2")
    return given


def _value(rng: random.Random, field: Any) -> Any:
    if field.kind == "yes or no":
        return rng.random() < 0.5
    if field.kind == "choice":
        return rng.choice(field.choices)
    if field.kind == "text":
        return rng.choice(["EU", "US", "Elsewhere"])
    if field.kind == "shares":
        return {name: rng.randint(1, 5) for name in ["Brindle", "Osprey", "Tern"][: rng.randint(1, 3)]}
    usual = [float(x) for x in re.findall(r"\d+(?:\.\d+)?", field.usual.partition(";")[0])]
    low, high = max(min(usual), field.low), min(max(usual), field.high)
    edges = [field.low, min(field.high, 1e6), low, high]
    return rng.choice(edges) if rng.random() < 0.06 else round(rng.uniform(low, high), rng.choice([3, 4, 6]))


def _spoil(rng: random.Random, fields: Sequence[Any], given: dict[str, Any]) -> None:
    for _ in range(rng.randint(1, 3)):
        field = rng.choice(fields)
        bad: list[Any] = ["12", True, math.nan, [], {"Brindle": -1}, -1e9, 1e12, 10**400, "kegg", None, 0]
        given[field.key] = rng.choice(bad)
    if rng.random() < 0.3:
        given[rng.choice(["volume", "final_gravity", "tablets_g", "zzz"])] = 1


def written() -> dict[str, Any]:
    """Literals and operators by the name of what they stand in; what has the same name stands side by side."""
    said: dict[str, list[str]] = {}
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            for name, tokens in _named(ast.parse(path.read_text(encoding="utf-8"))):
                said.setdefault(name, []).append(" ".join(tokens))
    # What has none, such as a face or a plain call, cannot differ either.
    return {name: sorted(filter(None, found)) for name, found in sorted(said.items()) if any(found)}


def _named(node: ast.AST, prefix: str = "") -> Iterator[tuple[str, list[str]]]:
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.ClassDef):
            yield from _named(child, f"{prefix}{child.name}.")
        elif isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef):
            yield f"{prefix}{child.name}()", list(_tokens(child))
        elif isinstance(child, ast.Assign | ast.AnnAssign):
            target = child.targets[0] if isinstance(child, ast.Assign) else child.target
            if (name := ast.unparse(target)) != "__all__":
                yield f"{prefix}{name}", list(_tokens(child))
        elif not isinstance(child, ast.Import | ast.ImportFrom):
            yield f"{prefix}(else)", list(_tokens(child))


def _tokens(node: ast.AST) -> Iterator[str]:
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return  # a docstring, or one of an attribute
    if isinstance(node, ast.Constant):
        if node.value is not None:
            yield repr(node.value)
    elif isinstance(node, ast.operator | ast.cmpop | ast.unaryop | ast.boolop):
        yield type(node).__name__
    for child in ast.iter_child_nodes(node):
        yield from _tokens(child)
