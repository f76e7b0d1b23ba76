"""The door before every change, with a page's thread in front of it."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from dashboard import access
from dashboard.access import door
from dashboard.access.gate import Gate, Visit
from dashboard.access.passwords import Passwords, Role
from ingest.errors import NotAllowed
from ingest.model import Vessel, Yeast
from ingest.settings.settings import Server

As = Callable[[Role | None], None]


@pytest.fixture
def visitor(tmp_path, cellar, monkeypatch) -> Iterator[As]:
    """Says in which role the pages of this test are opened; None: by nobody who has signed in."""
    gate = Gate(Server(), Passwords(tmp_path))
    access.set_gate(gate)
    told: list[Visit | None] = [None]

    def enter(role: Role | None) -> None:
        told[0] = None if role is None else Visit(role, lambda: True)

    # A test of one screen has no websocket, whose headers would tell.
    monkeypatch.setattr(door, "_visit", lambda _gate: told[0])
    cellar.store.ask_before_writing(access.refuse_unless_keeper)
    yield enter
    cellar.store.ask_before_writing(lambda: None)
    access.set_gate(None)


def add_vessel(page: Any) -> Any:
    shown = page("set_up", part="vessels")
    next(each for each in shown.text_input if each.label == "Name").set_value("Cask nine")
    next(each for each in shown.button if each.label == "Add the vessel").click()
    return shown.run()


@pytest.fixture
def pressing_all_the_same(monkeypatch) -> None:
    """As by somebody who speaks to the websocket without our page: a button that is disabled there is pressed."""
    monkeypatch.setattr(access, "only_looks", lambda: False)


@pytest.mark.usefixtures("pressing_all_the_same")
def test_a_look_session_that_submits_a_form_changes_nothing(visitor: As, cellar, page) -> None:
    before = (cellar.store.revision, cellar.store.changes(100), cellar.store.all(Vessel))
    for role, said in (("look", "You have signed in to look"), (None, "You are no longer signed in")):
        visitor(role)  # type: ignore[arg-type]
        shown = add_vessel(page)
        assert said in " ".join(str(each.value) for each in shown.get("html"))
        assert (cellar.store.revision, cellar.store.changes(100), cellar.store.all(Vessel)) == before
    visitor("keep")
    add_vessel(page)
    assert [v.name for v in cellar.store.all(Vessel) if v.name == "Cask nine"] == ["Cask nine"]
    cellar.store.undo()


def test_buttons_of_a_look_session_cannot_be_pressed(visitor: As, page) -> None:
    visitor("look")
    shown = page("set_up", part="vessels")
    assert [each.disabled for each in shown.button if each.label == "Add the vessel"] == [True]
    visitor("keep")
    shown = page("set_up", part="vessels")
    assert [each.disabled for each in shown.button if each.label == "Add the vessel"] == [False]


@pytest.mark.usefixtures("pressing_all_the_same")
def test_a_look_session_takes_nothing_back_and_sends_no_message_and_no_export(visitor: As, cellar, page) -> None:
    visitor("look")
    changes = cellar.store.changes(5)
    for part, key in (("health", "undo newest"), ("word", "test message"), ("import", "prepare export")):
        shown = page("set_up", part=part)
        shown.button(key=key).click().run()
        # Shown by `components.screen`, which is around every page and not around this test's.
        assert "You have signed in to look" in shown.exception[0].value
    assert cellar.store.changes(5) == changes


def test_every_page_opens_for_a_look_session(visitor: As, cellar, page) -> None:
    visitor("look")
    shown = [page(name) for name in ("today", "yeasts", "sensors", "set_up", "how_it_works")]
    shown += [
        page("set_up", part=part) for part in ("batches", "vessels", "yeasts", "cellar", "word", "import", "health")
    ]
    shown += [page(name, id=cellar.batches["held"].batch_id) for name in ("batch", "packaging")]
    for each in shown:
        said = " ".join(str(html.value) for html in each.get("html"))
        assert "Nothing was changed" not in said
        assert "Something went wrong" not in said


def test_what_takes_readings_in_is_not_asked(visitor: As, cellar) -> None:
    visitor("look")
    thread = threading.Thread(target=cellar.store.set_note, args=("a note of the service", "1"))
    thread.start()
    thread.join()
    assert cellar.store.get_note("a note of the service") == "1"


def test_every_way_to_write_passes_the_door(cellar) -> None:
    """Whatever the store can be asked to change, by whatever method, is refused by one question."""

    def refuse() -> None:
        raise NotAllowed("no")

    store, yeast = cellar.store, cellar.store.all(Yeast)[0]
    store.ask_before_writing(refuse)
    try:
        for change in (
            lambda: store.save(Vessel(name="Cask nine")),
            lambda: store.save_many([Vessel(name="Cask nine")], "many"),
            lambda: store.remove(yeast),
            store.undo,
            lambda: store.change_note("k", "v", "s"),
            lambda: store.set_note("k", "v"),
            lambda: store.resolve_rejections(["x"]),
            lambda: store.replace_journal(store.journal()),
            lambda: store.keep_history([], []),
            lambda: store.keep([]),
        ):
            with pytest.raises(NotAllowed):
                change()
    finally:
        store.ask_before_writing(lambda: None)
