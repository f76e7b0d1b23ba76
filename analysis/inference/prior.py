"""What is expected of a batch before its own readings: from its drink, its yeast, and the batches before it.

The features of a course are jointly normal on their scales, with three levels: what any such drink does (wide, from
common practice), what this cellar's batches of the drink did, and what those with the same yeast did. Of each
earlier batch we keep what its readings alone say, as a normal likelihood (a precision matrix and a vector). From
these, expectation and maximisation give the mean and covariance of a group; a group with few members leans on the
wider one.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from typing import Final, Literal

import numpy as np

from analysis.drinks import DRINK_FACTS
from analysis.fermentation import OF_THE_COURSE, PARAMETERS
from analysis.inference.importance_sampling import normals
from analysis.inference.population import STAGES, BatchLikelihood, Correction, Expected, Extent, pooled
from analysis.inference.shipped_prior import SHIPPED, Shipped
from analysis.inference.tail_duration import CENTRE_SD, CellarEndings, Kind, TailDuration, tail_durations
from analysis.inference.temperature_schedule import TemperatureSchedule
from analysis.model import DRINKS, Batch, Drink, Floats, events_of

FEATURES: Final = (*OF_THE_COURSE, "log_wander", "attenuation")
"""What is learnt: the parameters of a course but for the temperature law, the wandering of the float, and apparent
attenuation, which comes last because the likelihood integrates it out given the others."""

LOG_WANDER: Final = FEATURES.index("log_wander")
ATTENUATION: Final = FEATURES.index("attenuation")
LOG_SLOW_MONOD: Final = FEATURES.index("log_slow_monod")

_CELLAR: Final = 0.9
"""How much of the way a drink without batches of its own follows the cellar's other drinks, in standard deviations:
floats, habits, temperature control and our own family's misfit are the same, attenuation is not."""

KEPT_PER_DRINK: Final = 80
"""The newest so many batches of a drink are kept: the cellar's age must not cost time, and habits change."""

_LOOKS: Final = 256
_VERSION: Final = 12

NoLesson = Literal["no readings", "few readings", "cold", "hardly fermented", "unclear"]
"""Why a finished batch teaches nothing: none that count, fewer than four, hardly one in the warm, stopped or chilled
before half of its fall, or a course of which the readings leave everything open."""

# Mean and standard deviation of each feature: common practice, no source, deliberately wide.
_GENERAL: Final[dict[Drink, tuple[float, float, float, float, float]]] = {
    # hours from the lag to half the easy sugar, lag h, slow share, slow rate, Monod constant of the slow sugar.
    # Maltotriose lingers (an exponential tail), longest in the cold of a lager; fructose goes on
    # to its end or, where nitrogen is short, lingers longer still.
    "ale": (28.0, 14.0, 0.18, 0.8, 4.0),
    "lager": (60.0, 24.0, 0.22, 0.55, 4.0),
    "mead": (75.0, 26.0, 0.25, 0.5, 0.7),
    "cider": (60.0, 26.0, 0.25, 0.5, 0.7),
    "wine": (60.0, 24.0, 0.25, 0.5, 0.7),
    "other": (40.0, 20.0, 0.20, 0.6, 1.0),
}
_SD: Final = (0.45, 0.6, 0.35, 0.9, 1.1, 0.6, 0.9, 1.1, 1.1, 0.8)
"""Of log rate, log lag, log growth, log fade, logit of the slow share, log slow rate, log Monod constant, logit of
inhibition, log Monod constant of the slow sugar, log wandering."""

_MUST_TAIL_SD: Final = 1.7
"""Of the log Monod constant of the slow sugar in musts: from a sharp end to a tail heavier than an exponential."""

_LINGERING: Final = np.array([0, 0, 0, 0, 0.5, -0.5, 0, 0, 0.3, 0, 1.0])
"""How a diastatic yeast or mixed culture differs, in general standard deviations: more that is slow, and slower;
a higher attenuation (common practice)."""

_WANDER_SG: Final = 0.0004
"""How much a float wanders that nothing is known of (no source)."""


Lesson = Extent | NoLesson


