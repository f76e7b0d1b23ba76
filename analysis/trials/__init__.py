"""Trials: serving and judging a tasting. The face: what others may use."""

from analysis.trials.agreement import Agreement, agreement, least_significant_difference
from analysis.trials.discrimination import Triangle, power, tasters_needed, triangle
from analysis.trials.scores import ArmScore, Judged, Scores, as_scores, scores
from analysis.trials.serving import Balance, Order, balance, glass_codes, serving_orders, triangle_orders

__all__ = [
    "Agreement",
    "ArmScore",
    "Balance",
    "Judged",
    "Order",
    "Scores",
    "Triangle",
    "agreement",
    "as_scores",
    "balance",
    "glass_codes",
    "least_significant_difference",
    "power",
    "scores",
    "serving_orders",
    "tasters_needed",
    "triangle",
    "triangle_orders",
]
