"""Drafts of rules from messages that are already stored: what stands in them, which topics they share, what a rule
would make of them. No Streamlit here.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from analysis.display_units import number
from analysis.wording import Voice
from ingest.decoding import QUANTITY_UNITS, TIME_UNITS, Rule, decode
from ingest.model import Rejection, Report

_PLAIN_NAME: Final = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")
_MOST_LEAVES: Final = 60

_LIKELY: Final[dict[str, tuple[str, ...]]] = {
    "gravity": ("gravity", "sg", "density", "plato", "extract"),
    "temperature": ("temperature", "temp", "liquid", "celsius", "fahrenheit"),
    "inclination": ("inclination", "angle", "deg"),
    "battery": ("battery", "batt", "volt", "mv"),
    "signal": ("signal", "rssi", "dbm"),
    "measured_at": ("measured_at", "time", "timestamp", "ts", "date"),
    "sequence": ("sequence", "seq", "counter"),
}
"""Everyday words by which a name is guessed; the person decides."""


@dataclass(frozen=True, slots=True)
class Leaf:
    """A value in a message and the JMESPath expression that finds it."""

    expression: str
    value: Any

    @property
    def usable(self) -> str:
        """The expression as a rule needs it: a number that was sent as text is turned into one."""
        if isinstance(self.value, str) and _is_number(self.value):
            return f"to_number({self.expression})"
        return self.expression


@dataclass(frozen=True, slots=True)
class Group:
    """Rejected messages of one shape, from topics that differ in one level only, the newest first."""

    topic: str
    """With `{device}` at the level in which they differ, or where an id is likely."""
    shape: tuple[str, ...]
    """What stands in them, and where it is wrong."""
    messages: tuple[Rejection, ...]

    @property
    def key(self) -> str:
        """What tells this group from the others."""
        return f"{self.topic} {' '.join(self.shape)}"

    @property
    def topics(self) -> tuple[str, ...]:
        """Every topic they came on."""
        return tuple(dict.fromkeys(message.topic for message in self.messages))

    @property
    def faults(self) -> tuple[str, ...]:
        """What was wrong with the newest."""
        return self.messages[0].faults


def leaves(payload: bytes) -> list[Leaf]:
    """Every single value in a message, in its order; empty where it is neither JSON nor a bare value."""
    try:
        text = payload.decode("utf-8")
    except UnicodeDecodeError:
        return []
    try:
        document = json.loads(text)
    except (ValueError, RecursionError):
        return [Leaf("@", text.strip())] if text.strip() else []
    return list(_walk(document, ""))[:_MOST_LEAVES]


def _walk(node: Any, path: str) -> Iterable[Leaf]:
    if isinstance(node, Mapping):
        for name, value in node.items():
            step = name if _PLAIN_NAME.fullmatch(name) else json.dumps(name)
            yield from _walk(value, f"{path}.{step}" if path else step)
    elif isinstance(node, list):
        for at, value in enumerate(node):
            yield from _walk(value, f"{path}[{at}]")
    elif node is not None and not isinstance(node, bool):
        yield Leaf(path or "@", node)


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def likely(quantity: str, found: Sequence[Leaf]) -> Leaf | None:
    """The value that by its name is this quantity; None where no name says so."""
    for word in _LIKELY[quantity]:
        for leaf in found:
            steps = [step.strip('"[]0123456789').casefold() for step in leaf.expression.split(".")]
            numeric = not isinstance(leaf.value, str) or _is_number(leaf.value) or quantity == "measured_at"
            if numeric and (steps[-1] == word or steps[-1].startswith(f"{word}_") or word in steps[-1].split("_")):
                return leaf
    return None


def likely_unit(quantity: str, leaf: Leaf) -> str | None:
    """The unit that fits the value's size and name, as a first guess."""
    value = float(leaf.value) if not isinstance(leaf.value, str) or _is_number(leaf.value) else None
    name = leaf.expression.casefold()
    if quantity == "measured_at":
        return "RFC 3339" if value is None else "ms" if value > 1e11 else "s"
    if quantity not in QUANTITY_UNITS or value is None:
        return None
    if quantity == "gravity":
        return "kg/m³" if value > 500 else "°P" if value > 1.3 else "SG"
    if quantity == "temperature":
        return "K" if value > 250 else "°F" if value > 45 or name.endswith("_f") else "°C"
    if quantity == "battery":
        return "mV" if value > 1000 else "%" if value > 15 else "V"
    return QUANTITY_UNITS[quantity][0]