@dataclass(frozen=True, slots=True)
class Prior:
    """Normal prior over the features of one batch, and how many batches with its yeast and drink it rests on.

    A draw is ``mean + root @ u`` for standard normal `u`; `root` is lower triangular.
    """

    mean: Floats
    root: Floats
    same_yeast: int
    same_drink: int
    ending: TailDuration | None = None
    """What earlier batches say of the ending beyond what the features imply."""
    schedule: TemperatureSchedule | None = None
    """What was done with the temperature of earlier batches of the drink."""

    def implied_ending(self, original_sg: float) -> TailDuration:
        """What the features imply of the ending, by the middle and the spread of its core."""
        x = self.mean + normals(_LOOKS, self.mean.size, 70) @ self.root.T
        theta = np.zeros((_LOOKS, len(PARAMETERS)))  # the temperature law has no part in it
        theta[:, : len(OF_THE_COURSE)] = x[:, : len(OF_THE_COURSE)]
        low, middle, high = np.quantile(tail_durations(theta, x[:, ATTENUATION] * (original_sg - 1.0)), (0.1, 0.5, 0.9))
        return TailDuration(float(middle), float(high - low) / 2.5631)

    @property
    def sd(self) -> Floats:
        """Standard deviation of each feature."""
        return np.asarray(np.sqrt(np.square(self.root).sum(axis=1)))

    @property
    def attenuation(self) -> tuple[float, float]:
        """Where the attenuation should lie, 10 to 90 %."""
        half = 1.2816 * self.attenuation_sd
        return self.expected_attenuation - half, self.expected_attenuation + half

    @property
    def expected_attenuation(self) -> float:
        """Mean of the apparent attenuation, a share."""
        return float(self.mean[ATTENUATION])

    @property
    def attenuation_sd(self) -> float:
        """Standard deviation of the apparent attenuation."""
        return float(self.sd[ATTENUATION])

    @property
    def own_attenuation_sd(self) -> float:
        """The same where all other features are given."""
        return float(self.root[ATTENUATION, ATTENUATION])


