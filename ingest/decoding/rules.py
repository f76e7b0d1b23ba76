"""Rules: how to read the messages of a device that does not speak our own forms.

A rule has a topic pattern with a place for the device's id, and for each quantity a JMESPath expression and a unit::

    [[rules]]
    name = "shed probes"
    topic = "shed/{device}/state"
    temperature = { value = "sensors.liquid", unit = "°F" }
    battery = { value = "power.mv", unit = "mV" }
    measured_at = { value = "ts", unit = "ms" }

A bare number is the document itself: ``value = "@"``.
"""

from __future__ import annotations

import json
import logging
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import jmespath
import jmespath.exceptions

from ingest.decoding import timestamps
from ingest.decoding.draft import Draft, Faults, number
from ingest.decoding.expression_cost import MOST_LETTERS, MOST_NESTED, too_costly
from ingest.decoding.quantities import UNIT_SPELLINGS
from ingest.errors import Fault, SettingsError, SettingsFaults

if TYPE_CHECKING:
    from ingest.store import Store

log = logging.getLogger(__name__)

QUANTITY_UNITS: Final[dict[str, tuple[str, ...]]] = {
    "gravity": ("SG", "°P", "kg/m³"),
    "temperature": ("°C", "°F", "K"),
    "inclination": ("°", "rad"),
    "battery": ("V", "mV", "%", "ratio"),
    "signal": ("dBm", "dBW"),
}
"""What a rule can take from a message, with the units it may come in."""

TIME_UNITS: Final = ("s", "ms", "RFC 3339")
_UNITS: Final[dict[str, tuple[str, ...]]] = {**QUANTITY_UNITS, "measured_at": TIME_UNITS, "sequence": ()}
_NOTHING: Final = re.compile(r"(?!)")
_FIELDS: Final = {
    "gravity": "gravity_sg",
    "temperature": "temperature_c",
    "inclination": "inclination_deg",
    "battery": "battery_v",
    "signal": "signal_dbm",
}
RULES_NOTE: Final = "rules"


@dataclass(frozen=True, slots=True)
class Take:
    """One expression of a rule: what it is for, where it is found, in which unit."""

    quantity: str
    expression: str
    unit: str | None
    compiled: Any = field(compare=False, repr=False)

    @property
    def field(self) -> str:
        """The field of `Report` that it fills."""
        if self.quantity == "battery" and self.unit in ("%", "ratio"):
            return "battery_pct"
        return _FIELDS.get(self.quantity, self.quantity)


@dataclass(frozen=True, slots=True)
class Rule:
    """A checked rule. `source` is what it was made from, and what is saved of it."""

    name: str
    topic: str
    device: str | None
    takes: tuple[Take, ...]
    measured_at: Take | None
    sequence: Take | None
    source: Mapping[str, Any] = field(compare=False, repr=False)
    pattern: re.Pattern[str] = field(compare=False, repr=False)
    keys: frozenset[str] = field(compare=False, repr=False)
    """The top-level names that the rule reads by themselves; all others of a message are kept as extra."""

    @property
    def filter(self) -> str:
        """What to subscribe to."""
        return "/".join("+" if "{device}" in level else level for level in self.topic.split("/"))

    def device_of(self, topic: str) -> str | None:
        """The id of the device that sent to this topic; None where the rule is for other topics."""
        match = self.pattern.fullmatch(topic)
        if match is None:
            return None
        return self.device if self.device is not None else match["device"]


Where = Callable[[str], str]
"""The place of a key, for an error."""


