"""Packaging day, and what came of it."""
