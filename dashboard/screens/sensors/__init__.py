"""Devices: new, placed, calibrated, silent, rejected."""

from dashboard.screens.sensors.first_steps import broker_address

__all__ = ["broker_address"]
