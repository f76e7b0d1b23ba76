"""The trade's attenuation curve in words: its parameters with their standard errors, or why there is none."""

from __future__ import annotations

from analysis.errors import ConvergenceError
from analysis.fitting import Fit, attenuation_curve
from analysis.model import Assessment, Batch
from analysis.wording.formatting import Voice


def classical_fit(assessment: Assessment, batch: Batch) -> Fit | str:
    """The curve through the readings that count, or the sentence that says why it is refused."""
    try:
        return attenuation_curve(assessment.marked, batch.pitched_at)
    except ConvergenceError as error:
        return str(error)


def classical_sentences(found: Fit | str, voice: Voice) -> tuple[str, ...]:
    """What the curve found, in the person's unit of gravity."""
    if isinstance(found, str):
        return (found,)
    told = found.named()
    rate, rate_error = told["rate"]
    middle, middle_error = told["middle"]
    return (
        f"It comes down from {_gravity(*told['start'], voice)} and ends at {_gravity(*told['end'], voice)}.",
        f"It falls fastest {middle:.1f} ± {middle_error:.1f} hours after pitching; its rate is "
        f"{rate:.4f} ± {rate_error:.4f} per hour.",
        f"It rests on {found.readings} readings. What stands behind ± is one standard error; it takes the readings as "
        "independent of one another, which those of one instrument are not, so it is too small.",
        "The curve is symmetric and has no slow tail, so it ends too early. Nothing here is decided by it.",
    )


def _gravity(gravity_sg: float, error_sg: float, voice: Voice) -> str:
    if voice.units.gravity_unit == "SG":
        return f"{gravity_sg:.4f} ± {error_sg:.4f}"
    extract = voice.units.shown(gravity_sg, "gravity")
    error = voice.units.fall_amount(error_sg, gravity_sg)
    return f"{extract:.2f} ± {abs(error):.2f} {voice.units.gravity_unit}"


def classical_facts(found: Fit | str) -> dict[str, object]:
    """The same for a program."""
    if isinstance(found, str):
        return {"refused": found}
    names = {"end": "end_sg", "start": "start_sg", "rate": "rate_per_h", "middle": "middle_h"}
    facts: dict[str, object] = {
        names[name]: {"estimate": estimate, "standard_error": error}
        for name, (estimate, error) in found.named().items()
    }
    return {**facts, "residual_sum_sg2": found.residual_sum, "readings": found.readings}
