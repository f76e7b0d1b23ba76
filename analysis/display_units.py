"""How the sheet's sentences say gravity, temperature and pressure: in the units that the person chose."""

from __future__ import annotations

from dataclasses import dataclass

from analysis import units

_THIN = "\u202f"


@dataclass(frozen=True, slots=True)
class Say:
    """Numbers with their unit for a sentence; the units are those of `ingest.model.Preferences`."""

    gravity_unit: str = "SG"
    temperature_unit: str = "°C"
    pressure_unit: str = "kPa"

    def gravity(self, gravity_sg: float) -> str:
        """``1.012`` or ``3.1 °P``."""
        if self.gravity_unit == "°P":
            return f"{units.sg_to_plato(gravity_sg):.1f}{_THIN}°P"
        return f"{gravity_sg:.3f}"

    def temperature(self, temperature_c: float) -> str:
        """``20 °C`` or ``68 °F``."""
        if self.temperature_unit == "°F":
            return f"{units.c_to_f(temperature_c):.0f}{_THIN}°F"
        return f"{temperature_c:.0f}{_THIN}°C"

    def pressure(self, gauge_kpa: float) -> str:
        """``314 kPa``, ``3.1 bar`` or ``46 psi``."""
        if self.pressure_unit == "bar":
            return f"{units.kpa_to_bar(gauge_kpa):.1f}{_THIN}bar"
        if self.pressure_unit == "psi":
            return f"{units.kpa_to_psi(gauge_kpa):.0f}{_THIN}psi"
        return f"{gauge_kpa:.0f}{_THIN}kPa"
