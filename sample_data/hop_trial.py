"""A finished trial for the demo: one wort, four hops, six friends, and the blend that came of it; all invented."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from sample_data.demo_model import DemoBatch, DemoEvent, DemoHandSample

HOPS: Final = ("Tideway", "Copperfen", "Lowlark", "Stonequay")
FRIENDS: Final = ("Imke", "Joren", "Pia", "Sunniva", "Tam", "Ulla")
_LIKED: Final = (58.0, 67.0, 76.0, 54.0)
_WORDS: Final = (("grass", "hay"), ("stone fruit", "resin"), ("citrus", "stone fruit"), ("pepper", "smoke"))
BLENDS: Final = ((0.0, 0.0, 1.0, 0.0), (0.0, 0.3, 0.7, 0.0), (0.0, 0.5, 0.5, 0.0), (0.0, 0.7, 0.3, 0.0))
"""Shares of the four in what was tried afterwards, the best by itself among it; each adds up to 1."""
_BLENDS_LIKED: Final = (74.0, 84.0, 80.0, 71.0)
_JUG_L: Final = 2.5
_ORIGINAL_SG: Final = 1.049
_END_SG: Final = 1.0105
_HOPPED_H: Final = 150.0
_CONTACT_H: Final = 72.0
_SAMPLED_H: Final = (18.0, 42.0, 66.0, 92.0, 120.0, 148.0, 196.0, 221.0)
_AGO_DAYS: Final = 62.0
TASTED_AGO_DAYS: Final = 20.0
BLENDED_AGO_DAYS: Final = 17.0


@dataclass(frozen=True)
class DemoSitting:
    """What each friend said of each drink: scores of shape (friends, drinks), and the words they chose."""

    scores: np.ndarray
    aromas: tuple[tuple[tuple[str, ...], ...], ...]


@dataclass(frozen=True)
class DemoHopTrial:
    """The batches in the order of `HOPS`, each in a jug of its own, and the two sittings."""

    batches: tuple[DemoBatch, ...]
    jug_l: float
    hop_g: float
    singles: DemoSitting
    blends: DemoSitting


def hop_trial(anchor: datetime, seed: int) -> DemoHopTrial:
    """The trial as it lies behind at `anchor`."""
    rng = np.random.default_rng([seed, 4])
    pitched = (anchor - timedelta(days=_AGO_DAYS)).replace(minute=0, second=0, microsecond=0)
    return DemoHopTrial(
        batches=tuple(_batch(hop, chr(ord("A") + k), pitched, rng) for k, hop in enumerate(HOPS)),
        jug_l=_JUG_L,
        hop_g=12.0,
        singles=_sitting(np.array(_LIKED), _WORDS, rng),
        blends=_sitting(np.array(_BLENDS_LIKED), (_WORDS[2],) * len(BLENDS), rng),
    )


def _batch(hop: str, jug: str, pitched: datetime, rng: np.random.Generator) -> DemoBatch:
    ended = pitched + timedelta(hours=_HOPPED_H + _CONTACT_H + 2)
    middle, width = 34.0 * float(rng.lognormal(0, 0.03)), 8.0
    end = _END_SG + float(rng.normal(0, 0.0003))
    hours = np.array(_SAMPLED_H)
    fall = (_ORIGINAL_SG - end) / (1 + np.exp((hours - middle) / width))
    read = np.round((end + fall + rng.normal(0, 0.0003, len(hours))) * 2000) / 2000
    return DemoBatch(
        name=f"Four hops, {hop}",
        vessel_name=f"Jug {jug}",
        drink="ale",
        yeast="Dune",
        volume_l=2.3,
        original_gravity_sg=_ORIGINAL_SG,
        pitched_at=pitched,
        ended_at=ended,
        state="packaged",
        expected_low=0.77,
        expected_high=0.82,
        split_of="Four hops",
        dry_hops=1,
        events=(
            DemoEvent("pitch", pitched),
            DemoEvent("dry hop", pitched + timedelta(hours=_HOPPED_H), amount_g=12.0, hop_variety=hop),
            DemoEvent("hops out", pitched + timedelta(hours=_HOPPED_H + _CONTACT_H)),
            DemoEvent("package", ended),
        ),
        hand_samples=tuple(
            DemoHandSample(pitched + timedelta(hours=float(h)), float(sg), 20.0)
            for h, sg in zip(hours, read, strict=True)
        ),
    )


def _sitting(liked: np.ndarray, words: tuple[tuple[str, ...], ...], rng: np.random.Generator) -> DemoSitting:
    """Six friends, some of them hard to please, who do not agree in everything."""
    hard = rng.normal(0, 6, len(FRIENDS))[:, None]
    scores = np.clip(np.round(liked + hard + rng.normal(0, 8, (len(FRIENDS), len(liked)))), 0, 100)
    aromas = tuple(tuple(tuple(w for w in said if rng.random() < 0.6) for said in words) for _ in FRIENDS)
    return DemoSitting(scores, aromas)
