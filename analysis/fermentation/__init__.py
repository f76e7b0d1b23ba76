"""How extract falls and what warmth does to it."""

from analysis.fermentation.kinetics import OF_THE_COURSE, PARAMETERS, Shapes
from analysis.fermentation.temperature import REFERENCE_C, Warmth, warmer, warmth

__all__ = ["OF_THE_COURSE", "PARAMETERS", "REFERENCE_C", "Shapes", "Warmth", "warmer", "warmth"]
