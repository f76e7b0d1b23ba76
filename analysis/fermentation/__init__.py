"""How extract falls and what warmth does to it."""

from analysis.fermentation.kinetics import OF_THE_COURSE, PARAMETERS, Shapes
from analysis.fermentation.temperature import Warmth, warmer, warmth

__all__ = ["OF_THE_COURSE", "PARAMETERS", "Shapes", "Warmth", "warmer", "warmth"]
