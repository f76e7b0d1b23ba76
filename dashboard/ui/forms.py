"""Entries: inputs in the person's units, what is wrong beside its field, and nothing typed lost.

A form is made anew only when what it shows has changed or its entry was kept; until then the browser holds what was
typed, whatever refreshes around it. Values go in and out in the units of the model; the person's units are only shown.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from hashlib import blake2s
from time import monotonic_ns
from typing import Any, Final, Literal, TypeVar, cast

import streamlit as st
from streamlit.delta_generator import DeltaGenerator
from streamlit.runtime.scriptrunner import get_script_run_ctx

from analysis.display_units import MINUS, Quantity, gravity_as_typed
from analysis.wording import Voice, capital
from dashboard import access
from dashboard.templates import fill
from dashboard.ui import components
from ingest.errors import EntryError
from ingest.model import Record
from ingest.store import Based, ChangedMeanwhileError

T = TypeVar("T")
R = TypeVar("R", bound=Record | None)

_WRONG: Final = '<p class="wrong" role="alert">{{ sentence }}</p>'
_TAKEN: Final = '<p class="figures" role="status">Taken as {{ taken }}.</p>'
_OVERTAKEN: Final = (
    "This was changed meanwhile in another window, so nothing of yours is saved yet. What you typed stands below: look "
    "at it, and save again."
)
_NEVER: Final = object()
_OF_HUNDRED: Final = ("°P", "°Bx")
_MOST_OF_HUNDRED: Final = 100.0
"""Grams in 100 g; what is dissolved cannot be more than all."""
_LEADING_MINUS: Final = re.compile(r"(?<!\w)-(?=\d)")
_EARLIEST: Final = datetime(2000, 1, 1)  # noqa: DTZ001 - on the person's clock, as the input shows it
_LATEST: Final = datetime(2100, 1, 1)  # noqa: DTZ001

A_NAME: Final = "\N{ZERO WIDTH SPACE}a name"
"""Stands in for a wrong name while the other faults are looked for; nobody else has it."""

WHOLE_FORM: Final = ""
"""The name of the place for what belongs to no single field."""


@dataclass(frozen=True, slots=True)
class Scale:
    """How a quantity is shown: its unit, its step and format, and the way there and back."""

    unit: str
    step: float
    format: str
    shown: Callable[[float], float] = float
    kept: Callable[[float], float] = float
    typed: Callable[[float], float] = float
    """What was meant by what was typed, in the same unit."""


def scale(quantity: Quantity, voice: Voice, own: str = "") -> Scale:
    """The scale of a quantity in the person's units; `own` is its unit where they have no choice."""
    units = voice.units
    return Scale(
        units.unit_of(quantity, own),
        units.input_step(quantity, own),
        units.input_format(quantity, own),
        lambda v: units.shown(v, quantity),
        lambda v: units.entered(v, quantity),
        gravity_typed_in(units.unit_of(quantity)) if quantity == "gravity" else float,
    )


def gravity_typed_in(unit: str) -> Callable[[float], float]:
    """What was meant by a gravity typed into a field of this unit."""
    return lambda value: gravity_as_typed(value, unit)