@dataclass(frozen=True, slots=True)
class Priors:
    """What earlier batches have taught, by drink. Immutable; `learn` makes new ones.

    `shipped` is what is expected before any of them: the more of them, the less it counts.
    """

    likelihoods: dict[str, tuple[BatchLikelihood, ...]] = field(default_factory=dict)
    shipped: Mapping[str, Shipped] = field(default_factory=lambda: SHIPPED, compare=False, repr=False)
    untaught: dict[str, NoLesson] = field(default_factory=dict, compare=False)
    """Batches, by name, that could not teach anything, and why."""
    _known: dict[tuple[str, str | None, bool], tuple[Floats, Floats, Floats]] = field(
        default_factory=dict, init=False, compare=False, repr=False
    )
    _fitted: list[CellarEndings] = field(default_factory=list, init=False, compare=False, repr=False)

    def to_json(self) -> str:
        """As text, for the store."""
        likelihoods = {drink: [asdict(one) for one in those] for drink, those in sorted(self.likelihoods.items())}
        return json.dumps(
            {"version": _VERSION, "features": FEATURES, "lessons": likelihoods, "untaught": self.untaught}
        )

    @classmethod
    def from_json(cls, text: str) -> Priors:
        """From `to_json`.

        Raises
        ------
        ValueError
            If the text was written by another version; learn afresh then.
        """
        data = json.loads(text)
        if data.get("version") != _VERSION or tuple(data.get("features", ())) != FEATURES:
            raise ValueError("these priors were written by another version; learn them again from the finished batches")
        return cls(
            {drink: tuple(BatchLikelihood.from_dict(one) for one in those) for drink, those in data["lessons"].items()},
            untaught=dict(data["untaught"]),
        )

    def with_likelihoods(self, likelihoods: Mapping[str, Sequence[BatchLikelihood]]) -> Priors:
        """The same start with these batches, the newest of each drink."""
        return replace(
            self, likelihoods={drink: tuple(those[-KEPT_PER_DRINK:]) for drink, those in likelihoods.items()}
        )

    def lessons(self) -> dict[str, Lesson]:
        """How far each batch taught that is known by name, or why it taught nothing."""
        taught: dict[str, Lesson] = dict(self.untaught)
        for those in self.likelihoods.values():
            taught |= {one.name: one.extent for one in those}
        return taught

    def without(self, name: str) -> Priors:
        """What the other batches taught: a batch is not judged by its own lesson."""
        if not any(one.name == name for those in self.likelihoods.values() for one in those):
            return self
        return replace(
            self,
            likelihoods={
                drink: tuple(one for one in those if one.name != name) for drink, those in self.likelihoods.items()
            },
        )

    def prior(self, batch: Batch) -> Prior:
        """The prior for one batch."""
        mean, sd = general(batch)
        centre, slope, spread = self._group(batch.drink, batch.yeast, lingers(batch))
        mean = mean + sd * (centre + slope * strength(batch, batch.original_gravity_sg))
        cov = spread * np.outer(sd, sd)
        if batch.expected_attenuation is not None:
            # The brewer's range is taken for 10 to 90 %, softened: a recipe differs from what the leaflet says.
            low, high = batch.expected_attenuation
            # Must and honey vary more than malt does.
            error = (high - low) / 2.56 + (0.012 if DRINK_FACTS[batch.drink].leaves_dextrins else 0.025)
            gain = cov[:, ATTENUATION] / (cov[ATTENUATION, ATTENUATION] + error**2)
            mean = mean + gain * ((low + high) / 2 - mean[ATTENUATION])
            cov = cov - np.outer(gain, cov[ATTENUATION])
        those = self.likelihoods.get(batch.drink, ())
        same = sum(batch.yeast is not None and one.yeast == batch.yeast for one in those)
        root = np.asarray(np.linalg.cholesky(cov + 1e-9 * np.eye(mean.size)), dtype=np.float64)
        # Only what came to its end tells where such a batch ends.
        ended = sum(one.extent != "beginning" for one in those)
        prior = Prior(mean, root, same, ended, schedule=_schedule(those))
        endings = self._endings()
        # Of what lingers nothing was found in published kinetics.
        if not endings.kinds and (batch.drink not in self.shipped or lingers(batch)):
            return prior
        implied = prior.implied_ending(batch.original_gravity_sg or DRINK_FACTS[batch.drink].original_gravity_sg)
        kind = Kind(
            batch.drink,
            batch.yeast,
            lingers(batch),
            strength(batch, batch.original_gravity_sg),
            bool(events_of(batch, "feed", "dilute")),
        )
        return replace(prior, ending=endings.observation(kind, implied))

    def _endings(self) -> CellarEndings:
        """What all earlier batches say of endings, fitted once."""
        if not self._fitted:
            shipped = {drink: its.ending for drink, its in self.shipped.items()}
            usual: dict[str, tuple[float, float]] = {
                drink: shipped.get(drink, (_general_ending(drink), CENTRE_SD)) for drink in DRINKS
            }
            seen = [
                (Kind(drink, one.yeast, one.lingers, one.strength, one.extent == "additions"), *one.ending)
                for drink, those in self.likelihoods.items()
                for one in those
                if one.ending is not None
            ]
            self._fitted.append(CellarEndings.of(seen, usual))
        return self._fitted[0]

    def correction(self, drink: str) -> Correction:
        """How to shift and widen forecasts of a drink, from how they would have missed before."""
        everyone = Correction.unknown().leaning([one for those in self.likelihoods.values() for one in those], pull=3.0)
        return everyone.leaning(self.likelihoods.get(drink, ()), pull=3.0)

    def _start(self, drink: str) -> tuple[Floats, Floats]:
        """What is expected of a drink in a cellar without history: mean and covariance, in general deviations."""
        size = len(FEATURES)
        its = self.shipped.get(drink)
        if its is None:
            return np.zeros(size), np.eye(size)
        cov = np.zeros((size, size))
        cov[np.tril_indices(size)] = its.covariance
        return np.array(its.mean), cov + np.tril(cov, -1).T

    def _group(self, drink: str, yeast: str | None, lingering: bool) -> tuple[Floats, Floats, Floats]:
        """Mean, its slope with strength, and covariance of the next batch, in general standard deviations."""
        key = (drink, yeast, lingering)
        if key not in self._known:
            size = len(FEATURES)
            every = self.likelihoods.get(drink, ())
            centre, cov = (np.zeros(size), np.eye(size)) if lingering else self._start(drink)
            # What eats on for weeks would lengthen the tails of all others.
            those = every if lingering else tuple(one for one in every if not one.lingers) or every
            group = pooled(
                those,
                Expected(centre + self._cellar(drink), np.zeros(size), 0.45 * cov, pull=0.5, slope_pull=2.0, shape=6.0),
            )
            if lingering:
                alike = [one for one in every if one.lingers]
                centre = group.mean + _LINGERING / (1 + len(alike))
                group = pooled(
                    alike, Expected(centre, group.slope, 1.3 * group.within, pull=1.0, slope_pull=1e6, shape=6.0)
                )
            own = [one for one in every if yeast is not None and one.yeast == yeast]
            if own:
                group = pooled(
                    own, Expected(group.mean, group.slope, 0.7 * group.within, pull=1.2, slope_pull=1e6, shape=8.0)
                )
            spread = group.next if every else cov
            self._known[key] = (group.mean, group.slope, spread)
        return self._known[key]

    def _cellar(self, drink: str) -> Floats:
        """Where a drink starts from: what the other drinks of the cellar have in common."""
        size = len(FEATURES)
        others = [(name, one) for name, those in self.likelihoods.items() if name != drink for one in those]
        # Against what was expected of those drinks, not against the general mean.
        usual = np.mean([self._start(name)[0] for name, _ in others], axis=0) if others else np.zeros(size)
        nothing = Expected(usual, np.zeros(size), 0.45 * np.eye(size), pull=3.0, slope_pull=1e6, shape=6.0)
        common = pooled([one for _, one in others], nothing).mean - usual
        return np.asarray(np.where(np.arange(size) == ATTENUATION, 0.0, _CELLAR * common))


