"""How extract falls and what warmth does to it."""

from analysis.fermentation.kinetics import Shapes
from analysis.fermentation.parameters import OF_THE_COURSE, PARAMETERS, Parameter
from analysis.fermentation.temperature import Warmth, warmer, warmth

__all__ = ["OF_THE_COURSE", "PARAMETERS", "Parameter", "Shapes", "Warmth", "warmer", "warmth"]
