"""One message into reports: topic and bytes in, reports and faults out. Nothing raises, nothing is lost.

Three forms are understood: a SenML pack, our own JSON object whose names carry their units (or a list of such objects),
and whatever a rule describes. A malformed message is rejected whole. Where only a value is impossible, that value
is a fault and the rest of the message is taken; in both cases the caller keeps the bytes beside the faults.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

from ingest import instants, senml
from ingest.errors import Fault
from ingest.instants import Said, TimeUnit
from ingest.model import Report
from ingest.quantities import BY_FIELD, NATIVE_NAMES, QUANTITIES, converted, out_of_range
from ingest.rules import Rule, Take

LONGEST_ID: Final = 128
LARGEST_SEQUENCE: Final = 2**63 - 1


@dataclass(frozen=True, slots=True)
class Decoded:
    """What a message becomes. `how` names the form in which it was understood."""

    reports: tuple[Report, ...]
    faults: tuple[Fault, ...] = ()
    how: str = ""


@dataclass(slots=True)
class _Draft:
    """A report before its instant is settled."""

    device_id: str
    said: Said | None = None
    sequence: int | None = None
    values: dict[str, float] = field(default_factory=dict)
    extra: dict[str, Any] = field(default_factory=dict)


def decode(
    topic: str, payload: bytes, *, received_at: datetime, prefix: str = "tunroom", rules: Sequence[Rule] = ()
) -> Decoded:
    """Decode one message.

    Parameters
    ----------
    topic, payload
        As they came.
    received_at
        When they came; used where the device has no plausible time of its own.
    prefix
        The topic levels above ``report/<device>``.
    rules
        Rules for other devices; those that fit the topic are tried first, and all that fit apply.
    """
    try:
        return _decode(topic, payload, received_at, prefix, rules)
    except Exception as error:  # the last net: whatever a device sends, the subscriber goes on
        fault = Fault("$", f"the message could not be read ({type(error).__name__})", "Look at its bytes")
        return Decoded((), (fault,), "nothing known")


def _decode(topic: str, payload: bytes, received_at: datetime, prefix: str, rules: Sequence[Rule]) -> Decoded:
    fitting = [(rule, device) for rule in rules if (device := rule.device_of(topic)) is not None]
    head = f"{prefix}/report/"
    if not fitting and not topic.startswith(head):
        remedy = f"Send to {prefix}/report/<device>, or make a rule for this topic"
        return Decoded((), (Fault("topic", f"no rule fits {topic!r}", remedy),), "nothing known")
    document = _document(payload, plain_text=bool(fitting))
    if isinstance(document, Fault):
        return Decoded((), (document,), "JSON")
    faults: list[Fault] = []
    if fitting:
        drafts = _by_rules(fitting, document, faults)
        how = "rule " + ", ".join(rule.name for rule, _ in fitting)
    else:
        device = topic[len(head) :]
        if senml.is_pack(document):
            drafts, how = _from_senml(device, document, faults), "SenML pack"
        else:
            drafts, how = _from_objects(device, document, faults), "JSON object"
    faults.extend(fault for device in {d.device_id for d in drafts} if (fault := _wrong_id(device)) is not None)
    if faults:
        return Decoded((), tuple(faults), how)
    for draft in drafts:
        _set_aside_impossible(draft, faults)
    taken = [draft for draft in drafts if draft.values]
    if not taken and not faults:
        faults.append(_nothing_found(document))
    return Decoded(_reports(taken, topic, payload, received_at), tuple(faults), how)


def _reports(drafts: Sequence[_Draft], topic: str, payload: bytes, received_at: datetime) -> tuple[Report, ...]:
    if not drafts:
        return ()
    settled = instants.settle([draft.said for draft in drafts], received_at)
    return tuple(
        Report(
            device_id=draft.device_id,
            measured_at=measured_at,
            received_at=received_at,
            sequence=draft.sequence,
            time_flag=flag,
            extra=draft.extra,
            topic=topic,
            payload=payload,
            **draft.values,
        )
        for draft, (measured_at, flag) in zip(drafts, settled, strict=True)
    )


def _document(payload: bytes, *, plain_text: bool) -> Any:
    if not payload:
        return Fault("$", "the message is empty", "Send a JSON object such as " + _EXAMPLE)
    try:
        text = payload.decode("utf-8")
    except UnicodeDecodeError as error:
        return Fault("$", f"byte {error.start} is not UTF-8", "Send JSON in UTF-8")
    try:
        return json.loads(text, parse_constant=_refuse_constant)
    except _NotANumber as error:
        return Fault("$", f"{error} is no number in JSON", "Leave the name out where there is no value")
    except RecursionError:
        return Fault("$", "the JSON is nested too deeply", "Send a flat object")
    except ValueError as error:
        if plain_text:  # a rule may read a bare text
            bare = text.strip()
            return float(bare) if _BARE_NUMBER.fullmatch(bare) else bare
        return Fault("$", f"this is not JSON ({error})", "Send a JSON object such as " + _EXAMPLE)


class _NotANumber(Exception):
    """NaN or Infinity."""


def _refuse_constant(name: str) -> float:
    raise _NotANumber(name)


_BARE_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_EXAMPLE: Final = '{"gravity_sg": 1.048, "temperature_c": 19.5}'
_SPACE: Final = re.compile(r"[\s\x00-\x1f\x7f-\x9f\ud800-\udfff]")


def _wrong_id(device: str) -> Fault | None:
    if 0 < len(device) <= LONGEST_ID and "/" not in device and not _SPACE.search(device):
        return None
    return Fault(
        "topic",
        f"{_shown(device)} cannot be a device's id",
        f"An id is one topic level of 1 to {LONGEST_ID} characters without spaces",
    )


def _nothing_found(document: object) -> Fault:
    what = f"only {', '.join(map(str, list(document)[:5]))}" if isinstance(document, dict) and document else "nothing"
    return Fault("$", f"there is no quantity in it that we know, {what}", f"Known names are {', '.join(NATIVE_NAMES)}")


def number(value: object, path: str, example: str) -> float | Fault:
    """A JSON value as a finite number. A number in quotes is an error, not a kindness."""
    if type(value) is float or type(value) is int:
        try:
            result = float(value)
        except OverflowError:
            result = math.inf
        if math.isfinite(result):
            return result
    return Fault(path, f"expected a number, got {_shown(value)}", f"Send it unquoted, e.g. {example}")


# --- our own JSON object ---------------------------------------------------------------------------------------


def _from_objects(device: str, document: object, faults: list[Fault]) -> list[_Draft]:
    if isinstance(document, dict):
        return [_from_object(device, document, "$", faults)]
    if isinstance(document, list) and document:
        drafts = []
        for at, item in enumerate(document):
            if isinstance(item, dict):
                drafts.append(_from_object(device, item, f"$[{at}]", faults))
            else:
                faults.append(Fault(f"$[{at}]", f"expected an object, got {_shown(item)}", f"Such as {_EXAMPLE}"))
        return drafts
    faults.append(Fault("$", f"expected an object, got {_shown(document)}", f"Such as {_EXAMPLE}"))
    return []


def _from_object(device: str, item: Mapping[str, Any], path: str, faults: list[Fault]) -> _Draft:
    draft = _Draft(device)
    for name, value in item.items():
        native = NATIVE_NAMES.get(name)
        if native is not None:
            if value is None:  # the device says that it has none
                continue
            result = number(value, f"{path}.{name}", f'{{"{name}": {_SAMPLES.get(name, "19.5")}}}')
            if isinstance(result, Fault):
                faults.append(result)
            else:
                _put(draft, native[0], result, native[1], name, f"{path}.{name}", faults)
        elif name == "measured_at" or name == "measured_at_ms":
            if value is not None:
                unit: TimeUnit | None = "ms" if name == "measured_at_ms" else None
                _put_time(draft, instants.read(value, f"{path}.{name}", unit, declared=True), faults)
        elif name == "sequence":
            _put_sequence(draft, value, f"{path}.sequence", faults)
        else:
            draft.extra[name] = value
    return draft


_SAMPLES: Final = {
    "gravity_sg": "1.048",
    "extract_plato": "11.8",
    "density_kg_m3": "1046.1",
    "inclination_deg": "41.2",
    "battery_v": "3.9",
    "battery_mv": "3900",
    "signal_dbm": "-67",
}


def _put(draft: _Draft, name: str, value: float, unit: str, given_as: str, path: str, faults: list[Fault]) -> None:
    try:
        result = converted(name, value, unit)
    except (ArithmeticError, ValueError):
        result = math.inf
    earlier = draft.values.get(name)
    if earlier is not None and not abs(earlier - result) <= _SAME_WITHIN.get(name, 0.0):
        other = f"{earlier:g} {BY_FIELD[name].shown_unit}"
        faults.append(Fault(path, f"it contradicts {other} in the same message", "Send each quantity once"))
        return
    if earlier is None or given_as == name:
        draft.values[name] = result
    if given_as != name:
        draft.extra[given_as] = value  # as it was sent


_SAME_WITHIN: Final = {"gravity_sg": 0.002, "temperature_c": 0.2}
"""A quantity sent in two units is the same if it differs by no more than rounding."""


def _put_time(draft: _Draft, said: Said | Fault, faults: list[Fault]) -> None:
    if isinstance(said, Fault):
        faults.append(said)
    elif draft.said is not None and abs(draft.said.seconds - said.seconds) >= 1:
        faults.append(Fault("$", "the message has two times that differ", "Send measured_at or measured_at_ms"))
    else:
        draft.said = said


def _put_sequence(draft: _Draft, value: object, path: str, faults: list[Fault]) -> None:
    if value is None:
        return
    if type(value) is float and value.is_integer():
        value = int(value)
    if type(value) is not int or not 0 <= value <= LARGEST_SEQUENCE:
        faults.append(Fault(path, f"expected a whole number from 0, got {_shown(value)}", 'Such as {"sequence": 17}'))
    else:
        draft.sequence = value


def _set_aside_impossible(draft: _Draft, faults: list[Fault]) -> None:
    for name in list(draft.values):
        if (fault := out_of_range(name, draft.values[name], f"$.{name}")) is not None:
            faults.append(fault)
            del draft.values[name]


# --- SenML -----------------------------------------------------------------------------------------------------

_SENML_UNITS: Final = {
    "Cel": "°C",
    "K": "K",
    "deg": "°",
    "rad": "rad",
    "V": "V",
    "dBW": "dBW",
    "kg/m3": "kg/m3",
    "%EL": "%",
    "/": "ratio",
    "%": "ratio",
    "": "",
}
"""Primary unit of the registry -> our unit. The registry's % is a ratio from 0 to 1, not a percentage."""


