from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from streamlit.proto.WidgetStates_pb2 import WidgetStates
from streamlit.testing.v1 import AppTest

from dashboard.ui.forms import scale
from dashboard.wording import voice_of
from ingest.model import Preferences

METRIC = voice_of(Preferences())
OTHER = voice_of(Preferences(gravity_unit="°P", temperature_unit="°F", volume_unit="US gal", pressure_unit="psi"))


@given(
    st.sampled_from(["gravity", "temperature", "volume", "pressure", "share", "plain"]),
    st.floats(0.99, 1.16),
    st.sampled_from([METRIC, OTHER]),
)
def test_every_unit_goes_there_and_back(unit, value, say):
    how = scale(unit, say)
    assert float(how.kept(how.shown(value))) == pytest.approx(value, abs=1e-6)


# Definitions: the Fahrenheit scale; NIST Handbook 44, appendix C, for the gallon and the psi.
@pytest.mark.parametrize(
    ("unit", "kept", "shown", "name"),
    [
        ("temperature", 20.0, 68.0, "°F"),
        ("volume", 3.785411784, 1.0, "US gal"),
        ("pressure", 6.894757, 1.0, "psi"),
        ("share", 0.75, 75.0, "%"),
    ],
)
def test_the_persons_units_are_shown(unit, kept, shown, name):
    how = scale(unit, OTHER)
    assert how.unit == name
    assert float(how.shown(kept)) == pytest.approx(shown, rel=1e-6)


def test_a_difference_is_shown_without_the_scales_offset():
    assert OTHER.units.warmer_by(1.0) == "1.8\u202f°F"
    assert METRIC.units.warmer_by(1.0) == "1.0\u202f°C"


# Balling's scale by the ASBC table (from memory): 1.050 is 12.39 °P, and °Bx differs from it by less than 0.05.
@pytest.mark.parametrize(
    ("unit", "typed", "meant_sg"),
    [
        ("SG", 1050, 1.050),
        ("SG", 1012, 1.012),
        ("SG", 998, 0.998),
        ("SG", 1.05, 1.05),
        ("SG", 12.5, 12.5),  # no gravity, and refused as what was typed
        ("°P", 1050, 1.050),
        ("°Bx", 1050, 1.050),
        ("°P", 12.39, 1.050),
        ("°P", 1.05, 1.0041),  # one degree, not a gravity
        ("°Bx", 1.05, 1.0041),
    ],
)
def test_a_gravity_may_be_typed_without_its_point(unit, typed, meant_sg):
    how = scale("gravity", voice_of(Preferences(gravity_unit=unit)))
    assert how.kept(how.typed(typed)) == pytest.approx(meant_sg, abs=2e-4)


def test_only_a_gravity_is_taken_so():
    for unit in ("temperature", "volume", "gravity fall", "plain"):
        assert scale(unit, METRIC).typed(1050.0) == 1050.0


FORM = """
import streamlit as st
from dashboard.ui import forms
from dashboard.wording import voice_of
from ingest.errors import EntryError
from ingest.model import Preferences

shows = st.session_state.get("shows", 1.0523456)
with forms.entry("try", voice_of(Preferences()), save="Save", shows=shows) as form:
    gravity = form.number("gravity_sg", "Gravity", shows, "gravity")
    name = form.text("name", "Name", "")
if form.sent:
    def enter():
        if name == "wrong":
            raise EntryError("name", "that is taken", "Choose another.")
        if name == "all wrong":
            raise EntryError("nowhere", "nothing fits", "Begin again.")
        st.session_state["kept"] = gravity
    form.keep(enter, "It is kept.")
"""


@pytest.fixture
def form(service):
    shown = AppTest.from_string(FORM).run()
    assert not shown.exception
    return shown


def submit(form, name):
    form.text_input[0].set_value(name)
    form.button[0].click()
    form.run()
    assert not form.exception
    return " ".join(str(each.value) for each in form.get("html"))


def test_a_number_left_alone_is_kept_unrounded(form):
    submit(form, "fine")
    assert form.session_state["kept"] == 1.0523456