@dataclass(slots=True)
class Form:
    """One entry being made. Each input is followed by a place for what is wrong with it."""

    name: str
    voice: Voice
    mark: str
    sent: bool = False
    _places: dict[str, DeltaGenerator] = field(default_factory=dict)
    _odd: list[EntryError] = field(default_factory=list)
    """What an input itself finds wrong; nothing is kept until it is mended."""

    def key(self, of: str) -> str:
        """The key of an input; it changes when the form is made anew."""
        return f"{self.name}/{self.mark}/{of}"

    def place(self, *fields: str) -> None:
        """Where what is wrong with these fields is said."""
        here = st.empty()
        for each in fields:
            self._places[each] = here

    def text(self, of: str, label: str, value: str | None = "", **more: Any) -> str:
        """A line of text."""
        got = st.text_input(label, value or "", key=self.key(of), **more)
        self.place(of)
        return (got or "").strip()

    def area(self, of: str, label: str, value: str | None = "", **more: Any) -> str:
        """Text of several lines."""
        got = st.text_area(label, value or "", key=self.key(of), **more)
        self.place(of)
        return (got or "").strip()

    def number(
        self,
        of: str,
        label: str,
        value: float | None,
        unit: Quantity | Scale = "plain",
        *,
        called: str = "",
        **more: Any,
    ) -> float | None:
        """A number in the person's unit, or nothing; one left as it stands comes back unrounded."""
        how = unit if isinstance(unit, Scale) else scale(unit, self.voice)
        shown = None if value is None else float(how.shown(value))
        named = called or how.unit
        options: dict[str, Any] = {"step": how.step, "format": how.format, **more}
        shown = None if shown is None else _as_written(shown, options["format"])
        key = self._filled(of, shown)
        got = st.number_input(f"{label}, {named}" if named else label, value=None, key=key, **options)
        self.place(of)
        if got is None:
            return None
        if got == shown:
            return value
        meant = how.typed(float(got))
        if meant != got:
            taken = f"{options['format'] % meant} {'' if how.unit == 'SG' else how.unit}".strip().replace("-", MINUS)
            self._places[of].html(fill(_TAKEN, taken=taken))
        if how.unit in _OF_HUNDRED and abs(meant) > _MOST_OF_HUNDRED:
            # No gravity is that much extract: there and back it would be told as another number than was typed.
            usual = f"{how.unit} are grams in 100 g: beers and wines begin at 8 to 30."
            self._odd.append(EntryError(of, f"{options['format'] % meant} {how.unit} cannot be used", usual))
            self.wrong(self._odd[-1])
            return None
        return float(how.kept(meant))

    def moment(self, of: str, label: str, value: datetime | None, **more: Any) -> datetime | None:
        """A day and a time on the person's clock; comes back in UTC."""
        zone = self.voice.zone
        shown = None if value is None else value.astimezone(zone).replace(tzinfo=None, second=0, microsecond=0)
        key = self._filled(of, shown)
        got = st.datetime_input(
            label,
            None,
            min_value=datetime(1, 1, 1),  # noqa: DTZ001
            max_value=datetime(9999, 12, 31),  # noqa: DTZ001
            key=key,
            step=timedelta(minutes=15),
            format="YYYY-MM-DD",
            **more,
        )
        self.place(of)
        if got is None:
            return None
        if got == shown and value is not None:
            return value
        if not _EARLIEST <= got < _LATEST:
            self._odd.append(EntryError(of, f"the year is {got.year}", "Look at the date; it is usually this year's."))
        return got.replace(tzinfo=zone).astimezone(UTC)

    def choice(
        self, of: str, label: str, options: Sequence[T], value: T | None, words: Callable[[T], str] = str, **more: Any
    ) -> T | None:
        """One of several; None where nothing is chosen."""
        given = list(options)
        index = given.index(value) if value in given else None
        if "placeholder" in more and index is not None:  # nothing may be chosen here, so what was can be emptied
            self._filled(of, value)
            index = None
        got = st.selectbox(label, given, index=index, format_func=words, key=self.key(of), **more)
        self.place(of)
        return got  # type: ignore[no-any-return]

    def several(
        self, of: str, label: str, options: Sequence[T], value: Sequence[T], words: Callable[[T], str] = str
    ) -> list[T]:
        """Any number of several."""
        got = st.pills(label, options, selection_mode="multi", default=list(value), format_func=words, key=self.key(of))
        self.place(of)
        return list(got)

    def tick(self, of: str, label: str, value: bool, **more: Any) -> bool:
        """Yes or no."""
        got = st.checkbox(label, value, key=self.key(of), **more)
        self.place(of)
        return bool(got)

    def hour(self, of: str, label: str, value: time | None) -> time | None:
        """A time of day, or nothing."""
        got = st.time_input(label, None, key=self._filled(of, value), step=timedelta(minutes=30))
        self.place(of)
        return got

    def _filled(self, of: str, shown: object) -> str:
        """The key of an input that shows this at first, and can be emptied.

        Streamlit gives an emptied input its default back. So it has none: what it shows is put into its state instead.
        """
        key = self.key(of)
        put(key, shown)
        return key

    def keep(self, enter: Callable[[], Any], done: str, *, then: Callable[[], Any] | None = None) -> None:
        """Make the entry; what is wrong is said beside its field, with everything typed left as it is."""
        if self.refuses(()):
            return
        error = components.attempt(enter, done)
        if error is not None:
            if isinstance(error, ChangedMeanwhileError) and error.now is not None:
                st.session_state[_seen(self.name)] = error.now  # told once, so that a second save is a choice
            self.wrong(error)
            return
        components.saved_as(self.key("save"))
        renew(self.name)
        if then is not None:
            then()
        st.rerun()

    def wrong(self, error: EntryError) -> None:
        """Say what is wrong where it belongs, in the units in which it was typed."""
        error = error.in_units(self.voice.units)
        place = self._places.get(error.field) or self._places.get(WHOLE_FORM)
        (place or st).html(fill(_WRONG, sentence=capital(_LEADING_MINUS.sub(MINUS, str(error)))))

    def refuses(self, faults: Sequence[EntryError]) -> bool:
        """Say everything that is wrong; whether anything was."""
        told = [*self._odd, *faults]
        for fault in told:
            self.wrong(fault)
        return bool(told)

    def missing(self, of: str, problem: str, usual: str = "") -> None:
        """Say that a field is needed."""
        self.wrong(EntryError(of, problem, usual))


