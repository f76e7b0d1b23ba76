from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.display_units import MINUS, THIN, DisplayUnits, chance, chance_word, number, percent
from analysis.wording import (
    capital,
    joined,
    lasted,
    natural,
    plural,
    unbroken,
    zone_of,
)
from analysis.wording.formatting import fineness
from dashboard.wording import voice_of
from ingest.model import Preferences

# A Wednesday; Lisbon is on UTC in winter, Kiritimati on UTC+14 all year.
NOW = datetime(2026, 11, 25, 15, 30, tzinfo=UTC)
LISBON = voice_of(Preferences(time_zone="Europe/Lisbon"), NOW)


# Mastrandrea et al., Guidance Note for Lead Authors of the IPCC Fifth Assessment Report on Consistent Treatment of
# Uncertainties, 2010, table 1: "virtually certain 99-100 %, very likely 90-100 %, likely 66-100 %, about as likely as
# not 33-66 %, unlikely 0-33 %, very unlikely 0-10 %, exceptionally unlikely 0-1 %" (from memory). The two outermost
# words are said in plainer English.
@pytest.mark.parametrize(
    ("probability", "word"),
    [
        (0.995, "almost certain"),
        (0.99, "almost certain"),
        (0.93, "very likely"),
        (0.90, "very likely"),
        (0.70, "likely"),
        (0.50, "about as likely as not"),
        (0.33, "about as likely as not"),
        (0.20, "unlikely"),
        (0.05, "very unlikely"),
        (0.004, "almost ruled out"),
    ],
)
def test_a_chance_has_the_published_word(probability, word):
    assert chance_word(probability) == word


@given(st.floats(0, 1))
def test_the_word_for_a_chance_never_contradicts_the_percent_beside_it(probability):
    said = chance(probability)
    shown = 0.99 if "more than" in said else 0.0 if "less than" in said else float(said.split("(")[1][:-3]) / 100
    assert said.startswith(chance_word(shown))


def test_no_line_ends_between_a_number_and_its_month_or_unit():
    assert unbroken("on 4 Dec, 2 °P in 40 days") == "on 4\u00a0Dec, 2\u00a0°P in 40\u00a0days"
    assert unbroken("M0 6 L10 8 of Marrow") == "M0 6 L10 8 of Marrow"


def test_a_span_that_begins_and_ends_on_the_same_weekday_has_both_dates():
    monday = date(2026, 11, 30)
    assert LISBON.days(monday, monday + timedelta(days=7)) == "Monday 30 Nov to Monday 7 Dec"
    assert LISBON.days(monday, monday + timedelta(days=5)) == "Monday to Saturday 5 Dec"
    low = datetime(2026, 11, 30, 12, tzinfo=UTC)
    assert LISBON.between(low, low + timedelta(days=7), "day") == "Monday 30 Nov to Monday 7 Dec"


def test_an_exact_time_has_its_year_where_it_is_another_or_meant_to_last():
    assert LISBON.exact(NOW) == "Wed 25 Nov, 15:30"
    assert LISBON.exact(NOW, lasting=True) == "Wed 25 Nov 2026, 15:30"
    assert LISBON.exact(NOW + timedelta(days=40)) == "Mon 4 Jan 2027, 15:30"


def test_a_chance_is_said_in_words_and_numbers():
    assert chance(0.93) == f"very likely (93{THIN}%)"


@pytest.mark.parametrize("probability", [0.0, 1.0])
def test_an_inferred_chance_is_never_said_to_be_none_or_whole(probability):
    assert "100" not in chance(probability)
    assert f"({'0'}{THIN}%)" not in chance(probability)


@given(st.floats(0, 1), st.floats(0, 1))
def test_a_greater_chance_never_has_a_weaker_word(one, other):
    words = ["almost ruled out", "very unlikely", "unlikely", "about as likely as not", "likely", "very likely"]
    order = [*words, "almost certain"]
    low, high = sorted((one, other))
    assert order.index(chance_word(low)) <= order.index(chance_word(high))


def test_numbers_have_a_true_minus_sign_and_no_negative_nothing():
    assert number(-0.4, 1) == f"{MINUS}0.4"
    assert number(-0.04, 1) == "0.0"


@given(st.floats(allow_nan=True, allow_infinity=True))
def test_no_number_is_ever_said_as_nan_or_inf(value):
    for text in (number(value, 2), percent(value), LISBON.gravity(value), LISBON.temperature(value)):
        assert "nan" not in text.lower()
        assert "inf" not in text.lower()


