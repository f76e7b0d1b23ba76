"""The person's choices for the whole cellar: units, zone, free days, how sure."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any, Final, get_args, get_type_hints
from zoneinfo import available_timezones

import streamlit as st

from analysis.display_units import WEEKDAYS
from dashboard import context
from dashboard.queries import queries
from dashboard.ui import forms
from ingest.errors import EntryError
from ingest.model import Preferences

_HIDDEN: Final = ("Etc/", "posix/", "right/", "SystemV/", "US/", "Brazil/", "Canada/", "Chile/", "Mexico/")
_UNITS: Final = {
    "gravity_unit": (
        "Gravity in",
        "°P and °Bx both say how many grams are dissolved in 100: °P by the brewers' table of extract, °Bx by the "
        "sugar trade's for sucrose (ICUMSA). They differ by less than a tenth up to 30.",
    ),
    "temperature_unit": ("Temperature in", None),
    "volume_unit": ("Volume in", None),
    "pressure_unit": ("Pressure in", "Above the atmosphere, as gauges show it."),
    "mass_unit": (
        "Mass in",
        "Large masses are shown in kg or lb. With oz and US gal, doses are in ounces a gallon; sulfite stays in mg/L, "
        "as the laws have it.",
    ),
}
"""Each choice of a unit: its label, and what is to be known of it."""

_MOST_BUSY_DAYS: Final = 400


def zones() -> list[str]:
    """The time zones a person may live in, UTC first."""
    return ["UTC", *sorted(z for z in available_timezones() if "/" in z and not z.startswith(_HIDDEN))]


def _choices(name: str) -> tuple[str, ...]:
    return get_args(get_type_hints(Preferences)[name])


def edit() -> None:
    """All of it in one form, with the free days after it."""
    store, say = context.store(), queries.voice()
    p = store.preferences()
    offered = list(dict.fromkeys([p.time_zone, *zones()]))
    suggestion = st.context.timezone
    zone = (
        suggestion
        if p.time_zone == "UTC" and suggestion in offered and store.get(Preferences, "cellar") is None
        else p.time_zone
    )
    p = forms.opened("cellar", p)
    with forms.entry("cellar", say, save="Save", shows=p) as form:
        got: dict[str, Any] = {}
        left, middle, right = st.columns(3)
        with left:
            got["cellar_name"] = form.text("cellar_name", "Name of the cellar", p.cellar_name)
            got["time_zone"] = form.choice("time_zone", "Time zone", offered, zone)
            got |= _for_the_sheet(form, p)
        with middle:
            for name, (label, help_text) in _UNITS.items():
                got[name] = form.choice(name, label, _choices(name), getattr(p, name), help=help_text)
        with right:
            got["hold_h"] = form.number(
                "hold_h", "Gravity must hold for", p.hold_h, called="h", help="Common practice: two to three days."
            )
            got["contact_days"] = form.number(
                "contact_days",
                "Dry hops stay in for",
                p.contact_days,
                called="days",
                step=0.5,
                help="Common practice: three.",
            )
            got["confidence"] = form.number(
                "confidence",
                "How sure a date must be",
                p.confidence,
                "share",
                help="A higher figure gives later dates.",
            )
        days = range(7)
        got["hop_weekdays"] = form.several("hop_weekdays", "You can hop on", days, p.hop_weekdays, _weekday)
        got["package_weekdays"] = form.several(
            "package_weekdays", "You can package on", days, p.package_weekdays, _weekday
        )
    if form.sent:
        form.keep(lambda: store.save(_changed(p, got), forms.based("cellar")), "The cellar's choices are saved.")
    _busy(p)


def _for_the_sheet(form: forms.Form, p: Preferences) -> dict[str, Any]:
    return {
        "jurisdiction": form.choice(
            "jurisdiction",
            "Rules of",
            ("EU", "US"),
            p.jurisdiction,
            help="For the limits of sulfite on the packaging sheet; local codes come first.",
        ),
        "altitude_m": form.number(
            "altitude_m",
            "Altitude",
            p.altitude_m,
            called="m",
            step=50.0,
            placeholder="not known",
            help="Above the sea: in thinner air a gauge reads more for the same gas. Without it, 1500 m count.",
        ),
    }


def _weekday(number: int) -> str:
    return WEEKDAYS[number][:3]


def _changed(p: Preferences, got: dict[str, Any]) -> Preferences:
    """The preferences with what was entered.

    Raises
    ------
    EntryError
        Beside the field that is wrong.
    """
    usual = {"hold_h": "48 hours are usual.", "contact_days": "3 days are usual.", "confidence": "80 % is usual."}
    for name, hint in usual.items():
        if got[name] is None:
            raise EntryError(name, "a number is missing", hint)
    if got["time_zone"] is None:
        raise EntryError("time_zone", "no time zone is chosen", "Such as Europe/Paris; UTC where you have none.")
    for name in ("hop_weekdays", "package_weekdays"):
        if not got[name]:
            raise EntryError(name, "no day is chosen", "Choose at least one, or no date can be given.")
        got[name] = tuple(sorted(got[name]))
    if not got["cellar_name"]:
        raise EntryError("cellar_name", "the name is empty", "It stands at the head of every page.")
    for name, most, unit in (("hold_h", 24 * 60, "h"), ("contact_days", 60, "days")):
        if not 0 <= got[name] <= most:
            raise EntryError(name, f"{got[name]:g} {unit} is out of range", usual[name])
    if not 0.5 <= got["confidence"] <= 0.99:
        raise EntryError("confidence", f"{100 * got['confidence']:g} % is out of range", "Usual is 70 to 95 %.")
    return replace(p, **got)


def _busy(p: Preferences) -> None:
    """Days on which nothing can be done, such as a holiday."""
    store, say = context.store(), queries.voice()
    st.subheader("Days on which you cannot")
    today, p = say.today(), forms.opened("busy days", p)
    coming = sorted(d for d in (date.fromisoformat(text) for text in p.busy_dates) if d >= today)
    with forms.entry("busy days", say, save="Save these days", shows=p) as form:
        left, right = st.columns(2)
        with left:
            kept = st.multiselect(
                "Kept free of work", coming, coming, format_func=say.short_day, key=form.key("kept"), placeholder="none"
            )
        with right:
            span = st.date_input("Add a day, or from a day to a day", [], key=form.key("span"), format="YYYY-MM-DD")
            form.place("busy_dates")
    if form.sent:

        def enter() -> None:
            # Laid over what another window entered meanwhile: days are given up or added, never replaced.
            now = store.preferences()
            given_up = set(p.busy_dates) - {d.isoformat() for d in kept}
            added = {d.isoformat() for d in _days(span)}
            store.save(replace(now, busy_dates=tuple(sorted((set(now.busy_dates) - given_up) | added))))

        form.keep(enter, "The days on which you cannot are saved.")


def _days(span: Any) -> list[date]:
    """Every day from the first to the last of what was picked."""
    picked = [span] if isinstance(span, date) else list(span)
    if not picked:
        return []
    first, last = picked[0], picked[-1]
    if (last - first).days > _MOST_BUSY_DAYS:
        raise EntryError("busy_dates", "that is more than a year", "Add it in parts if you mean it.")
    return [first + timedelta(days=n) for n in range((last - first).days + 1)]
