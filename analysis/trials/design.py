"""What differs between the arms of a trial, what was held equal, and what nobody wrote down.

One thing should differ. Where more than one does, no comparison of the arms can tell which of them did it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal, TypeAlias

from analysis.display_units import Quantity
from analysis.thresholds import (
    ARMS_APART_C,
    ARMS_APART_DAYS,
    ARMS_APART_ORIGINAL_SG,
    ARMS_APART_SHARE,
    PITCHED_TOGETHER_DAYS,
)

Value: TypeAlias = str | float | None
"""What is known of a batch in one respect; None where it was not written down."""

Factor = Literal[
    "yeast",
    "drink",
    "wort",
    "original gravity",
    "volume",
    "pitching day",
    "temperature",
    "hop variety",
    "hop form",
    "hop dose",
    "hop day",
    "hop contact",
    "additions",
    "nutrient",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmBatch:
    """One batch of an arm, as its entries and readings have it.

    `temperature_c` is the mean while it fell, `hop_g_per_l` all dry hops together, `hop_day` days from pitching to the
    first of them, `contact_days` how long they stayed or are meant to. `additions` and `nutrient` are what was given,
    in words that are the same for the same. Texts are "none" where there was nothing, None where it is not known.
    """

    arm: str
    pitched_at: datetime
    drink: str
    wort: str
    yeast: str | None = None
    original_gravity_sg: float | None = None
    volume_l: float | None = None
    temperature_c: float | None = None
    hop_variety: str | None = "none"
    hop_form: str | None = "none"
    hop_g_per_l: float | None = 0.0
    hop_day: float | None = None
    contact_days: float | None = None
    additions: str | None = "none"
    nutrient: str | None = "none"

    @property
    def hopped(self) -> bool:
        """Whether it had dry hops."""
        return self.hop_variety != "none"


@dataclass(frozen=True, slots=True)
class Compared:
    """One respect in which the arms were compared: what each arm has, in the order of the arms."""

    factor: Factor
    quantity: Quantity | Literal["days"]
    values: tuple[tuple[str, tuple[Value, ...]], ...]


@dataclass(frozen=True, slots=True)
class Design:
    """What differs, what is equal, and what is not known of every batch.

    `stated_differs` and `stated_equal` are what a person said besides. `vessels` is how many vessels each arm has.
    """

    differs: tuple[Compared, ...]
    equal: tuple[Compared, ...]
    unknown: tuple[Factor, ...]
    vessels: tuple[tuple[str, int], ...]
    stated_differs: tuple[str, ...] = ()
    stated_equal: tuple[str, ...] = ()

    @property
    def differing(self) -> tuple[str, ...]:
        """Everything in which the arms differ, by name; what a person said and the entries show stands once."""
        shown: list[str] = [each.factor for each in self.differs]
        return (*shown, *(s for s in self.stated_differs if s.casefold() not in shown))

    @property
    def tells_which(self) -> bool:
        """Whether one thing alone differs, so that a difference can be laid to it."""
        return len(self.differing) == 1

    @property
    def single(self) -> bool:
        """Whether some arm is one vessel alone: what differs may then be the vessel."""
        return any(n < 2 for _, n in self.vessels)


_TOGETHER: Final[dict[Factor, frozenset[Factor]]] = {
    "hop variety": frozenset({"hop form", "hop dose", "hop day", "hop contact"}),
}
"""What comes with a thing that differs and is no second one: unhopped beside hopped also differs in dose."""


def design_of(
    batches: Sequence[ArmBatch], *, stated_differs: Sequence[str] = (), stated_equal: Sequence[str] = ()
) -> Design:
    """Compare the arms in every respect that is written down.

    Parameters
    ----------
    batches
        At least one of each arm; arms come in the order in which they first appear.
    stated_differs, stated_equal
        What the entries cannot show, in a person's words.
    """
    arms = list(dict.fromkeys(b.arm for b in batches))
    first = min((_since_epoch_days(b) for b in batches), default=0.0)
    differs: list[Compared] = []
    equal: list[Compared] = []
    unknown: list[Factor] = []
    for factor, quantity, value, apart in _RESPECTS:
        values = tuple((arm, tuple(value(b) for b in batches if b.arm == arm)) for arm in arms)
        if factor == "pitching day":
            values = tuple((arm, tuple(_since(first, v) for v in each)) for arm, each in values)
        known = [v for _, each in values for v in each if v is not None]
        found = Compared(factor, quantity, values)
        if len(known) < len(batches):
            if known or factor in _ASKED:
                unknown.append(factor)
            if not _apart(values, apart):
                continue
        (differs if _apart(values, apart) else equal).append(found)
    bare = any(not b.hopped for b in batches) and any(b.hopped for b in batches)
    if bare:
        dropped = _TOGETHER["hop variety"]
        differs = [each for each in differs if each.factor not in dropped]
        unknown = [factor for factor in unknown if factor not in dropped]
    if not any(b.hopped for b in batches):
        equal = [each for each in equal if each.factor not in _TOGETHER["hop variety"]]
    vessels = tuple((arm, sum(b.arm == arm for b in batches)) for arm in arms)
    return Design(tuple(differs), tuple(equal), tuple(unknown), vessels, tuple(stated_differs), tuple(stated_equal))


def _apart(values: Sequence[tuple[str, tuple[Value, ...]]], apart: Callable[[float, float], bool] | None) -> bool:
    """Whether any two arms differ: words as sets, so that replicates in both worts are balanced; numbers by means."""
    if apart is None:
        sets = [frozenset(str(v).casefold() for v in each if v is not None) for _, each in values]
        told = [each for each in sets if each]
        return any(each != told[0] for each in told)
    means = []
    for _, each in values:
        numbers = [float(v) for v in each if isinstance(v, int | float)]
        if numbers:
            means.append(sum(numbers) / len(numbers))
    return any(apart(one, other) for n, one in enumerate(means) for other in means[n + 1 :])


def _by(limit: float) -> Callable[[float, float], bool]:
    return lambda one, other: abs(one - other) > limit


def _by_share(limit: float) -> Callable[[float, float], bool]:
    return lambda one, other: abs(one - other) > limit * max(abs(one), abs(other))


def _since(first: float, day: Value) -> Value:
    return day - first if isinstance(day, int | float) else day


def _since_epoch_days(batch: ArmBatch) -> float:
    return batch.pitched_at.timestamp() / 86_400.0


_ASKED: Final = frozenset({"yeast", "temperature", "original gravity"})
"""What should be known of every trial: that nobody wrote it down is told."""

_RESPECTS: Final[
    tuple[
        tuple[Factor, Quantity | Literal["days"], Callable[[ArmBatch], Value], Callable[[float, float], bool] | None],
        ...,
    ]
] = (
    ("yeast", "", lambda b: b.yeast, None),
    ("drink", "", lambda b: b.drink, None),
    ("wort", "", lambda b: b.wort, None),
    ("original gravity", "gravity", lambda b: b.original_gravity_sg, _by(ARMS_APART_ORIGINAL_SG)),
    ("volume", "volume", lambda b: b.volume_l, _by_share(ARMS_APART_SHARE)),
    ("pitching day", "days", _since_epoch_days, _by(PITCHED_TOGETHER_DAYS)),
    ("temperature", "temperature", lambda b: b.temperature_c, _by(ARMS_APART_C)),
    ("hop variety", "", lambda b: b.hop_variety, None),
    ("hop form", "", lambda b: b.hop_form, None),
    ("hop dose", "concentration", lambda b: b.hop_g_per_l, _by_share(0.5 * ARMS_APART_SHARE)),
    ("hop day", "days", lambda b: b.hop_day, _by(ARMS_APART_DAYS)),
    ("hop contact", "days", lambda b: b.contact_days, _by(ARMS_APART_DAYS)),
    ("additions", "", lambda b: b.additions, None),
    ("nutrient", "", lambda b: b.nutrient, None),
)


@dataclass(frozen=True, slots=True)
class TastingResult:
    """What a tasting of the arms came to, for the page and the report of its trial.

    `facts` and `agreement` are what JSON says under `tasting` and `agreement`; `sentence` is its result in words.
    `best` has for each arm the chance that it is liked best.
    """

    sentence: str
    facts: Mapping[str, object]
    agreement: Mapping[str, object]
    best: tuple[tuple[str, float], ...] = ()
