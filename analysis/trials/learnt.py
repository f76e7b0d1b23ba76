"""What the finished batches of a cellar have taught of each drink and yeast, beside what was expected before any."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final, cast

import numpy as np

from analysis.inference import Prior, Priors
from analysis.model import Batch, Drink, Range

_ANY_TIME: Final = datetime(2000, 1, 1, tzinfo=UTC)
_NORMAL_90: Final = 1.2816


@dataclass(frozen=True, slots=True)
class Belief:
    """What is believed of the next batch of a drink, or of one yeast in it, eight times in ten.

    `half_h` are the hours from the end of the lag to half of the easy sugar, at the temperature that is usual of the
    drink. `names` are those of the batches that taught it, as `learn` was given them.
    """

    drink: Drink
    yeast: str | None
    names: tuple[str, ...]
    attenuation: Range
    attenuation_before: Range
    half_h: Range
    half_before_h: Range


def beliefs(priors: Priors) -> tuple[Belief, ...]:
    """One for each drink of which a batch taught something, and one for each of its yeasts, by name.

    Of a batch whose original gravity is not known, and without an attenuation that anybody stated.
    """
    found = []
    for drink, those in sorted(priors.likelihoods.items()):
        yeasts = sorted({one.yeast for one in those if one.yeast is not None}, key=str.casefold)
        for yeast in (None, *yeasts) if those else ():
            taught = tuple(one.name for one in those if yeast is None or one.yeast == yeast)
            batch = Batch(pitched_at=_ANY_TIME, drink=cast("Drink", drink), yeast=yeast)
            now, before = priors.prior(batch), Priors().prior(batch)
            found.append(Belief(batch.drink, yeast, taught, _ends(now), _ends(before), _half(now), _half(before)))
    return tuple(found)


def _ends(prior: Prior) -> Range:
    low, high = prior.attenuation
    return Range(low, prior.expected_attenuation, high)


def _half(prior: Prior) -> Range:
    """The first feature is the negative logarithm of these hours."""
    middle, sd = -float(prior.mean[0]), float(prior.sd[0])
    low, half, high = np.exp([middle - _NORMAL_90 * sd, middle, middle + _NORMAL_90 * sd])
    return Range(float(low), float(half), float(high))
