"""Faces that load what they name when it is asked for."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    folder = tmp_path / "lazy_face"
    folder.mkdir()
    (folder / "ripe.py").write_text("class Fruit:\n    pass\n\n\ndef ripe():\n    return 'yes'\n")
    (folder / "__init__.py").write_text(
        "from analysis.lazy import attribute_of\n__getattr__ = attribute_of(__name__, {'ripe': ('Fruit', 'ripe')})\n"
    )
    monkeypatch.syspath_prepend(str(tmp_path))
    yield "lazy_face"
    for name in [name for name in sys.modules if name.startswith("lazy_face")]:
        del sys.modules[name]


def test_a_function_is_found_that_has_the_name_of_its_module_whatever_was_asked_for_first(package):
    face = __import__(package)
    assert face.Fruit.__name__ == "Fruit"
    assert face.ripe() == "yes"


def test_a_name_that_it_does_not_give_is_refused(package):
    with pytest.raises(AttributeError, match="has no attribute 'rotten'"):
        _ = __import__(package).rotten