def test_gravity_has_three_decimals_and_plato_one():
    assert LISBON.gravity(1.0121) == "1.012"
    plato = voice_of(Preferences(gravity_unit="°P"), NOW)
    # ASBC, Beer-3 table (from memory): SG 1.0401 is 10.0 °P.
    assert plato.gravity(1.0401) == f"10.0{THIN}°P"


def test_temperature_is_said_in_the_persons_unit():
    assert LISBON.temperature(20) == f"20.0{THIN}°C"
    assert voice_of(Preferences(temperature_unit="°F"), NOW).temperature(20) == f"68.0{THIN}°F"


@pytest.mark.parametrize(
    ("day", "said"),
    [
        (date(2026, 11, 25), "today"),
        (date(2026, 11, 26), "tomorrow"),
        (date(2026, 11, 24), "yesterday"),
        (date(2026, 11, 29), "Sunday"),
        (date(2026, 12, 1), "Tuesday 1 Dec"),
        (date(2026, 11, 20), "Friday 20 Nov"),
        (date(2027, 1, 3), "Sunday 3 Jan 2027"),
    ],
)
def test_days_are_said_as_people_say_them(day, said):
    assert LISBON.day(day) == said


@pytest.mark.parametrize(
    ("hour", "said"),
    [
        (datetime(2026, 11, 26, 9, tzinfo=UTC), "tomorrow morning"),
        (datetime(2026, 11, 26, 12, tzinfo=UTC), "tomorrow noon"),
        (datetime(2026, 11, 26, 16, tzinfo=UTC), "tomorrow afternoon"),
        (datetime(2026, 11, 26, 20, tzinfo=UTC), "tomorrow evening"),
        (datetime(2026, 11, 25, 23, tzinfo=UTC), "tonight"),
        (datetime(2026, 11, 26, 2, tzinfo=UTC), "tonight"),
        (datetime(2026, 11, 25, 2, tzinfo=UTC), "last night"),
        (datetime(2026, 11, 25, 17, tzinfo=UTC), "this afternoon"),
    ],
)
def test_the_small_hours_belong_to_the_night_before(hour, said):
    assert LISBON.when(hour) == said


def test_the_same_instant_is_another_day_far_east():
    east = voice_of(Preferences(time_zone="Pacific/Kiritimati"), NOW)
    assert LISBON.day(NOW + timedelta(hours=6)) == "today"
    assert east.when(datetime(2026, 11, 25, 23, tzinfo=UTC), "hour") == "today about 13:00"


def test_a_range_is_said_as_finely_as_it_is_known():
    assert fineness(NOW, NOW + timedelta(days=6)) == "day"
    assert fineness(NOW, NOW + timedelta(days=2)) == "part"
    assert fineness(NOW, NOW + timedelta(hours=5)) == "hour"


def test_a_range_within_a_day_says_the_day_once():
    low, high = datetime(2026, 11, 26, 9, tzinfo=UTC), datetime(2026, 11, 26, 14, tzinfo=UTC)
    assert LISBON.between(low, high, "hour") == "tomorrow 09:00 to 14:00"


def test_an_unknown_time_zone_falls_back_to_utc():
    assert zone_of("Nowhere/Land").key == "UTC"


@pytest.mark.parametrize(
    ("span", "said"),
    [
        (timedelta(seconds=40), f"40{THIN}s"),
        (timedelta(minutes=12), f"12{THIN}min"),
        (timedelta(hours=3), f"3{THIN}h"),
        (timedelta(days=5), "5 days"),
    ],
)
def test_lengths_of_time_are_said_in_one_unit(span, said):
    assert lasted(span) == said


def test_points_are_thousandths_of_gravity():
    assert DisplayUnits().about_fall(0.004) == "about 4 points"
    assert DisplayUnits().about_fall(0.001) == "about 1 point"
    assert DisplayUnits().about_fall(0.0005) == "about half a point"
    assert DisplayUnits().fall_between(0.002, 0.0049) == "2 to 5 points"


def test_names_sort_as_people_count():
    assert sorted(["Vessel 10", "Vessel 2", "Vessel 1"], key=natural) == ["Vessel 1", "Vessel 2", "Vessel 10"]


def test_small_pieces_of_sentences():
    assert joined(["a", "b", "c"]) == "a, b and c"
    assert plural(1, "vessel") == "one vessel"
    assert plural(2, "vessel") == "two vessels"
    assert capital("two vessels want you") == "Two vessels want you"
