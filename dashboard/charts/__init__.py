"""Figures: pure functions from results to ``go.Figure``."""
