"""Batches laid over one another, while they ferment and after."""