def test_a_number_that_was_changed_is_kept_as_typed(form):
    form.number_input[0].set_value(1.060)
    submit(form, "fine")
    assert form.session_state["kept"] == pytest.approx(1.060)


def test_a_number_that_was_taken_for_another_is_said_beside_it(form):
    form.number_input[0].set_value(1052.0)
    said = submit(form, "wrong")
    assert "Taken as 1.052." in said
    form.text_input[0].set_value("fine")
    form.button[0].click()
    form.run()
    assert form.session_state["kept"] == pytest.approx(1.052)


def test_more_extract_than_a_hundred_in_a_hundred_is_refused_as_it_was_typed(service):
    shown = AppTest.from_string(FORM.replace("Preferences()", "Preferences(gravity_unit='°P')")).run()
    shown.number_input[0].set_value(9999.0)  # there and back it would read as some other large number
    said = submit(shown, "fine")
    assert "9999.0 °P cannot be used. °P are grams in 100 g" in said
    assert "kept" not in shown.session_state
    shown.number_input[0].set_value(15.0)
    assert "cannot be used" not in submit(shown, "fine")
    assert shown.session_state["kept"] == pytest.approx(1.0612, abs=5e-4)  # ASBC table, from memory


def test_what_is_wrong_stands_in_the_form_and_what_was_typed_stays(form):
    form.number_input[0].set_value(1.060)
    assert "That is taken. Choose another." in submit(form, "wrong")
    assert form.text_input[0].value == "wrong"
    assert form.number_input[0].value == pytest.approx(1.060)
    assert "kept" not in form.session_state


def test_what_belongs_to_no_field_is_said_all_the_same(form):
    assert "Nothing fits. Begin again." in submit(form, "all wrong")


def test_a_kept_entry_empties_the_form(form):
    submit(form, "fine")
    assert form.text_input[0].value == ""


def test_a_form_follows_what_it_shows_when_that_changes(form):
    form.session_state["shows"] = 1.044
    form.run()
    assert form.number_input[0].value == pytest.approx(1.044)


def filled_in():
    from datetime import UTC, datetime, time

    import streamlit as st

    from dashboard.ui import forms
    from dashboard.wording import voice_of
    from ingest.model import Preferences

    form = forms.loose("made up", voice_of(Preferences()))
    got = (
        form.number("amount", "Amount", 5.0),
        form.choice("kind", "Kind", ["a", "b"], "b", placeholder="none"),
        form.hour("hour", "Hour", time(22)),
        form.moment("at", "At", datetime(2027, 1, 15, 8, tzinfo=UTC)),
    )
    st.text(repr(got))


def test_a_number_a_choice_and_a_time_that_were_filled_in_can_be_emptied():
    shown = AppTest.from_function(filled_in).run()
    assert shown.text[0].value.startswith("(5.0, 'b', datetime.time(22, 0), datetime.datetime(2027, 1, 15, 8, 0")
    for each in (shown.number_input[0], shown.selectbox[0], shown.time_input[0]):
        each.set_value(None)
    shown.run()
    assert shown.text[0].value.startswith("(None, None, None, datetime.datetime(2027")
    assert shown.run().text[0].value.startswith("(None, None, None, ")


def test_what_fills_an_input_is_sent_until_the_browser_has_drawn_it_and_never_again():
    def sent(shown):
        return [each.proto.set_value for each in (shown.number_input[0], shown.selectbox[0], shown.time_input[0])]

    shown = AppTest.from_function(filled_in).run()
    drawn = shown._tree.get_widget_states()
    # A second run is asked for, by another input, before the browser has drawn these.
    shown = shown._run(WidgetStates())
    assert sent(shown) == [True, True, True]
    assert shown.text[0].value.startswith("(5.0, 'b', datetime.time(22, 0)")
    # Now it has: what is typed into them must not be overwritten, whether or not a run tells what they hold.
    assert sent(shown._run(drawn)) == sent(shown._run(WidgetStates())) == [False, False, False]