def units_of(quantity: str) -> tuple[str, ...]:
    """The units a quantity may come in."""
    return TIME_UNITS if quantity == "measured_at" else QUANTITY_UNITS.get(quantity, ())


def groups(rejections: Iterable[Rejection]) -> list[Group]:
    """Rejected messages by what stands in them and where it is wrong, and by topic.

    Topics that differ in one level only belong together, but never messages of different shape: a rule for the one
    would not read the other, and nobody should dismiss what was not shown.
    """
    known = list(rejections)
    topics = list(dict.fromkeys(message.topic for message in known))
    patterns = {topic: _pattern(topic, topics) for topic in topics}
    found: dict[tuple[str, tuple[str, ...]], list[Rejection]] = {}
    for message in known:
        found.setdefault((patterns[message.topic], _shape(message)), []).append(message)
    made = [
        Group(topic, shape, tuple(sorted(messages, key=lambda r: r.received_at, reverse=True)))
        for (topic, shape), messages in found.items()
    ]
    # In the order of their first message: a group that comes up later must not push the others about.
    return sorted(made, key=lambda group: group.messages[-1].received_at)


def _shape(message: Rejection) -> tuple[str, ...]:
    names = (leaf.expression for leaf in leaves(message.payload))
    places = (fault.partition(":")[0] for fault in message.faults)
    return (*names, "|", *places)


def _pattern(topic: str, others: Sequence[str]) -> str:
    levels = topic.split("/")
    for other in others:
        there = other.split("/")
        if other == topic or len(there) != len(levels):
            continue
        differ = [at for at, (a, b) in enumerate(zip(levels, there, strict=True)) if a != b]
        if len(differ) == 1 and len(levels) > 1:
            return _with_device(levels, differ[0])
    if len(levels) == 1:
        return topic
    numbered = [at for at, level in enumerate(levels) if any(c.isdigit() for c in level)]
    return _with_device(levels, numbered[0] if numbered else min(1, len(levels) - 1))


def _with_device(levels: Sequence[str], at: int) -> str:
    return "/".join("{device}" if n == at else level for n, level in enumerate(levels))


def source_of(
    name: str, topic: str, takes: Mapping[str, tuple[str, str | None]], device: str | None = None
) -> dict[str, Any]:
    """A rule as the settings file would hold it; `takes` are expression and unit by quantity."""
    source: dict[str, Any] = {"name": name, "topic": topic}
    if device:
        source["device"] = device
    for quantity, (expression, unit) in takes.items():
        source[quantity] = {"value": expression} | ({"unit": unit} if unit else {})
    return source


@dataclass(frozen=True, slots=True)
class Tried:
    """What a rule makes of one message."""

    rejection: Rejection
    reports: tuple[Report, ...]
    faults: tuple[str, ...]


def tried(rule: Rule, messages: Iterable[Rejection], prefix: str, sites: Sequence[str] = ()) -> list[Tried]:
    """What a rule makes of stored messages; those of other topics are left out."""
    results = []
    for message in messages:
        if rule.device_of(message.topic) is None:
            continue
        decoded = decode(
            message.topic,
            message.payload,
            received_at=message.received_at,
            prefix=prefix,
            rules=[rule],
            sites=sites,
        )
        results.append(Tried(message, decoded.reports, tuple(str(fault) for fault in decoded.faults)))
    return results


def told(report: Report, say: Voice) -> list[str]:
    """A report in a few words: device, time and what it measured."""
    parts = [report.device_id, say.exact(report.measured_at)]
    if report.gravity_sg is not None:
        parts.append(say.gravity(report.gravity_sg))
    if report.inclination_deg is not None:
        parts.append(f"{number(report.inclination_deg, 1)}°")
    if report.temperature_c is not None:
        parts.append(say.temperature(report.temperature_c))
    if report.battery_v is not None:
        parts.append(f"{number(report.battery_v, 2)} V")
    if report.battery_pct is not None:
        parts.append(f"battery {number(report.battery_pct)} %")
    if report.signal_dbm is not None:
        parts.append(f"{number(report.signal_dbm)} dBm")
    return parts


def readable(payload: bytes) -> str:
    """The bytes as a person reads them."""
    try:
        text = payload.decode("utf-8")
    except UnicodeDecodeError:
        return payload[:400].hex(" ")
    try:
        return json.dumps(json.loads(text), indent=2, ensure_ascii=False)[:2000]
    except (ValueError, RecursionError):
        return text[:2000]
