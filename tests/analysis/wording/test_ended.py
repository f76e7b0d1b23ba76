"""What is said of a batch that has ended: in the past, and no forecast of what nobody sees any more."""

from __future__ import annotations

import re
from datetime import timedelta

import numpy as np
import pytest

from analysis import Assessment, Batch, assess
from analysis.display_units import DisplayUnits
from analysis.wording import Voice, curve_in_words, ended_notions, ended_verdict, packaged_early
from analysis.wording.formatting import zone_of
from tests.analysis.curves import PITCHED, at, every_half_hour, s_curve, sent

ALE = Batch(pitched_at=PITCHED, original_gravity_sg=1.051, drink="ale")
AHEAD = re.compile(
    r"\blikely (done|ends)|is still to come|still (moves|fermenting:)|No day|tomorrow|by now|perhaps", re.I
)


def told(a: Assessment) -> str:
    say = Voice(DisplayUnits(), zone_of("UTC"), a.now + timedelta(days=1))
    notions = " ".join(" ".join(each) for each in ended_notions(a, 48, say))
    return f"{ended_verdict(a, 48, say)} {notions} {curve_in_words(a, say, ended=True)}"


@pytest.fixture(scope="module")
def readings():
    hours = every_half_hour(10)
    return sent(hours, s_curve(hours))


@pytest.mark.parametrize(("until_h", "says"), [
    (6, "No fall had been seen."),
    (50, "It was still fermenting, with about"),
    (200, "Finished: the gravity had held at"),
])  # fmt: skip
def test_a_batch_that_has_ended_is_told_in_the_past(readings, until_h, says):
    text = told(assess(readings, ALE, now=at(until_h)))
    assert says in text
    assert "When did it finish?" in text
    assert not AHEAD.search(text), text


def test_a_batch_that_ended_amid_its_fall_is_not_said_to_have_finished(readings):
    a = assess(readings, ALE, now=at(50))
    assert a.finish is not None
    text = told(a)
    assert "It was not seen to" in text
    assert "It still moved." in text


def test_a_batch_of_which_nothing_was_read_says_so():
    assert told(assess(sent(np.array([]), np.array([])), ALE, now=at(50))).startswith("Nothing told its gravity.")


@pytest.mark.parametrize(("until_h", "says"), [
    (50, r"^It was packaged with about \d+ points to go: what is sealed of it may build pressure until it bursts\."),
    (200, None),
])  # fmt: skip
def test_a_batch_that_was_packaged_before_its_end_is_told_to_be_kept_cold(readings, until_h, says):
    a = assess(readings, ALE, now=at(until_h))
    text = packaged_early(a, Voice(DisplayUnits(), zone_of("UTC"), a.now))
    assert (text is None) if says is None else re.search(says, text or "")


def test_of_a_batch_of_which_nothing_was_read_the_packages_are_not_trusted():
    a = assess(sent(np.array([]), np.array([])), ALE, now=at(50))
    say = Voice(DisplayUnits(), zone_of("UTC"), a.now)
    assert (packaged_early(a, say) or "").startswith("Nothing shows that it had ended when it was packaged: ")
