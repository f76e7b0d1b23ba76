from __future__ import annotations

import gc
import weakref

import pytest

from dashboard.queries import queries


class Answer:
    """Something that can be seen to be gone."""


def test_a_newer_answer_to_the_same_question_takes_the_place_of_the_one_before():
    made: weakref.WeakSet[Answer] = weakref.WeakSet()

    def answer() -> Answer:
        made.add(one := Answer())
        return one

    for moment in range(500):  # as a first screen that stands open
        queries.kept(("picture", "a test"), answer, moment)
    gc.collect()
    assert len(made) == 1
    queries.kept(("picture", "a test"), lambda: pytest.fail("it was kept"), 499)


@pytest.mark.parametrize(("kind", "most"), queries._KEPT_OF.items())
def test_of_large_answers_few_are_held_and_small_ones_do_not_go_for_them(kind, most):
    made: weakref.WeakSet[Answer] = weakref.WeakSet()

    def answer() -> Answer:
        made.add(one := Answer())
        return one

    small = queries.kept(("finished", "a test"), Answer)
    for question in range(3000):
        queries.kept((kind, "a test", question), answer)
    gc.collect()
    assert len(made) == most
    for question in range(3000 - most, 3000):
        queries.kept((kind, "a test", question), lambda: pytest.fail("it was kept"))
    assert queries.kept(("finished", "a test"), lambda: pytest.fail("it was kept")) is small