def _from_senml(device: str, pack: Sequence[Any], faults: list[Fault]) -> list[_Draft]:
    records, wrong = senml.resolve(pack)
    faults.extend(wrong)
    if wrong:
        return []
    bases = {record.base_name for record in records if record.name}
    drafts: dict[tuple[str, float], _Draft] = {}
    for record in records:
        owner = device if len(bases) < 2 or not record.base_name else record.base_name.rstrip("/:") or device
        key = (owner, record.time_s)
        if key not in drafts:
            drafts[key] = _Draft(owner, Said(record.time_s, relative=record.relative))
        _take_record(drafts[key], record, faults)
    # A record such as a battery's may stand alone with its time: it is a reading all the same.
    return list(drafts.values())


def _take_record(draft: _Draft, record: senml.Resolved, faults: list[Fault]) -> None:
    path = f"$[{record.at}]"
    name = re.split(r"[:/]", record.full_name)[-1] if record.name == "" else re.split(r"[:/]", record.name)[-1]
    if record.kind != "number" or not isinstance(record.value, float):
        shown = record.value.hex() if isinstance(record.value, bytes) else record.value
        draft.extra[record.name or name] = shown if record.kind != "none" else record.sum
        return
    if name == "sequence":
        _put_sequence(draft, record.value, f"{path}.v", faults)
        return
    value, unit = senml.to_primary(record.value, record.unit or "")
    if name in NATIVE_NAMES and unit == "":
        native, own_unit = NATIVE_NAMES[name]
        _put(draft, native, value, own_unit, name, f"{path}.v", faults)
        return
    found = _senml_quantity(name, unit, distinct=bool(record.name))
    if found is None:
        draft.extra[record.name or name] = record.value if not record.unit else {"v": record.value, "u": record.unit}
        return
    quantity, own_unit, scale = found
    _put(draft, quantity, value * scale, own_unit, quantity, f"{path}.v", faults)
    if own_unit in ("°P", "kg/m3"):
        draft.extra["extract_plato" if own_unit == "°P" else "density_kg_m3"] = value * scale


