"""What the sheet still has to be told: each input by its key, with the answers that cannot be given without it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from analysis.packaging.fields import FIELDS
from analysis.packaging.findings import Weighed, caution
from analysis.packaging.gap_findings import Answer, InputMissing
from analysis.packaging.inputs import Package, SheetInputs

Asked = Callable[[SheetInputs, Package | None], bool]
"""Whether an answer is asked for: of these inputs, for the package that is judged."""


@dataclass(frozen=True, slots=True)
class Need:
    """An answer, when it is asked for, and the inputs that it cannot do without."""

    answer: Answer
    asked: Asked
    keys: tuple[str, ...]


def _of(package: Package) -> Asked:
    return lambda _, judged: judged == package


def _primed(inputs: SheetInputs, judged: Package | None) -> bool:
    """Bottles with a wish for gas, and kegs for which a sugar is chosen."""
    if judged == "keg":
        return inputs.priming_sugar is not None
    return judged == "bottle" and (inputs.carbonation_volumes or 0.0) > 0


def _has(*keys: str) -> Asked:
    return lambda inputs, _: any(getattr(inputs, key) is not None for key in keys)


def _packaged(_: SheetInputs, judged: Package | None) -> bool:
    return judged is not None


def _always(_: SheetInputs, __: Package | None) -> bool:
    return True


_NEEDS: Final = (
    Need("verdict", _always, ("package",)),
    Need("verdict", _packaged, ("drink", "finished", "hold_met", "hand_sample", "final_gravity_sg")),
    Need("alcohol", _packaged, ("original_gravity_sg", "final_gravity_sg")),
    Need("verdict", _of("bottle"), ("bottle_rating_kpa",)),
    Need("verdict", _of("keg"), ("keg_rating_kpa",)),
    Need("residual gas", _of("bottle"), ("warmest_c",)),
    Need("priming sugar", _primed, ("volume_l", "warmest_c", "carbonation_volumes")),
    Need("pressure to set", _of("keg"), ("carbonation_volumes", "serving_c")),
    Need("sulfite", _has("sulfite_ppm"), ("volume_l",)),
    Need("molecular SO2", _has("sulfite_ppm"), ("ph",)),
    Need("sorbate", _has("sorbate_ppm"), ("volume_l",)),
    Need("hops", _has("hops_g_per_l"), ("volume_l",)),
    Need("sweetener", _has("sweeten_to_sg"), ("volume_l", "final_gravity_sg", "sweetener")),
    Need("acid", _has("acid_g_per_l"), ("volume_l",)),
)

_JUDGED_ELSEWHERE: Final[dict[Package, frozenset[str]]] = {
    "bottle": frozenset({"finished", "hold_met", "hand_sample", "final_gravity_sg", "bottle_rating_kpa", "warmest_c"}),
    "keg": frozenset(
        {
            "finished",
            "hold_met",
            "hand_sample",
            "final_gravity_sg",
            "keg_rating_kpa",
            "serving_c",
            "carbonation_volumes",
        }
    ),
}
"""Inputs whose absence the judgement of the package says itself."""


def missing(inputs: SheetInputs, judged: Package | None) -> tuple[InputMissing, ...]:
    """Each input that is not given although an answer asks for it, in the order of the form."""
    wanted: dict[str, list[Answer]] = {}
    for need in _NEEDS:
        if not need.asked(inputs, judged):
            continue
        for key in need.keys:
            if getattr(inputs, key) is None and need.answer not in wanted.setdefault(key, []):
                wanted[key].append(need.answer)
    return tuple(InputMissing(f.key, tuple(wanted[f.key])) for f in FIELDS if wanted.get(f.key))


def missing_findings(inputs: SheetInputs, judged: Package | None) -> Iterator[Weighed]:
    """Those that hold the package back and that its own judgement does not name."""
    if judged is not None:
        named = _JUDGED_ELSEWHERE[judged]
        yield from (caution(each) for each in missing(inputs, judged) if each.key not in named)


def assumed(inputs: SheetInputs, judged: Package | None) -> dict[str, object]:
    """What is counted by its key because nothing else was entered, as far as the package asks for it."""
    return {
        field.key: field.default if field.counted is None else field.counted
        for field in FIELDS
        if (field.default is not None or field.counted is not None)
        and getattr(inputs, field.key) is None
        and _COUNTS.get(field.key, _packaged)(inputs, judged)
    }


_COUNTS: Final[dict[str, Asked]] = {
    "priming_sugar": _primed,
    "purged": _of("bottle"),
    "heat_treat": _of("bottle"),
    "sulfite_basis": _has("sulfite_ppm"),
    "sulfite_present_ppm": _has("sulfite_ppm"),
    "scale_resolution_g": _has("hops_g_per_l", "hops_total_g"),
}
"""When what is assumed counts for anything; of the others whenever there is a package."""
