"""Sensor Measurement Lists: RFC 8428's JSON representation, resolved, with the units of RFC 8428 and RFC 8798.

A pack is a list of records. Base values carry over from record to record until replaced; resolving adds them in, so
that each record stands alone with its full name, unit, time and value.
"""

from __future__ import annotations

import base64
import binascii
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from ingest.errors import Fault

RELATIVE_BELOW_S: Final = float(2**28)
"""A resolved time below this is relative to now, from here on it is Unix time (RFC 8428, section 4.5.3)."""

NEWEST_VERSION: Final = 10

Kind = Literal["number", "text", "flag", "data", "none"]

# RFC 8798, section 3: secondary unit -> (primary unit, scale, offset); primary = secondary × scale + offset.
SECONDARY_UNITS: Final[Mapping[str, tuple[str, float, float]]] = {
    "ms": ("s", 1 / 1000, 0),
    "min": ("s", 60, 0),
    "h": ("s", 3600, 0),
    "MHz": ("Hz", 1_000_000, 0),
    "kW": ("W", 1000, 0),
    "kVA": ("VA", 1000, 0),
    "kvar": ("var", 1000, 0),
    "Ah": ("C", 3600, 0),
    "Wh": ("J", 3600, 0),
    "kWh": ("J", 3_600_000, 0),
    "varh": ("vars", 3600, 0),
    "kvarh": ("vars", 3_600_000, 0),
    "kVAh": ("VAs", 3_600_000, 0),
    "Wh/km": ("J/m", 3.6, 0),
    "KiB": ("B", 1024, 0),
    "GB": ("B", 1e9, 0),
    "Mbit/s": ("bit/s", 1_000_000, 0),
    "B/s": ("bit/s", 8, 0),
    "MB/s": ("bit/s", 8_000_000, 0),
    "mV": ("V", 1 / 1000, 0),
    "mA": ("A", 1 / 1000, 0),
    "dBm": ("dBW", 1, -30),
    "ug/m3": ("kg/m3", 1e-9, 0),
    "mm/h": ("m/s", 1 / 3_600_000, 0),
    "m/h": ("m/s", 1 / 3600, 0),
    "ppm": ("/", 1e-6, 0),
    "/100": ("/", 1 / 100, 0),
    "/1000": ("/", 1 / 1000, 0),
    "hPa": ("Pa", 100, 0),
    "mm": ("m", 1 / 1000, 0),
    "cm": ("m", 1 / 100, 0),
    "km": ("m", 1000, 0),
    "km/h": ("m/s", 1 / 3.6, 0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Resolved:
    """One record with its base values added in. `time_s` is Unix time, or relative to now where `relative`."""

    at: int
    base_name: str
    name: str
    unit: str | None
    kind: Kind
    value: float | str | bool | bytes | None
    time_s: float
    relative: bool
    sum: float | None = None

    @property
    def full_name(self) -> str:
        """The resolved name."""
        return self.base_name + self.name


def to_primary(value: float, unit: str) -> tuple[float, str]:
    """The value in the primary unit of the registry, and that unit; an unregistered unit stays as it is."""
    if unit in SECONDARY_UNITS:
        primary, scale, offset = SECONDARY_UNITS[unit]
        return value * scale + offset, primary
    return value, unit


def is_pack(value: object) -> bool:
    """Whether a JSON value looks like a SenML pack: a list whose first record carries one of SenML's labels."""
    return isinstance(value, list) and bool(value) and isinstance(value[0], dict) and not _LABELS.isdisjoint(value[0])


_LABELS: Final = frozenset({"bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"})
_BASE_TEXTS: Final = ("bn", "bu")
_TEXTS: Final = ("n", "u", "vs", "vd")
_NUMBERS: Final = ("bt", "bv", "bs", "v", "s", "t", "ut")
_VALUES: Final = ("v", "vs", "vb", "vd")


class _Base:
    """The base values in force."""

    def __init__(self) -> None:
        self.name = ""
        self.time = 0.0
        self.unit: str | None = None
        self.value = 0.0
        self.has_value = False
        self.sum = 0.0
        self.has_sum = False


def resolve(pack: Sequence[Any]) -> tuple[list[Resolved], list[Fault]]:
    """Resolve a pack; return its records in the order they stand, and what is wrong with it.

    A pack with a fault is to be rejected whole: a record's base values reach the records behind it.
    """
    records: list[Resolved] = []
    faults: list[Fault] = []
    base = _Base()
    for at, item in enumerate(pack):
        if not isinstance(item, dict):
            faults.append(
                Fault(f"$[{at}]", "a SenML record must be an object", 'Such as {"n": "temperature", "v": 19}')
            )
            continue
        wrong = _wrong(item, f"$[{at}]")
        faults.extend(wrong)
        if not wrong:
            _carry_over(base, item)
            if (record := _record(item, base, at, faults)) is not None:
                records.append(record)
    return records, faults


def _wrong(item: dict[str, Any], path: str) -> list[Fault]:
    faults = []
    for key in item:
        if key.endswith("_"):
            faults.append(
                Fault(
                    f"{path}.{key}",
                    "this field must be understood (its name ends in _) and is not",
                    "RFC 8428 asks to reject such a pack; leave the field out",
                )
            )
    for key in (*_BASE_TEXTS, *_TEXTS):
        if key in item and not isinstance(item[key], str):
            faults.append(Fault(f"{path}.{key}", f"expected a text, got {_shown(item[key])}", "Put it in quotes"))
    for key in _NUMBERS:
        if key in item and not _is_number(item[key]):
            faults.append(Fault(f"{path}.{key}", f"expected a number, got {_shown(item[key])}", "Send it unquoted"))
    if "vb" in item and not isinstance(item["vb"], bool):
        faults.append(Fault(f"{path}.vb", f"expected true or false, got {_shown(item['vb'])}", "Send it unquoted"))
    version = item.get("bver", NEWEST_VERSION)
    if isinstance(version, bool) or not isinstance(version, int) or not 1 <= version <= NEWEST_VERSION:
        faults.append(
            Fault(
                f"{path}.bver",
                f"version {_shown(version)} is not known here",
                f"Send version {NEWEST_VERSION}, or leave bver out",
            )
        )
    if sum(key in item for key in _VALUES) > 1:
        faults.append(Fault(path, "a record has one value at most", "Send v, vs, vb or vd, each in its own record"))
    return faults


def _carry_over(base: _Base, item: dict[str, Any]) -> None:
    base.name = item.get("bn", base.name)
    base.time = float(item.get("bt", base.time))
    base.unit = item.get("bu", base.unit)
    if "bv" in item:
        base.value, base.has_value = float(item["bv"]), True
    if "bs" in item:
        base.sum, base.has_sum = float(item["bs"]), True


def _record(item: dict[str, Any], base: _Base, at: int, faults: list[Fault]) -> Resolved | None:
    kind: Kind
    value: float | str | bool | bytes | None
    if "v" in item or (base.has_value and not any(k in item for k in (*_VALUES, "s")) and ("n" in item or "t" in item)):
        kind, value = "number", base.value + float(item.get("v", 0.0))
    elif "vs" in item:
        kind, value = "text", item["vs"]
    elif "vb" in item:
        kind, value = "flag", item["vb"]
    elif "vd" in item:
        try:
            kind, value = "data", _base64url(item["vd"])
        except ValueError:
            faults.append(
                Fault(f"$[{at}].vd", "this is not base64url without padding", "Encode it as RFC 4648, section 5")
            )
            return None
    elif "s" in item:
        kind, value = "none", None
    else:
        return None  # base fields only
    if not (base.name + item.get("n", "")):
        faults.append(Fault(f"$[{at}]", "the record has no name", 'Give a name, n or bn, such as "n": "temperature"'))
        return None
    time_s = base.time + float(item.get("t", 0.0))
    if not math.isfinite(time_s) or (isinstance(value, float) and not math.isfinite(value)):
        faults.append(Fault(f"$[{at}]", "a sum of base and record is no finite number", "Send smaller numbers"))
        return None
    return Resolved(
        at=at,
        base_name=base.name,
        name=item.get("n", ""),
        unit=item.get("u", base.unit),
        kind=kind,
        value=value,
        time_s=time_s,
        relative=time_s < RELATIVE_BELOW_S,
        sum=base.sum + float(item.get("s", 0.0)) if "s" in item or base.has_sum else None,
    )


def _base64url(text: str) -> bytes:
    try:
        return base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
    except (binascii.Error, ValueError):
        raise ValueError from None


def _is_number(value: object) -> bool:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    try:
        return math.isfinite(float(value))
    except OverflowError:
        return False


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "…"