@functools.cache
def _general_ending(drink: Drink) -> float:
    """What the general prior of a drink implies of its ending, at its usual strength."""
    mean, sd = general(Batch(pitched_at=datetime(2000, 1, 1, tzinfo=UTC), drink=drink))  # of any day
    return Prior(mean, np.diag(sd), 0, 0).implied_ending(DRINK_FACTS[drink].original_gravity_sg).mean


def general(batch: Batch) -> tuple[Floats, Floats]:
    """Mean and standard deviation of the features for any batch of this drink."""
    half, lag, slow, slow_rate, slow_monod = _GENERAL[batch.drink]
    facts = DRINK_FACTS[batch.drink]
    mean = np.array(
        [-np.log(half), np.log(lag), np.log(2.5), np.log(0.12 if DRINK_FACTS[batch.drink].leaves_dextrins else 0.04),
         np.log(slow / (1 - slow)), np.log(slow_rate),
         np.log(0.06), 0.4, np.log(slow_monod), np.log(_WANDER_SG), facts.attenuation]
    )  # fmt: skip
    sd = np.array([*_SD, facts.attenuation_sd])
    if not facts.leaves_dextrins:
        sd[LOG_SLOW_MONOD] = _MUST_TAIL_SD
    return mean, sd


def strength(batch: Batch, original_gravity_sg: float | None) -> float:
    """How strong it began against what is usual for the drink, in steps of 20 points; 0 where unknown."""
    if original_gravity_sg is None:
        return 0.0
    return float(np.clip((original_gravity_sg - DRINK_FACTS[batch.drink].original_gravity_sg) / 0.020, -3.0, 3.0))


def _schedule(those: Iterable[BatchLikelihood]) -> TemperatureSchedule | None:
    told = np.array([one.warmed for one in those if one.warmed])
    return TemperatureSchedule(np.array(STAGES), told[:, ::2], told[:, 1::2]) if told.size else None


def lingers(batch: Batch) -> bool:
    """Whether the yeast is known to eat on for weeks."""
    return batch.diastatic or batch.mixed_culture