@contextmanager
def entry(name: str, voice: Voice, *, save: str, shows: object = None, border: bool = True) -> Iterator[Form]:
    """A form with its button. `shows` is what it was filled in from: when that changes, so do the fields."""
    form = Form(name, voice, _mark(name, shows))
    overtaken = _carry_over(form)
    with st.form(form.key("form"), border=border, enter_to_submit=False):
        if overtaken:
            st.html(fill(_WRONG, sentence=_OVERTAKEN))
        yield form
        form.sent = st.form_submit_button(save, type="primary", key=form.key("save"), disabled=access.only_looks())
        form.place(WHOLE_FORM)


def _carry_over(form: Form) -> bool:
    """Whether this form was sent as it stood before what it shows changed; what was typed then is laid into it."""
    kept = f"mark of {form.name}"
    old, st.session_state[kept] = st.session_state.get(kept), form.mark
    if old is None or old == form.mark or old.split(".")[0] != form.mark.split(".")[0]:
        return False
    before = f"{form.name}/{old}/"
    if not st.session_state.get(f"{before}save"):
        return False
    for key, value in list(st.session_state.items()):
        of = str(key).removeprefix(before)
        if of != key and of not in ("save", "form") and isinstance(value, str | float | int | bool | datetime):
            st.session_state[form.key(of)] = value
    return True


def was_sent(name: str) -> bool:
    """Whether a form of this name was just sent, though it is not drawn any more."""
    old = st.session_state.get(f"mark of {name}")
    return bool(old is not None and st.session_state.get(f"{name}/{old}/save"))


def unless_changed(name: str, now: Record | None, problem: str) -> None:
    """Refuse once where what the form of this name was opened with is another by now; a second save is a choice.

    Raises
    ------
    ChangedMeanwhileError
        With the problem in words.
    """
    if now is not None and now not in (st.session_state.get(_opened(name)), st.session_state.get(_seen(name))):
        error = ChangedMeanwhileError("", problem, "Nothing of yours is saved yet. Look at it, and save again.")
        error.now = now
        raise error


def opened(name: str, current: R) -> R:
    """The entry as the form of this name shows it: as it was when the form was opened.

    What is typed lies in the browser until it is sent, so that a form is not filled in anew while it stands open.
    """
    shown = st.session_state.get(_opened(name), _NEVER)
    if shown is _NEVER or f"{name}/{_mark(name, shown)}/save" not in st.session_state:
        st.session_state.pop(_seen(name), None)
        shown = st.session_state[_opened(name)] = current
    return cast("R", shown)


def based(name: str) -> Based | None:
    """What an entry was edited from in the form of this name; None of a new one."""
    shown = st.session_state.get(_opened(name))
    return None if shown is None else Based(shown, st.session_state.get(_seen(name)))


