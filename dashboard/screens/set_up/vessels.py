"""Entering vessels and yeasts."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from analysis.wording import Voice
from dashboard import context
from dashboard.queries import queries
from dashboard.ui import forms
from dashboard.wording import device
from ingest.errors import EntryError
from ingest.model import Device, Placement, Vessel, Yeast


def edit_vessel(vessel: Vessel | None) -> None:
    """A vessel's name, size and wished range; None: a new one."""
    store, say = context.store(), queries.voice()
    name = f"vessel {vessel.vessel_id}" if vessel else "new vessel"
    vessel = forms.opened(name, vessel) if vessel else None
    with forms.entry(
        name, say, save="Save" if vessel else "Add the vessel", shows=vessel, border=vessel is not None
    ) as form:
        left, middle, right = st.columns(3)
        with left:
            called = form.text("name", "Name", vessel.name if vessel else "", placeholder="such as Vessel 1")
        with middle:
            volume = form.number("volume_l", "Volume", vessel.volume_l if vessel else None, "volume")
        with right:
            counts = _whose_temperature(form, vessel)
        left, middle, right = st.columns(3)
        with left:
            low = form.number(
                "temperature_low_c",
                "Wished temperature, from",
                vessel.temperature_low_c if vessel else None,
                "temperature",
                placeholder="no wish",
            )
        with middle:
            high = form.number(
                "temperature_high_c",
                "to",
                vessel.temperature_high_c if vessel else None,
                "temperature",
                placeholder="no wish",
            )
    if form.sent:
        values: dict[str, Any] = {
            "name": called,
            "volume_l": volume,
            "temperature_low_c": low,
            "temperature_high_c": high,
            "temperature_from": counts,
        }
        neutral = {"name": forms.A_NAME, "volume_l": None, "temperature_low_c": None, "temperature_high_c": None}

        def made(**given: Any) -> Vessel:
            return replace(vessel, **given) if vessel else Vessel(**given)

        if not form.refuses(forms.all_faults(lambda **given: store.check(made(**given)), values, neutral)):
            form.keep(
                lambda: store.save(made(**values), forms.based(name) if vessel else None),
                f"{called} is {'changed' if vessel else 'in the cellar'}.",
            )
    if vessel:
        forms.remove_button(
            "Remove this vessel",
            f"remove {vessel.vessel_id}",
            lambda: store.remove(vessel),
            f"{vessel.name} is removed.",
        )


def _whose_temperature(form: forms.Form, vessel: Vessel | None) -> str | None:
    """Where a float and a probe share a vessel: whose temperature counts."""
    if vessel is None:
        return None
    store = context.store()
    devices = {d.device_id: d for d in store.all(Device)}
    here = sorted({p.device_id for p in store.all(Placement, vessel_id=vessel.vessel_id) if p.to_at is None})
    if vessel.temperature_from is not None and vessel.temperature_from not in here:
        here.append(vessel.temperature_from)
    return form.choice(
        "temperature_from",
        "Whose temperature counts",
        here,
        vessel.temperature_from,
        lambda d: device.name_of(d, devices.get(d)),
        placeholder="a probe in the liquid, else the float",
    )


def edit_yeast(yeast: Yeast | None) -> None:
    """A yeast's name and what is expected of it; None: a new one."""
    store, say = context.store(), queries.voice()
    name = f"yeast {yeast.yeast_id}" if yeast else "new yeast"
    yeast = forms.opened(name, yeast) if yeast else None
    with forms.entry(
        name, say, save="Save" if yeast else "Add the yeast", shows=yeast, border=yeast is not None
    ) as form:
        left, middle, right = st.columns(3)
        with left:
            called = form.text("name", "Name", yeast.name if yeast else "", placeholder="as you call it")
        with middle:
            low = form.number(
                "attenuation_low",
                "Expected attenuation, from",
                yeast.attenuation_low if yeast else None,
                "share",
                placeholder="not known",
            )
        with right:
            high = form.number(
                "attenuation_high", "to", yeast.attenuation_high if yeast else None, "share", placeholder="not known"
            )
        diastatic = form.tick(
            "diastatic",
            "It eats dextrins (diastatic)",
            yeast.diastatic if yeast else False,
            help="Such a yeast can go on for weeks, in bottles too.",
        )
    if form.sent:
        values: dict[str, Any] = {
            "name": called,
            "attenuation_low": low,
            "attenuation_high": high,
            "diastatic": diastatic,
        }

        def made(**given: Any) -> Yeast:
            _check_range(given["attenuation_low"], given["attenuation_high"])
            return replace(yeast, **given) if yeast else Yeast(**given)

        neutral = {"name": forms.A_NAME, "attenuation_low": None, "attenuation_high": None}
        if not form.refuses(forms.all_faults(lambda **given: store.check(made(**given)), values, neutral)):
            form.keep(
                lambda: store.save(made(**values), forms.based(name) if yeast else None),
                f"{called} is {'changed' if yeast else 'in the cellar'}.",
            )
    if yeast:
        forms.remove_button(
            "Remove this yeast", f"remove {yeast.yeast_id}", lambda: store.remove(yeast), f"{yeast.name} is removed."
        )


def _check_range(low: float | None, high: float | None) -> None:
    usual = "Most yeasts reach 65 to 85 % in beer, and close to 100 % in cider and mead."
    for field, value in (("attenuation_low", low), ("attenuation_high", high)):
        if value is not None and not 0.2 <= value <= 1.4:
            raise EntryError(field, f"{100 * value:g} % is out of range", usual)
    if low is not None and high is not None and low > high:
        raise EntryError("attenuation_low", "the range is upside down", "Give the lower figure first.")


def vessel_words(vessel: Vessel, say: Voice) -> tuple[str, str]:
    """A vessel for a list: its name, and what is in it."""
    batch = context.store().batch_in(vessel.vessel_id)
    size = f", {say.volume(vessel.volume_l)}" if vessel.volume_l is not None else ""
    return vessel.name, f"{batch.name if batch else 'empty'}{size}"
