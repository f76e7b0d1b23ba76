"""The part of an event's form that says what was added and how much."""

from __future__ import annotations

from dataclasses import dataclass, replace

from analysis.additions import AMOUNT_UNITS, SUBSTANCES, missing
from analysis.display_units import DisplayUnits
from analysis.model import SUBSTANCE_NAMES, Added, EventKind, Substance
from dashboard.ui import forms
from ingest.errors import EntryError
from ingest.model import BatchRecord, EventRecord


def unit_of(event: EventRecord | None, units: DisplayUnits) -> str:
    """The unit in which an event's amount was typed; where that is not known, the person's own."""
    if event is not None and event.amount_unit in AMOUNT_UNITS:
        return event.amount_unit or units.mass_unit
    return units.volume_unit if event is not None and event.amount_l is not None else units.mass_unit


def amount_shown(event: EventRecord | None, units: DisplayUnits) -> float | None:
    """An event's amount in that unit; None where none was typed."""
    if event is None:
        return None
    quantity, each = AMOUNT_UNITS[unit_of(event, units)]
    kept = event.amount_g if quantity == "mass" else event.amount_l
    return None if kept is None else round(kept / each, 6)


def amount_words(event: EventRecord, units: DisplayUnits) -> str:
    """An event's amount as it was typed, or in the person's unit where that is not known; empty where there is none."""
    shown = amount_shown(event, units)
    if shown is not None and event.amount_unit is not None:
        return f"{shown:g} {event.amount_unit}"
    if event.amount_g is not None:
        return units.mass(event.amount_g)
    return units.volume(event.amount_l) if event.amount_l is not None else ""


@dataclass(frozen=True, slots=True)
class Amount:
    """How much, in the unit in which it was typed."""

    value: float | None
    unit: str

    @classmethod
    def ask(cls, form: forms.Form, event: EventRecord | None, units: DisplayUnits) -> Amount:
        """The two inputs."""
        value = form.number("amount_g", "Amount, if any", amount_shown(event, units))
        usual = unit_of(event, units)
        unit = form.choice("amount_unit", "In", tuple(AMOUNT_UNITS), usual)
        return cls(value, unit or usual)

    @property
    def mass_g(self) -> float | None:
        """Grams, of an amount by weight."""
        quantity, each = AMOUNT_UNITS[self.unit]
        return self.value * each if self.value is not None and quantity == "mass" else None

    @property
    def volume_l(self) -> float | None:
        """Litres, of an amount by volume."""
        quantity, each = AMOUNT_UNITS[self.unit]
        return self.value * each if self.value is not None and quantity == "volume" else None

    def into(self, event: EventRecord) -> EventRecord:
        """The event with this amount.

        Raises
        ------
        EntryError
            If it is below nothing.
        """
        if self.value is not None and self.value < 0:
            said = f"{self.value:g} {self.unit} is below nothing"
            raise EntryError("amount_g", said, "Leave it empty if there was no amount.")
        unit = self.unit if self.value is not None else None
        return replace(event, amount_g=self.mass_g, amount_l=self.volume_l, amount_unit=unit)


@dataclass(frozen=True, slots=True)
class Substances:
    """What was added, its own gravity and strength."""

    substance: Substance | None
    gravity_sg: float | None
    abv_pct: float | None

    @classmethod
    def ask(cls, form: forms.Form, event: EventRecord | None) -> Substances:
        """The three inputs."""
        chosen = form.choice(
            "added", "It was", SUBSTANCE_NAMES, event.added if event else None, lambda name: SUBSTANCES[name].words
        )
        gravity = form.number(
            "added_gravity_sg",
            "Its own gravity, of juice, concentrate or another batch",
            event.added_gravity_sg if event else None,
            "gravity",
        )
        strength = form.number(
            "added_abv_pct",
            "Its strength, of a spirit or another batch",
            event.added_abv_pct if event else None,
            called="% vol",
        )
        return cls(chosen, gravity, strength)

    def kind_for(self, kind: EventKind) -> EventKind:
        """Feed or dilution, as what was added makes it.

        Raises
        ------
        EntryError
            If something was added by an event that adds nothing of the kind.
        """
        if self.substance is None:
            return kind
        if kind not in ("feed", "dilute"):
            words = SUBSTANCES[self.substance].words
            raise EntryError(
                "added", f"{words} is chosen, but the event adds nothing", "Choose feed or dilution above."
            )
        return SUBSTANCES[self.substance].kind

    def into(self, event: EventRecord) -> EventRecord:
        """The event with what was added."""
        return replace(event, added=self.substance, added_gravity_sg=self.gravity_sg, added_abv_pct=self.abv_pct)

    def still_to_say(self, kind: EventKind, amount: Amount, gravity_sg: float | None, record: BatchRecord) -> str:
        """What is not known of a feed or a dilution, as a sentence; empty where it is told by amount or by gravity."""
        if kind not in ("feed", "dilute") or gravity_sg is not None:
            return ""
        if self.substance is None:
            lacks: tuple[str, ...] = ("what was added and how much",)
        else:
            told = amount.value is not None and amount.value > 0
            lacks = missing(
                Added(
                    self.substance,
                    1.0 if told and amount.mass_g else None,
                    1.0 if told and amount.volume_l else None,
                    None if self.gravity_sg is None else 1.0,
                    None if self.abv_pct is None else 1.0,
                )
            )
        if record.volume_l is None:
            lacks = (*lacks, "the volume of the batch")
        if not lacks:
            return ""
        return f" Not known yet: {', '.join(lacks)}. Until then the readings decide how far it moved the gravity."