def rule_from(source: Mapping[str, Any], where: Where = lambda key: f"the rule, {key}") -> Rule:
    """Check a rule as it stands in the settings file, or as a screen built it.

    Raises
    ------
    SettingsError
        With the place of everything that is wrong.
    """
    known = ("name", "topic", "device", "measured_at", "sequence", *QUANTITY_UNITS)
    faults = SettingsFaults()
    for key in source:
        if key not in known:
            faults.found.append(SettingsError(where(key), f"a rule has no {key!r}", f"Known are {', '.join(known)}"))
    topic, device, pattern = "", None, _NOTHING
    with faults.gathering():
        topic = _text(source, "topic", where) or ""
        if not topic:
            raise SettingsError(where("topic"), "the rule has no topic", 'Add topic = "shed/{device}/state"')
        pattern = _pattern(topic, where)
        device = _text(source, "device", where)
        if device is None and "{device}" not in topic:
            raise SettingsError(
                where("topic"),
                "the topic has no place for the device's id",
                'Put {device} where the id stands, or name a fixed one: device = "probe-1"',
            )
    takes: dict[str, Take] = {}
    for key, units in _UNITS.items():
        if key in source:
            with faults.gathering():
                takes[key] = _take(key, source[key], units, where)
    if not source.keys() & QUANTITY_UNITS.keys():
        faults.found.append(
            SettingsError(
                where("topic"),
                "the rule takes nothing from the message",
                f'Add one of {", ".join(QUANTITY_UNITS)}, such as temperature = {{ value = "temp", unit = "°C" }}',
            )
        )
    name = topic
    with faults.gathering():
        name = _text(source, "name", where) or topic
    faults.refuse()
    keys = frozenset(take.expression.strip().strip('"') for take in takes.values())
    measured_at, sequence = takes.pop("measured_at", None), takes.pop("sequence", None)
    return Rule(name, topic, device, tuple(takes.values()), measured_at, sequence, dict(source), pattern, keys)


def _text(source: Mapping[str, Any], key: str, where: Where) -> str | None:
    value = source.get(key)
    if value is None:
        return None
    if not isinstance(value, str) or not value.strip():
        raise SettingsError(where(key), f"expected a text in quotes, got {value!r}", "Mend this line")
    return value.strip()


def _pattern(topic: str, where: Where) -> re.Pattern[str]:
    levels = topic.split("/")
    remedy = "A level is plain text, + for any one, # at the end for all that follow, or holds {device}"
    if topic.count("{device}") > 1:
        raise SettingsError(where("topic"), "{device} stands in the topic more than once", "Leave one")
    out: list[str] = []
    for at, level in enumerate(levels):
        rest = level.replace("{device}", "")
        if level == "#" and at == len(levels) - 1:
            tail = "(?:/.*)?" if at else ".*"
            return re.compile("/".join(out) + tail, re.DOTALL)
        if level == "+":
            out.append("[^/]*")
        elif any(letter in rest for letter in "+#{}\0"):
            raise SettingsError(where("topic"), f"the level {level!r} cannot be read", remedy)
        else:
            out.append(re.escape(level).replace(re.escape("{device}"), "(?P<device>[^/]+)"))
    return re.compile("/".join(out), re.DOTALL)


def _take(key: str, value: object, units: Sequence[str], where: Where) -> Take:
    example = f'{key} = {{ value = "…"' + (f', unit = "{units[0]}"' if units else "") + " }"
    if not isinstance(value, Mapping) or set(value) - {"value", "unit"} or not isinstance(value.get("value"), str):
        raise SettingsError(where(key), f"{key} needs a value (a JMESPath expression)", f"Write {example}")
    expression, unit = value["value"], value.get("unit")
    if unit is not None and not units:
        raise SettingsError(where(key), f"{key} has no unit", f"Write {example}")
    if key in QUANTITY_UNITS:
        spelled = UNIT_SPELLINGS.get(unit) if isinstance(unit, str) else None
        allowed = {UNIT_SPELLINGS[each]: each for each in units}
        if spelled not in allowed:
            got = "no unit is given" if unit is None else f"the unit {unit!r} is not known"
            raise SettingsError(where(key), f"{got} for {key}", f"It may be {', '.join(units)}")
        unit = spelled
    elif unit is not None and unit not in units:
        raise SettingsError(where(key), f"the unit {unit!r} is not known for {key}", f"It may be {', '.join(units)}")
    remedy = "Take a plain path, such as sensors.liquid, or the first that is there, such as liquid || temp"
    if len(expression) > MOST_LETTERS:
        raise SettingsError(where(key), f"the expression has more than {MOST_LETTERS:,} letters", remedy)
    try:
        compiled = jmespath.compile(expression)
        problem = too_costly(compiled.parsed)
    except RecursionError:
        raise SettingsError(where(key), f"the expression is nested more than {MOST_NESTED} deep", remedy) from None
    except jmespath.exceptions.JMESPathError as error:
        problem = " ".join(str(error).split("\n")[0].split())
        raise SettingsError(
            where(key),
            f"{expression!r} is no JMESPath expression ({problem})",
            'Names are joined by dots, such as "sensors.liquid"; a name with odd letters needs double quotes',
        ) from None
    if problem is not None:
        raise SettingsError(where(key), f"{expression!r} would cost too much: {problem}", remedy)
    return Take(key, expression, unit, compiled)


