"""From readings and earlier batches to a posterior over fermentations."""

from analysis.inference.hypotheses import HypothesisMixture, weigh_hypotheses
from analysis.inference.likelihood import GAIN_SD
from analysis.inference.observation_error import NEW_OFFSET_SD_SG, WANDER_SD_SG, local_rate, wandering
from analysis.inference.population import Correction
from analysis.inference.posterior import RIGHT_BEFORE_H, PosteriorDraws
from analysis.inference.prior import KEPT_PER_DRINK, LOG_WANDER, Lesson, Prior, Priors
from analysis.inference.temperature_schedule import risen
from analysis.inference.training import learn

__all__ = [
    "GAIN_SD",
    "KEPT_PER_DRINK",
    "LOG_WANDER",
    "NEW_OFFSET_SD_SG",
    "RIGHT_BEFORE_H",
    "WANDER_SD_SG",
    "Correction",
    "HypothesisMixture",
    "Lesson",
    "PosteriorDraws",
    "Prior",
    "Priors",
    "learn",
    "local_rate",
    "risen",
    "wandering",
    "weigh_hypotheses",
]