def _senml_quantity(name: str, unit: str, *, distinct: bool) -> tuple[str, str, float] | None:
    """The field, our unit and a factor for a record of this name and primary unit."""
    own = _SENML_UNITS.get(unit)
    if own is None:
        return None
    if name == "extract" and own == "ratio":
        return "gravity_sg", "°P", 100.0
    if name in ("gravity", "sg") and own in ("ratio", ""):
        return "gravity_sg", "SG", 1.0
    for quantity in QUANTITIES:
        if name in quantity.names and own in quantity.units:
            return quantity.field, own, 1.0
    if not distinct and own in ("°C", "K"):  # a sensor that is named as a whole and tells a temperature
        return "temperature_c", own, 1.0
    return None


# --- rules -----------------------------------------------------------------------------------------------------


def _by_rules(fitting: Sequence[tuple[Rule, str]], document: Any, faults: list[Fault]) -> list[_Draft]:
    drafts = []
    for rule, device in fitting:
        draft = _Draft(device)
        for take in rule.takes:
            value = _search(take, document, faults)
            if value is None:
                continue
            path = f"$ {take.expression}"
            result = number(value, path, "19.5")
            if isinstance(result, Fault):
                remedy = f"Rule {rule.name!r} may turn a text into a number with to_number({take.expression})"
                faults.append(Fault(result.path, result.problem, remedy))
            else:
                _put(draft, take.field, result, take.unit or "", take.field, path, faults)
        if rule.measured_at is not None and (value := _search(rule.measured_at, document, faults)) is not None:
            unit = rule.measured_at.unit
            time_unit: TimeUnit | None = unit if unit in ("s", "ms", "RFC 3339") else None  # type: ignore[assignment]
            path = f"$ {rule.measured_at.expression}"
            _put_time(draft, instants.read(value, path, time_unit, declared=time_unit is not None), faults)
        if rule.sequence is not None:
            path = f"$ {rule.sequence.expression}"
            _put_sequence(draft, _search(rule.sequence, document, faults), path, faults)
        if isinstance(document, dict):
            draft.extra.update((k, v) for k, v in document.items() if k not in rule.keys)
        drafts.append(draft)
    return drafts


def _search(take: Take, document: Any, faults: list[Fault]) -> Any:
    try:
        return take.compiled.search(document)
    except Exception as error:  # JMESPath's own functions raise many types on values they do not expect
        problem = " ".join(str(error).split())[:200]
        faults.append(Fault(f"$ {take.expression}", f"the expression fails here ({problem})", "Mend the rule"))
        return None


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "…"
