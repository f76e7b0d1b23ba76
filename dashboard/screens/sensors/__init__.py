"""Devices: new, placed, calibrated, silent, rejected."""
