"""What one finished batch teaches: the likelihood of its features from its readings alone."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

import numpy as np
from scipy.special import ndtri

from analysis.inference.hypotheses import halt_that_lasts, plateau_in, weigh_hypotheses, without_cold
from analysis.inference.importance_sampling import WeightedSample, normals
from analysis.inference.layout import COURSE
from analysis.inference.likelihood import GAIN_SD, Hypothesis
from analysis.inference.observation_error import local_rate
from analysis.inference.population import STAGES, BatchLikelihood, Extent
from analysis.inference.posterior import imply
from analysis.inference.prior import (
    ATTENUATION,
    FEATURES,
    NoLesson,
    Prior,
    Priors,
    general,
    lingers,
    strength,
)
from analysis.inference.setting import Original, Setting
from analysis.inference.steps import Addition, additions_of
from analysis.inference.tail_duration import tail_durations, told
from analysis.inference.temperature_schedule import warmed
from analysis.model import Batch, FinishedBatch, Floats, events_of
from analysis.readings import Series, chilled_from, hours_of, mark, original_gravity, summarise
from analysis.thresholds import (
    HALT_ODDS,
    TEACHES_BINS,
    TEACHES_ENDED,
    TEACHES_FROM,
    TEACHES_LEFT_SG,
    TEACHES_SPEED_LEFT,
)

_SPEED: Final = [FEATURES.index(name) for name in ("log_rate", "log_lag")]
_TELLS: Final[dict[Extent, list[int]]] = {
    "course": list(range(len(FEATURES))),
    "by hand": [*_SPEED, ATTENUATION],
    "additions": [*_SPEED, ATTENUATION],
    "beginning": _SPEED,
}
"""Which features a batch tells of, by how far it teaches. What shapes a tail is not to be had from a few readings: with
it they would teach what the wide prior made of the gaps between them."""

_MOST_PRECISE = 1e-3
"""No feature is taken for known better than to this share of its general variance."""


@dataclass(frozen=True, slots=True)
class Hindsight:
    """When a finished batch reached `STAGES`, shape (stages,), and equally likely finishes, shape (n,).

    Hours since pitching; infinite where it may never have finished. No float shows the last point to the hour: the
    finish stays a distribution.
    """

    reached_h: Floats
    finish_h: Floats


def batch_likelihood(one: FinishedBatch, priors: Priors) -> tuple[BatchLikelihood, Hindsight] | NoLesson:
    """What a batch with all its readings teaches, to the extent of their evidence, and when it reached what.

    `priors` is what is believed meanwhile. The reason where it cannot teach.
    """
    newest = one.readings["measured_at"].max() if len(one.readings) else None
    if not isinstance(newest, datetime):
        return "no readings"
    now = max(newest, one.batch.pitched_at + timedelta(hours=1))
    batch = replace(one.batch, expected_attenuation=None)
    whole = summarise(mark(one.readings, batch, now=now), batch, now=now)
    if whole.hours.size < TEACHES_FROM:
        return "few readings" if whole.hours.size else "no readings"
    series, now = _until_chilled(one, batch, now)
    if series.hours.size < TEACHES_FROM:
        return "cold"
    prior, original = priors.prior(batch), Original(*original_gravity(batch, series))
    added = additions_of(series, batch, original.gravity_sg, series.now_h)
    setting = Setting.of(series, prior, original, creep_from_h=_hops(batch, now), additions=added)
    hypothesis, weighted = _best(setting)
    size = weighted.extra[0] + weighted.extra[1] * normals(weighted.z.shape[0], 1, 50)[:, 0]
    left = hypothesis.fall.left_now_sg(weighted.z, size)
    ended = not hypothesis.stands and float(weighted.weight[left < TEACHES_LEFT_SG].sum()) >= TEACHES_ENDED
    extent = _extent(series, added, ended=ended)
    if extent == "beginning" and float(weighted.weight @ (left / size)) > TEACHES_SPEED_LEFT:
        return "hardly fermented"
    precision, pull = _by_readings_alone(batch, prior, hypothesis, weighted, size, _TELLS[extent])
    if not precision.any():
        return "unclear"
    posterior = imply(*_without_creep(hypothesis, hypothesis.with_ending(weighted)))
    gravity = np.median(posterior.gravity_sg, axis=0)
    share = (gravity[0] - gravity) / float(np.median(posterior.fall_sg))
    reached = np.interp(STAGES, share, posterior.at_h)
    finish = float(np.median(posterior.finish_h))
    tells = extent == "course" and series.temperature_known and np.isfinite(finish)
    ending = None
    if extent == "course" or (extent in ("by hand", "additions") and np.isfinite(finish)):
        durations = tail_durations(hypothesis.fall.theta(weighted.z), size)
        mean, variance = told(weighted.weight, durations, prior.implied_ending(original.gravity_sg))
        ending = mean, variance + (_bracket(series, reached, finish) if extent != "course" else 0.0)
    taught = BatchLikelihood.of(
        precision,
        pull,
        yeast=batch.yeast,
        lingers=lingers(batch),
        strength=strength(batch, original.gravity_sg),
        ending=ending,
        warmed=warmed(series.grid_hours, series.grid_temperature_c, reached, finish) if tells else (),
    )
    finishes = posterior.finish_h if extent == "course" else _between_readings(posterior.finish_h, series)
    return replace(taught, name=one.name, extent=extent), Hindsight(reached, finishes)


def _bracket(series: Series, reached_h: Floats, finish_h: float) -> float:
    """Variance of an ending whose end and nine tenths lie somewhere between readings hours apart.

    Between two readings the family's smooth courses would tell it better than anybody saw it.
    """
    apart = float(np.median(np.diff(series.hours)))
    middle, last = (max(float(span), 1.0) for span in (reached_h[2] - reached_h[0], finish_h - reached_h[2]))
    return apart**2 / 12.0 * (middle**-2 + last**-2)


def _between_readings(finish_h: Floats, series: Series) -> Floats:
    """The same finishes, spread over the time between two readings: nobody saw it better."""
    apart = float(np.median(np.diff(series.hours)))
    place = np.mod(np.arange(finish_h.size) * 0.618034, 1.0) - 0.5  # a golden-ratio sequence: even, and always the same
    return np.asarray(finish_h + apart * place)


def _extent(series: Series, added: Sequence[Addition], *, ended: bool) -> Extent:
    """How far its readings tell: of a tail only those of a float do, of a batch that nothing was added to."""
    if not ended:
        return "beginning"
    if added:
        return "additions"
    return "course" if np.count_nonzero(series.floats) >= TEACHES_BINS else "by hand"


def _until_chilled(one: FinishedBatch, batch: Batch, now: datetime) -> tuple[Series, datetime]:
    """What was read in the warm, up to a chill, and when that was.

    When it would have finished is asked, not what the chill made of the last bit.
    """
    series = summarise(mark(one.readings, batch, now=now), batch, now=now)
    chill_h = chilled_from(series)
    if chill_h is not None:
        now = batch.pitched_at + timedelta(hours=chill_h)
        series = summarise(mark(one.readings, batch, now=now), batch, now=now)
    return without_cold(series), now


def _by_readings_alone(
    batch: Batch, prior: Prior, hypothesis: Hypothesis, weighted: WeightedSample, size: Floats, those: list[int]
) -> tuple[Floats, Floats]:
    """Precision and pull of `those` features by the readings alone, in general standard deviations; nought of others.

    `size` is the fall of each course, SG, shape (n,).
    """
    middle, scale = general(batch)
    theta, extract = hypothesis.fall.theta(weighted.z), hypothesis.setting.original_sg - 1.0
    features = np.column_stack([theta[:, COURSE], hypothesis.fall.log_wander(weighted.z), size / extract])
    x = (features - middle) / scale
    mean = weighted.weight @ x
    off = x - mean
    cov = (off * weighted.weight[:, None]).T @ off
    # The float's scale may be off: the fall that it read is not quite the true one.
    gain_sd = GAIN_SD * (mean[ATTENUATION] + middle[ATTENUATION] / scale[ATTENUATION])
    cov[ATTENUATION, ATTENUATION] += gain_sd**2
    shrink = weighted.effective / (weighted.effective + x.shape[1])
    cov = shrink * cov + (1 - shrink) * np.diag(np.diag(cov))
    prior_cov = prior.root @ prior.root.T / np.outer(scale, scale)
    some = np.ix_(those, those)
    precision, pull = np.zeros_like(cov), np.zeros_like(mean)
    precision[some], pull[those] = without_prior(
        mean[those], cov[some], ((prior.mean - middle) / scale)[those], prior_cov[some]
    )
    return precision, pull


def _best(setting: Setting) -> tuple[Hypothesis, WeightedSample]:
    """The hypothesis that explains the readings best: the plain one, a halt that is over, or one that lasts.

    A plateau told as a plain course would teach a tail that is not there, and a stall an end that is none.
    """
    plain = Hypothesis(setting)
    best, its = plain, plain.run_by_readings()
    odds = np.log(HALT_ODDS / (1.0 - HALT_ODDS))
    limit = its.log_evidence - odds
    plateau = plateau_in(setting.series, local_rate(setting.series))
    over = None if plateau is None else Hypothesis(setting, over_h=plateau)
    for other in filter(None, (over, halt_that_lasts(plain, its))):
        weighted = other.run_by_readings()
        if weighted.log_evidence > limit:
            best, its, limit = other, weighted, weighted.log_evidence
    return best, its


def _hops(batch: Batch, now: datetime) -> float | None:
    hops = events_of(batch, "dry hop", until=now)
    return hours_of(hops[0].at, batch) if hops else None


def _without_creep(hypothesis: Hypothesis, weighted: WeightedSample) -> tuple[Hypothesis, WeightedSample]:
    """The same courses as if no hops had been added: what hops bring about is no habit of the yeast."""
    setting, columns = hypothesis.setting, hypothesis.layout.creep
    if columns is None:
        return hypothesis, weighted
    plain = Hypothesis(replace(setting, creep_from_h=None), over_h=hypothesis.over_h)
    return plain, replace(weighted, z=np.delete(weighted.z, columns, axis=1))


def _go_on() -> None:
    pass


def replay(one: FinishedBatch, priors: Priors, known: Hindsight) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """By how many normal standard deviations our forecast would have missed at each of `STAGES`.

    Returns
    -------
    tuple
        The mean miss at each stage, over what is known of the finish, and the variance that this leaves. Both empty
        where it cannot be told, or where hops came in before the last stage.
    """
    batch = one.batch
    if np.isinf(np.median(known.finish_h)):
        return (), ()
    prior = priors.prior(batch)
    means, variances = [], []
    for hour in known.reached_h:
        now = batch.pitched_at + timedelta(hours=float(hour))
        events = tuple(e for e in batch.events if e.at <= now)
        series = summarise(mark(one.readings, replace(batch, events=events), now=now), batch, now=now)
        if series.hours.size < 4 or _hops(batch, now) is not None:
            return (), ()
        mixture = weigh_hypotheses(series, replace(batch, events=events), prior, float(hour))
        if mixture is None:
            return (), ()
        said, weight = mixture.posterior.finish_h, mixture.posterior.weight
        order = np.argsort(said)
        passed = np.searchsorted(said[order], known.finish_h)
        chance = np.concatenate([[0.0], np.cumsum(weight[order])])[passed]
        miss = np.clip(ndtri(np.clip(chance, 1e-4, 1.0 - 1e-4)), -2.5, 2.5)
        means.append(round(float(miss.mean()), 3))
        variances.append(round(float(miss.var()), 3))
    return tuple(means), tuple(variances)


def without_prior(mean: Floats, cov: Floats, prior_mean: Floats, prior_cov: Floats) -> tuple[Floats, Floats]:
    """Precision and pull of the readings alone, from a posterior and the prior that went into it.

    Along directions in which the readings say next to nothing the posterior may come out wider than the prior;
    they are taken to say nothing there.
    """
    root = np.linalg.cholesky(prior_cov)
    inverse = np.linalg.inv(root)
    value, vector = np.linalg.eigh(inverse @ cov @ inverse.T)
    gain = np.clip(1.0 / np.clip(value, _MOST_PRECISE, None) - 1.0, 0.0, None)
    gain = np.where(gain < 0.15, 0.0, gain)
    # In these coordinates the prior pulls to zero, so the posterior's pull is the readings' own.
    towards = vector @ (np.where(gain > 0, gain + 1.0, 0.0) * (vector.T @ (inverse @ (mean - prior_mean))))
    precision = inverse.T @ (vector * gain) @ vector.T @ inverse
    return precision, inverse.T @ towards + precision @ prior_mean


def learn(
    finished: Iterable[FinishedBatch], *, start: Priors | None = None, pause: Callable[[], None] = _go_on
) -> Priors:
    """What earlier batches teach about those to come.

    All at once they are learnt better than one after the other: each is seen in the light of all the others.

    Parameters
    ----------
    finished
        Earlier batches, each with all its readings, the earliest first. Of one that cannot be used
        `Priors.untaught` says why.
    start
        What is known already: only new batches need to be given then.
    pause
        Called between batches: by it a learning in the background gives way, or ends with an exception.
    """
    before = start or Priors()
    likelihoods = {drink: list(those) for drink, those in before.likelihoods.items()}
    new: list[tuple[FinishedBatch, BatchLikelihood, Hindsight]] = []
    untaught = dict(before.untaught)
    # From the wide general prior: what shipped must not come back as a lesson.
    nothing = Priors(shipped={})
    for one in finished:
        pause()
        taught = batch_likelihood(one, nothing)
        if isinstance(taught, str):
            untaught[one.name] = taught
            continue
        likelihoods.setdefault(one.batch.drink, []).append(taught[0])
        new.append((one, *taught))
    before = replace(before, untaught=untaught)
    first = before.with_likelihoods(likelihoods)
    # Once more, with what the others taught: a normal likelihood is a good picture only near the right place. Its own
    # lesson must not come back to it.
    better: dict[int, BatchLikelihood] = {}
    for i, (one, its, _) in enumerate(new):
        pause()
        again = batch_likelihood(one, _without(first, one.batch.drink, its))
        if not isinstance(again, str):
            # Its ending is taken from the wide prior: a narrow one cannot be taken out again of what is skewed.
            ending = None if again[0].ending is None else its.ending
            better[id(its)] = replace(again[0], ending=ending)
            new[i] = (one, better[id(its)], again[1])
    likelihoods = {drink: [better.get(id(one), one) for one in those] for drink, those in likelihoods.items()}
    second = before.with_likelihoods(likelihoods)
    # Play the new ones again, each as if it were not known yet, and note how the forecasts miss.
    for one, its, known in new:
        those = second.likelihoods[one.batch.drink]
        if its.extent not in ("course", "by hand") or not any(x is its for x in those):
            continue
        pause()
        misses, unsure = replay(one, _without(second, one.batch.drink, its), known)
        its_group = likelihoods[one.batch.drink]
        its_group[next(k for k, x in enumerate(its_group) if x is its)] = replace(its, misses=misses, unsure=unsure)
    return before.with_likelihoods(likelihoods)


def _without(priors: Priors, drink: str, its: BatchLikelihood) -> Priors:
    those = tuple(one for one in priors.likelihoods[drink] if one is not its)
    return replace(priors, likelihoods={**priors.likelihoods, drink: those})
