"""What the milestones of a batch are: their names, units, definitions and sources, and how one is told."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final, Literal, cast, get_args

from analysis.model import Range

MilestoneName = Literal[
    "lag_h",
    "greatest_rate_plato_day",
    "greatest_rate_per_original_day",
    "half_h",
    "ninety_h",
    "finish_h",
    "terminal_gravity_sg",
    "apparent_attenuation",
    "real_attenuation",
    "alcohol_abv_pct",
    "temperature_c",
    "hop_creep_sg",
]
MILESTONE_NAMES: Final[tuple[MilestoneName, ...]] = get_args(MilestoneName)


@dataclass(frozen=True, slots=True)
class Milestone:
    """What a milestone is: its name and unit in files, and its definition with its source."""

    name: MilestoneName
    unit: str
    title: str
    definition: str


MILESTONES: Final[tuple[Milestone, ...]] = (
    Milestone(
        "lag_h",
        "h",
        "Lag",
        "From pitching to where the tangent at the greatest rate meets the original extract. None where that lies "
        "before pitching. Zwietering et al., Appl. Environ. Microbiol. 56 (1990) 1875 (from memory).",
    ),
    Milestone(
        "greatest_rate_plato_day",
        "°P/day",
        "Greatest rate",
        "Steepest fall of apparent extract by fermentation, over an hour. Definition.",
    ),
    Milestone(
        "greatest_rate_per_original_day",
        "1/day",
        "Greatest rate by °P of original extract",
        "The greatest rate divided by the original extract, so that strong and weak worts compare. Definition.",
    ),
    Milestone("half_h", "h", "Half of the fall", "From pitching to half of what fermented in the end. Definition."),
    Milestone("ninety_h", "h", "90 % of the fall", "From pitching to 90 % of what fermented in the end. Definition."),
    Milestone(
        "finish_h",
        "h",
        "Finish",
        "From pitching to the first moment after which less than 0.001 SG is left to fall, for good. Definition.",
    ),
    Milestone("terminal_gravity_sg", "SG", "Terminal gravity", "Gravity at the end of the fall. Definition."),
    Milestone(
        "apparent_attenuation",
        "fraction",
        "Apparent attenuation",
        "1 less apparent over original extract, both in °P. De Clerck, A Textbook of Brewing, 1957 (from memory).",
    ),
    Milestone(
        "real_attenuation",
        "fraction",
        "Real attenuation",
        "1 less real over original extract; real extract by Balling from original and apparent extract.",
    ),
    Milestone("alcohol_abv_pct", "% vol", "Alcohol", "By Balling from original and terminal extract, at 20 °C."),
    Milestone(
        "temperature_c",
        "°C",
        "Temperature while it fell",
        "Mean of the temperatures up to now, each weighted by how fast the extract fell then; told once a tenth of the "
        "fall lies behind. Definition.",
    ),
    Milestone(
        "hop_creep_sg",
        "SG",
        "Hop creep",
        "Fall since the first dry hop beyond what the fermentation itself still had to do. Definition.",
    ),
)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A milestone as the posterior has it: median, 10th and 90th percentile, standard error.

    `standard_error` is half the span of the middle 68.3 %: the standard deviation of a normal posterior, and untouched
    by a few far draws of another.
    """

    value: float
    standard_error: float
    p10: float
    p90: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Milestones:
    """The milestones of one batch; None where it is not reached, or cannot be told.

    Hours run from pitching, attenuation is a fraction, `hop_creep_sg` a fall in SG.
    """

    lag_h: Estimate | None = None
    greatest_rate_plato_day: Estimate | None = None
    greatest_rate_per_original_day: Estimate | None = None
    half_h: Estimate | None = None
    ninety_h: Estimate | None = None
    finish_h: Estimate | None = None
    terminal_gravity_sg: Estimate | None = None
    apparent_attenuation: Estimate | None = None
    real_attenuation: Estimate | None = None
    alcohol_abv_pct: Estimate | None = None
    temperature_c: Estimate | None = None
    hop_creep_sg: Estimate | None = None

    def get(self, name: MilestoneName) -> Estimate | None:
        """The milestone of this name."""
        return cast("Estimate | None", getattr(self, name))

    @property
    def told(self) -> tuple[MilestoneName, ...]:
        """The names of those that are told."""
        return tuple(name for name in MILESTONE_NAMES if self.get(name) is not None)


Verdict = Literal["differ", "alike", "open"]
"""Two groups differ by more than the margin, are alike within it, or it cannot be told yet; each at nine in ten."""


@dataclass(frozen=True, slots=True)
class GroupMean:
    """What a group usually does under the mean conditions of the batches compared, in the milestone's unit."""

    name: str
    batches: int
    value: Range


@dataclass(frozen=True, slots=True)
class Difference:
    """`first` less `second`, the chance that it is below zero, and the chance that it exceeds `margin` either way.

    `more_batches` is about how many more each of the two would need until it could be told, in pairs of one wort; None
    where it can be told, or more than `MOST_MORE_BATCHES` would not do.
    """

    first: str
    second: str
    amount: Range
    p_below: float
    p_exceeds: float
    verdict: Verdict
    margin: float
    more_batches: int | None = None


@dataclass(frozen=True, slots=True)
class GroupComparison:
    """Groups side by side in one milestone.

    `best` has for each group the chance that its mean is the least and the greatest of all. `vessel_spread` is the
    standard deviation from vessel to vessel, `replicates` how many vessels beyond the first of each group and wort it
    was seen on: without any it is what is usual, not what was seen.
    """

    quantity: MilestoneName
    means: tuple[GroupMean, ...]
    differences: tuple[Difference, ...]
    best: tuple[tuple[str, float, float], ...]
    replicates: int
    vessel_spread: Range | None = None


@dataclass(frozen=True, slots=True)
class ScoreComparison:
    """What drinks were made with, side by side in tasters' points of 100.

    `means` are points above or below the mean of the groups compared, `batches` of each how many drinks. `best` is as
    that of `GroupComparison`.
    """

    means: tuple[GroupMean, ...]
    differences: tuple[Difference, ...]
    best: tuple[tuple[str, float, float], ...]


def milestone_rows(milestones: Milestones) -> list[dict[str, float | str | None]]:
    """One row a milestone that is told: `milestone`, `unit`, `value`, `standard_error`, `p10`, `p90`."""
    rows: list[dict[str, float | str | None]] = []
    for one in MILESTONES:
        estimate = milestones.get(one.name)
        if estimate is not None:
            told = {f.name: getattr(estimate, f.name) for f in fields(Estimate)}
            rows.append({"milestone": one.name, "unit": one.unit, **told})
    return rows
