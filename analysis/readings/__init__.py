"""Readings made fit to judge: cleaned, binned, tested for stability."""
