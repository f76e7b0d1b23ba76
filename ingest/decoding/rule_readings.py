"""A message into drafts by the rules that fit its topic."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ingest.decoding import timestamps
from ingest.decoding.draft import Draft, Faults, number
from ingest.decoding.rules import Rule, Take
from ingest.errors import Fault


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
