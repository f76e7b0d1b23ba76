from __future__ import annotations

import pytest

from ingest.errors import EntryError
from ingest.model import Yeast
from ingest.store.row_mapping import cleaned, one_line
from ingest.store.store import Store


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("Barn\nBEGIN:VEVENT", "Barn BEGIN:VEVENT"),
        ("Barn\r\n2", "Barn 2"),
        ("a\x00b\x1b[31mc", "a b [31mc"),
        ("left\u202etfel", "lefttfel"),
        ("Süß – 8 °C", "Süß – 8 °C"),
    ],
)
def test_a_name_is_one_line_that_reads_as_it_is_kept(typed: str, kept: str) -> None:
    assert cleaned(Yeast(name=typed)).name == kept
    store = Store.in_memory()
    store.save_many([Yeast(yeast_id="y", name=typed)], "Added")
    found = store.get(Yeast, "y")
    assert found is not None
    assert found.name == kept


def test_a_note_keeps_its_lines() -> None:
    assert one_line("one\n\ttwo\x07\nthree\u202e", note=True) == "one\n\ttwo \nthree"


def test_a_name_of_nothing_that_can_be_seen_is_empty() -> None:
    with pytest.raises(EntryError, match="the name is empty"):
        cleaned(Yeast(name="\x01\x02"))
