"""A SenML pack into drafts: records of the same device and time make one reading."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any, Final

from ingest.decoding import senml
from ingest.decoding.draft import Draft, Faults
from ingest.decoding.quantities import NATIVE_NAMES, QUANTITIES
from ingest.decoding.timestamps import Said

_UNITS: Final = {
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


def drafts_of(device: str, pack: Sequence[Any], faults: Faults) -> list[Draft]:
    """The readings of a pack that came on a device's topic.

    The topic says which device it is. Only where one pack names several things by their base names, as a gateway
    does, is each base name a device of its own.
    """
    records, wrong = senml.resolve(pack)
    faults.malformed.extend(wrong)
    if wrong:
        return []
    alone = len({record.full_name for record in records}) == 1
    bases = {record.base_name for record in records if record.name}
    drafts: dict[tuple[str, float], Draft] = {}
    for record in records:
        owner = device if len(bases) < 2 or not record.base_name else record.base_name.rstrip("/:") or device
        key = (owner, record.time_s)
        if key not in drafts:
            drafts[key] = Draft(owner, Said(record.time_s, relative=record.relative))
        _take(drafts[key], record, faults, alone=alone)
    return list(drafts.values())


def _take(draft: Draft, record: senml.Resolved, faults: Faults, *, alone: bool) -> None:
    path = f"$[{record.at}].v"
    name = re.split(r"[:/]", record.name or record.full_name)[-1]
    if record.kind != "number" or not isinstance(record.value, float):
        value = record.value.hex() if isinstance(record.value, bytes) else record.value
        draft.extra[record.name or name] = value if record.kind != "none" else record.sum
        return
    if name == "sequence":
        draft.put_sequence(record.value, path, faults)
        return
    value, unit = senml.to_primary(record.value, record.unit or "")
    if name in NATIVE_NAMES and unit == "":
        field, own_unit = NATIVE_NAMES[name]
        draft.put(field, value, own_unit, name, path, faults)
        return
    found = _quantity(name, unit, alone=alone)
    if found is None:
        kept = record.value if record.unit is None else {"v": record.value, "u": record.unit}
        draft.extra[record.name or name] = kept
        return
    field, own_unit, factor = found
    given_as = {"°P": "extract_plato", "kg/m3": "density_kg_m3"}.get(own_unit, field)
    draft.put(field, value * factor, own_unit, given_as, path, faults)


def _quantity(name: str, unit: str, *, alone: bool) -> tuple[str, str, float] | None:
    """The field, our unit and a factor for a record of this name and primary unit."""
    own = _UNITS.get(unit)
    if own is None:
        return None
    if name == "extract" and own == "ratio":
        return "gravity_sg", "°P", 100.0
    if name in ("gravity", "sg") and own in ("ratio", ""):
        return "gravity_sg", "SG", 1.0
    for quantity in QUANTITIES:
        if name in quantity.names and own in quantity.units:
            return quantity.field, own, 1.0
    if alone and own in ("°C", "K"):  # the name is the sensor's, and it tells nothing but a temperature
        return "temperature_c", own, 1.0
    return None