def drafts_of(fitting: Sequence[tuple[Rule, str]], document: Any, faults: Faults) -> list[Draft]:
    """One reading for each rule, with the device's id that the rule found in the topic or names itself."""
    return [_draft(rule, device, document, faults) for rule, device in fitting]


def _draft(rule: Rule, device: str, document: Any, faults: Faults) -> Draft:
    draft = Draft(device)
    for take in rule.takes:
        value = _search(take, document, faults)
        if value is None:
            continue
        path = f"$ {take.expression}"
        result = number(value, path, lambda: "19.5")
        if isinstance(result, Fault):
            remedy = f"Rule {rule.name!r} may turn a text into a number with to_number({take.expression})"
            faults.malformed.append(Fault(result.path, result.problem, remedy))
        else:
            draft.put(take.field, result, take.unit or "", take.field, path, faults)
    if rule.measured_at is not None and (value := _search(rule.measured_at, document, faults)) is not None:
        unit = timestamps.time_unit(rule.measured_at.unit)
        path = f"$ {rule.measured_at.expression}"
        draft.put_time(timestamps.read(value, path, unit, declared=unit is not None), faults)
    if rule.sequence is not None:
        draft.put_sequence(_search(rule.sequence, document, faults), f"$ {rule.sequence.expression}", faults)
    if isinstance(document, dict):
        draft.extra.update((key, value) for key, value in document.items() if key not in rule.keys)
    return draft


def _search(take: Take, document: Any, faults: Faults) -> Any:
    try:
        return take.compiled.search(document)
    except Exception as error:  # JMESPath's own functions raise many types on values they do not expect
        problem = " ".join(str(error).split())[:200]
        faults.malformed.append(
            Fault(f"$ {take.expression}", f"the expression fails here ({problem})", "Mend the rule")
        )
        return None


def stored_rules(store: Store) -> tuple[Rule, ...]:
    """The rules that were made on screen; one that is refused today is named in the log, left out, and stays saved."""
    rules = []
    for source in stored_sources(store):
        try:
            rules.append(rule_from(source))
        except SettingsError as error:
            log.warning("The saved rule %r is not used: %s", source.get("name"), error)
    return tuple(rules)


def stored_sources(store: Store) -> list[dict[str, Any]]:
    """The rules that were made on screen, as they are saved."""
    text = store.get_note(RULES_NOTE)
    return list(json.loads(text)) if text else []


def save_rule(store: Store, rule: Rule) -> None:
    """Keep a rule that was made on screen; one of the same name is replaced."""
    kept = [other for other in stored_sources(store) if other.get("name") != rule.name]
    _write(store, [*kept, {**rule.source, "name": rule.name}], f"Saved the rule for {rule.topic}")


def add_rules(store: Store, text: str) -> None:
    """Add the rules of another cellar, as its note has them; a name that is taken here keeps its own rule."""
    have = {source.get("name") for source in stored_sources(store)}
    for rule in map(rule_from, json.loads(text)):
        if rule.name not in have:
            save_rule(store, rule)


def remove_rule(store: Store, name: str) -> None:
    """Forget a rule that was made on screen."""
    kept = [source for source in stored_sources(store) if source.get("name") != name]
    _write(store, kept, f"Removed the rule {name}")


def _write(store: Store, sources: Iterable[Mapping[str, Any]], sentence: str) -> None:
    store.change_note(RULES_NOTE, json.dumps([dict(source) for source in sources], ensure_ascii=False), sentence)