def all_faults(make: Callable[..., object], values: Mapping[str, Any], neutral: Mapping[str, Any]) -> list[EntryError]:
    """Everything that is wrong with `values`, not the first alone.

    A record says one fault at a time; each faulty field is therefore set to its `neutral` value to find the next.
    """
    given, found = dict(values), []
    for _ in range(len(values) + 1):
        try:
            make(**given)
        except EntryError as error:
            found.append(error)
            if error.field not in neutral or given.get(error.field) == neutral[error.field]:
                break
            given[error.field] = neutral[error.field]
        else:
            break
    return found


def loose(name: str, voice: Voice, *, shows: object = None, places: Form | None = None) -> Form:
    """Inputs that answer at once, without a button; a part of another form shares its places."""
    form = Form(name, voice, _mark(name, shows))
    if places is not None:
        form._places = places._places
    return form


def put(key: str, shown: object) -> None:
    """Lay a value into an input's state before it is drawn first, and until the browser has drawn it.

    Streamlit sends such a value once. Where the page is run again before a slow browser has drawn the input, that is
    lost: the input is drawn empty, and would be taken for one that the person emptied.
    """
    unheard: set[str] = st.session_state.setdefault("inputs not yet drawn", set())
    if key not in st.session_state:
        if shown is not None:
            st.session_state[key] = shown
            unheard.add(key)
    elif key in unheard and _heard_of(key):
        unheard.remove(key)  # from here on what is typed into it must not be overwritten
    elif key in unheard:
        st.session_state[key] = st.session_state[key]


def _heard_of(key: str) -> bool:
    """Whether the browser, asking for this run, said what the input holds; it says so of all that it has drawn."""
    run = get_script_run_ctx()
    try:
        state: Any = run.session_state._state  # type: ignore[union-attr]
        return state._key_id_mapper.get_id_from_key(key) in state._new_widget_state.states
    except AttributeError:  # not public: where a version keeps it elsewhere, a value is sent once, and a test fails
        return True


def renew(name: str) -> None:
    """Forget what was typed into a form."""
    st.session_state.pop(_opened(name), None)
    st.session_state.pop(_seen(name), None)
    st.session_state[_round(name)] = st.session_state.get(_round(name), 0) + 1


def remove_button(label: str, key: str, enter: Callable[[], Any], done: str) -> None:
    """A quiet button that takes something away; it can be undone, so it does not ask twice."""
    action(label, key, enter, done, quiet=True)


def one_tap(
    key: str, width: Literal["stretch", "content"] = "content", gap: Literal["xsmall", "small"] = "xsmall"
) -> DeltaGenerator:
    """A place for what enters something at once: while the store has not got it, the place says so (see `drafts`).

    Each time it is drawn its mark is another: a run may be over before a browser has seen that it began.
    """
    place = st.container(key=f"tap {key}", width=width, gap=gap)
    place.html(fill('<i hidden data-drawn="{{ at }}"></i>', at=monotonic_ns()))
    return place


def tapped(label: str, key: str, *, disabled: bool = False, **more: Any) -> bool:
    """Whether a button that enters something was just pressed."""
    with one_tap(key):
        return st.button(label, key=key, disabled=disabled or access.only_looks(), **more)


def not_saved() -> None:
    """Say of what stands above, outside of a form, that it is not in the store."""
    st.html('<p class="entry-state" role="status">Not saved yet.</p>')


def action(label: str, key: str, enter: Callable[[], Any], done: str, *, quiet: bool = False) -> None:
    """A button that changes something at once; what is wrong is said below it."""
    if tapped(label, key, type="tertiary" if quiet else "secondary"):
        error = components.attempt(enter, done)
        if error is None:
            st.rerun()
        st.html(fill(_WRONG, sentence=capital(str(error))))


def _mark(name: str, shows: object) -> str:
    made = st.session_state.get(_round(name), 0)
    return f"{made}.{blake2s(repr(shows).encode(), digest_size=5).hexdigest()}"


def _round(name: str) -> str:
    return f"round of {name}"


def _opened(name: str) -> str:
    return f"opened {name}"


def _seen(name: str) -> str:
    return f"seen {name}"


def _as_written(value: float, pattern: str) -> float:
    """The value as its input will show it, so that an untouched input is recognised."""
    return float(pattern % value)
