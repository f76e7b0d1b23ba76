"""A gravity read by hand, as a specific gravity at 20/20 °C."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from analysis.additions import original_with
from analysis.calibration import REFRACTOMETER_SD_SG, refractometer_sg
from analysis.model import Drink
from analysis.units import brix_to_sg, plato_to_sg, reference_temperatures, sg_from_density, temperature_corrected_sg
from ingest.errors import EntryError, out_of_range
from ingest.model import BatchRecord, EventRecord, HandSample

HYDROMETER_UNITS: Final = ("SG", "°P", "°Bx", "kg/m³")
"""What a hydrometer's scale can show."""

REFRACTOMETER_UNITS: Final = ("°Bx",)
"""What a refractometer's scale can show; it is no density once there is alcohol."""

HYDROMETER_SD_SG: Final = 0.0007
"""Standard error of a careful hydrometer reading (common practice: a third of a division to one division)."""

WORT_FACTOR: Final[dict[Drink, float]] = {"ale": 1.04, "lager": 1.04}
"""What a refractometer reads in wort over its extract (common practice, no source); 1 in juice and honey must."""


@dataclass(frozen=True, slots=True)
class SampledGravity:
    """What a sample says: gravity 20/20 °C with its standard error, or None and the reason in `doubt`.

    `doubt` may also stand beside a gravity that is not to be relied on.
    """

    gravity_sg: float | None
    standard_error_sg: float
    doubt: str = ""


def sampled_gravity(
    sample: HandSample, drink: Drink, original_gravity_sg: float | None, unknown: str = ""
) -> SampledGravity:
    """The gravity that a hand sample says, corrected for temperature or for alcohol.

    `unknown` says why no original gravity is known, where it is not for want of the batch's own.
    """
    if sample.instrument == "refractometer":
        if original_gravity_sg is None and unknown:
            return SampledGravity(None, REFRACTOMETER_SD_SG, unknown)
        return _by_refractometer(sample, drink, original_gravity_sg)
    gravity = _scale_to_sg(sample.value, sample.unit)
    if sample.temperature_c is not None:
        gravity = float(temperature_corrected_sg(gravity, sample.temperature_c, reference=sample.reference))
    else:
        # Without a temperature it is taken at the scale's own; what remains is the water that the scale compares with.
        liquid_c, _ = reference_temperatures(sample.reference)
        gravity = float(temperature_corrected_sg(gravity, liquid_c, reference=sample.reference))
    doubt = "" if sample.degassed else "Not degassed: bubbles lift the hydrometer, so the gravity may be too high."
    return SampledGravity(gravity, HYDROMETER_SD_SG, doubt)


def samples_said(
    samples: Sequence[HandSample], record: BatchRecord, events: Sequence[EventRecord]
) -> dict[str, SampledGravity]:
    """What each sample says, by its id; a refractometer goes by all extract that was in the batch by then."""
    return {one.sample_id: sampled_gravity(one, record.drink, *_original_at(one, record, events)) for one in samples}


def _original_at(sample: HandSample, record: BatchRecord, events: Sequence[EventRecord]) -> tuple[float | None, str]:
    """The original gravity that counts at a sample, and what stands against it."""
    pitched = record.original_gravity_sg
    added = [one.addition for one in sorted(events, key=lambda e: e.at) if _moves_extract(one) and one.at <= sample.at]
    if pitched is None or not added or sample.instrument != "refractometer":
        return pitched, ""
    whole = original_with(pitched, record.volume_l, added, record.drink)
    if whole is None:
        return None, (
            "What was added before it is not known in full, so a refractometer cannot be corrected for alcohol: say on "
            "the batch's page what was added and how much, and the batch's volume; or use a hydrometer."
        )
    return whole, ""


def _moves_extract(event: EventRecord) -> bool:
    return event.kind in ("feed", "dilute")


def _by_refractometer(sample: HandSample, drink: Drink, original_gravity_sg: float | None) -> SampledGravity:
    if original_gravity_sg is None:
        return SampledGravity(
            None,
            REFRACTOMETER_SD_SG,
            "A refractometer under alcohol needs the original gravity: enter it with the batch.",
        )
    try:
        gravity = refractometer_sg(sample.value, original_gravity_sg, wort_factor=WORT_FACTOR.get(drink, 1.0))
    except ValueError as error:
        return SampledGravity(None, REFRACTOMETER_SD_SG, f"The refractometer reading does not fit: {error}.")
    return SampledGravity(gravity, REFRACTOMETER_SD_SG)


def _scale_to_sg(value: float, unit: str) -> float:
    match unit:
        case "SG":
            return value
        case "°P":
            return float(plato_to_sg(value))
        case "°Bx":
            return float(brix_to_sg(value))
        case _:
            return float(sg_from_density(value))


def check_sample(sample: HandSample) -> None:
    """Refuse a sample that nobody can have read.

    Raises
    ------
    EntryError
        With the field that it belongs beside.
    """
    units = HYDROMETER_UNITS if sample.instrument == "hydrometer" else REFRACTOMETER_UNITS
    if sample.unit not in units:
        raise EntryError("unit", f"a {sample.instrument} reads in {', '.join(units)}, not in {sample.unit!r}")
    low, high, usual = _REFRACTOMETER_RANGE if sample.instrument == "refractometer" else _RANGES[sample.unit]
    if not low <= sample.value <= high:
        raise EntryError("value", f"{sample.value:g} {sample.unit} is out of range", usual)
    if sample.temperature_c is not None and not 0 <= sample.temperature_c <= 60:
        raise out_of_range("temperature_c", sample.temperature_c, "temperature", (0, 60), "Read a hydrometer at {}.")
    try:
        reference_temperatures(sample.reference)
    except ValueError as error:
        raise EntryError("reference", str(error)) from None


_RANGES: Final = {
    "SG": (0.97, 1.2, "The usual range is 0.990 to 1.160."),
    "°P": (-8.0, 45.0, "The usual range is −2 to 36 °P."),
    "°Bx": (-8.0, 45.0, "The usual range is −2 to 36 °Bx."),
    "kg/m³": (968.0, 1200.0, "The usual range is 988 to 1160 kg/m³."),
}
_REFRACTOMETER_RANGE: Final = (-1.0, 50.0, "The usual range is 0 to 36 °Bx.")
