"""One message into reports: topic and bytes in, reports and faults out. Nothing raises, nothing is lost.

Three forms are understood: a SenML pack, our own JSON object whose names carry their units (or a list of such objects),
and whatever a rule describes. A malformed message is rejected whole. Where only a value is impossible, that value
is a fault and the rest of the message is taken; in both cases the caller keeps the bytes beside the faults.
"""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any, Final, NamedTuple

from ingest.decoding import rules as rule_book
from ingest.decoding import senml, senml_readings, timestamps
from ingest.decoding import sites as sites_
from ingest.decoding.device_id import ID_REMEDY, is_good_id
from ingest.decoding.draft import Draft, Faults, number, shown
from ingest.decoding.quantities import BY_FIELD, NATIVE_NAMES
from ingest.decoding.rules import Rule
from ingest.decoding.sites import Origin
from ingest.decoding.timestamps import TimeUnit
from ingest.errors import Fault
from ingest.model import Report


class Decoded(NamedTuple):
    """What a message becomes. `how` names the form in which it was understood."""

    reports: tuple[Report, ...]
    faults: tuple[Fault, ...] = ()
    how: str = ""


def decode(
    topic: str,
    payload: bytes,
    *,
    received_at: datetime,
    prefix: str = "tunroom",
    rules: Sequence[Rule] = (),
    gateways: Collection[str] | None = None,
    sites: Sequence[str] = (),
    not_after: datetime | None = None,
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
    gateways
        The devices whose messages may name others as their source; None: any.
    sites
        Other sites whose brokers hand messages on to ours, see `sites`.
    not_after
        Until when a device's own time is plausible, where that is later than `received_at`: our clock was set back.
    """
    try:
        decoded = _decode(topic, payload, (received_at, not_after or received_at), prefix, rules, sites)
        if gateways is None:
            return decoded
        return _of_its_own(decoded, sites_.origin_of(topic, prefix, sites), prefix, gateways)
    except Exception as error:  # the last net: whatever a device sends, the subscriber goes on
        fault = Fault("$", f"the message could not be read ({type(error).__name__})", "Look at its bytes")
        return Decoded((), (fault,), "nothing known")


def _of_its_own(decoded: Decoded, origin: sites_.Origin, prefix: str, gateways: Collection[str]) -> Decoded:
    """The message, unless a device that is no gateway speaks for another: then nothing of it counts."""
    head = f"{prefix}/report/"
    sender = origin.named(origin.topic.removeprefix(head))
    others = {report.device_id for report in decoded.reports} - {sender}
    if not origin.topic.startswith(head) or sender in gateways or not others:
        return decoded
    problem = f"{shown(sender)} speaks for {shown(min(others))}, which only a gateway may"
    remedy = "Name it under gateways in [broker] of the settings, or let each device send for itself"
    return Decoded((), (Fault("$", problem, remedy),), decoded.how)


def _decode(
    topic: str,
    payload: bytes,
    received: tuple[datetime, datetime],
    prefix: str,
    rules: Sequence[Rule],
    sites: Sequence[str],
) -> Decoded:
    origin = sites_.origin_of(topic, prefix, sites)
    fitting = _fitting(rules, topic, origin) if rules else []
    head = f"{prefix}/report/"
    if not fitting and not origin.topic.startswith(head):
        if (unknown := sites_.unknown_site(origin.topic, prefix)) is not None:
            return Decoded((), (unknown,), "nothing known")
        remedy = f"Send to {prefix}/report/<device>, or make a rule for this topic"
        return Decoded((), (Fault("topic", f"no rule fits {shown(topic)}", remedy),), "nothing known")
    document = _document(payload, plain_text=bool(fitting))
    if isinstance(document, Fault):
        return Decoded((), (document,), "JSON")
    faults = Faults()
    if fitting:
        drafts = rule_book.drafts_of(fitting, document, faults)
        how = "rule " + ", ".join(rule.name for rule, _ in fitting)
    elif senml.is_pack(document):
        drafts, how = senml_readings.drafts_of(origin.topic[len(head) :], document, faults), "SenML pack"
    else:
        drafts, how = _from_objects(origin.topic[len(head) :], document, faults), "JSON object"
    checked: str | None = None
    for draft in drafts:
        if draft.device_id != checked:
            checked = draft.device_id
            faults.malformed += _faults_of_id(checked, origin, sites)
        if origin.site is not None:
            draft.device_id = origin.named(draft.device_id)
    if faults.malformed:
        return Decoded((), faults.all(), how)
    taken = [draft for draft in drafts if draft.values]
    if not taken:
        if not faults.impossible:
            faults.malformed.append(_nothing_found(document))
        return Decoded((), faults.all(), how)
    return Decoded(_reports(taken, topic, payload, *received), tuple(faults.impossible), how)


def _reports(
    drafts: Sequence[Draft], topic: str, payload: bytes, received_at: datetime, not_after: datetime
) -> tuple[Report, ...]:
    if len(drafts) == 1:  # nearly every message
        settled = [timestamps.settle_one(drafts[0].said, received_at, not_after)]
    else:
        settled = timestamps.settle([draft.said for draft in drafts], received_at, not_after)
    return tuple(
        [
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
        ]
    )


class _NotANumber(Exception):
    """NaN or Infinity."""


def _refuse_constant(name: str) -> float:
    raise _NotANumber(name)


_JSON: Final = json.JSONDecoder(parse_constant=_refuse_constant)
_BARE_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_EXAMPLE: Final = '{"gravity_sg": 1.048, "temperature_c": 19.5}'


def _document(payload: bytes, *, plain_text: bool) -> Any:
    if not payload:
        return Fault("$", "the message is empty", "Send a JSON object such as " + _EXAMPLE)
    try:
        text = payload.decode("utf-8")
    except UnicodeDecodeError as error:
        return Fault("$", f"byte {error.start} is not UTF-8", "Send JSON in UTF-8")
    try:
        return _JSON.decode(text)
    except _NotANumber as error:
        return Fault("$", f"{error} is no number in JSON", "Leave the name out where there is no value")
    except RecursionError:
        return Fault("$", "the JSON is nested too deeply", "Send a flat object")
    except ValueError as error:
        if plain_text:  # a rule may read a bare text
            bare = text.strip()
            return float(bare) if _BARE_NUMBER.fullmatch(bare) else bare
        return Fault("$", f"this is not JSON ({error})", "Send a JSON object such as " + _EXAMPLE)


def _fitting(rules: Sequence[Rule], topic: str, origin: Origin) -> list[tuple[Rule, str]]:
    """The rules for the topic as it came, else for the one it had at its site; each with the device that it names."""
    found = [(rule, device) for rule in rules if (device := rule.device_of(topic)) is not None]
    if found or origin.site is None:
        return found
    return [(rule, device) for rule in rules if (device := rule.device_of(origin.topic)) is not None]


def _faults_of_id(device: str, origin: Origin, sites: Sequence[str]) -> list[Fault]:
    if not is_good_id(device) or (origin.site is not None and not is_good_id(origin.named(device))):
        return [Fault("topic", f"{shown(device)} cannot be a device's id", ID_REMEDY)]
    usurped = sites_.usurped(origin, device, sites)
    return [usurped] if usurped is not None else []


def _nothing_found(document: object) -> Fault:
    what = "nothing"
    if isinstance(document, dict) and document:
        what = f"only {', '.join(shown(key).strip(chr(39)) for key in list(document)[:5])}"
    return Fault("$", f"there is no quantity in it that we know, {what}", f"Known names are {', '.join(NATIVE_NAMES)}")


def _from_objects(device: str, document: object, faults: Faults) -> list[Draft]:
    if isinstance(document, dict):
        return [_from_object(device, document, "$", faults)]
    if isinstance(document, list) and document:
        drafts = []
        for at, item in enumerate(document):
            if isinstance(item, dict):
                drafts.append(_from_object(device, item, f"$[{at}]", faults))
            else:
                problem = f"expected an object, got {shown(item)}"
                faults.malformed.append(Fault(f"$[{at}]", problem, f"Such as {_EXAMPLE}"))
        return drafts
    faults.malformed.append(Fault("$", f"expected an object, got {shown(document)}", f"Such as {_EXAMPLE}"))
    return []


_PLAIN: Final = {
    name: (BY_FIELD[field].low, BY_FIELD[field].high) for name, (field, _unit) in NATIVE_NAMES.items() if name == field
}
"""Names whose unit is the one we keep, with their range: nearly every value that comes."""


def _from_object(device: str, item: Mapping[str, Any], path: str, faults: Faults) -> Draft:
    draft = Draft(device)
    values = draft.values
    for name, value in item.items():
        plain = _PLAIN.get(name)
        if plain is not None and type(value) is float and plain[0] <= value <= plain[1] and name not in values:
            values[name] = value
        elif name in NATIVE_NAMES:
            if value is not None:  # null: the device says that it has none
                _take(draft, name, value, f"{path}.{name}", faults)
        elif name == "measured_at" or name == "measured_at_ms":
            if value is not None:
                unit: TimeUnit | None = "ms" if name == "measured_at_ms" else None
                draft.put_time(timestamps.read(value, f"{path}.{name}", unit, declared=True), faults)
        elif name == "sequence":
            draft.put_sequence(value, f"{path}.sequence", faults)
        else:
            draft.extra[name] = value
    return draft


def _take(draft: Draft, name: str, value: object, path: str, faults: Faults) -> None:
    result = number(value, path, lambda: f'{{"{name}": {_SAMPLES.get(name, "19.5")}}}')
    if isinstance(result, Fault):
        faults.malformed.append(result)
    else:
        field, unit = NATIVE_NAMES[name]
        draft.put(field, result, unit, name, path, faults)


_SAMPLES: Final = {
    "gravity_sg": "1.048",
    "extract_plato": "11.8",
    "density_kg_m3": "1046.1",
    "inclination_deg": "41.2",
    "battery_v": "3.9",
    "battery_mv": "3900",
    "signal_dbm": "-67",
}
