"""Trials: what was asked of batches that differ in one thing, and what came of it."""
