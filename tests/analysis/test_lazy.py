"""Faces that load what they name when it is asked for."""

from __future__ import annotations

import sys
import threading
from pathlib import Path

import pytest

from analysis.lazy import load_all


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


def test_two_threads_that_load_all_leave_it_to_one(tmp_path, monkeypatch):
    # Each module takes a while and leads to the next, and each half begins at another end: loaded by two threads at
    # once, one of them would be given a module that is half made.
    slow = "import threading, time\nby = threading.get_ident()\ntime.sleep(0.05)\n"
    folder = tmp_path / "slow_face"
    folder.mkdir()
    (folder / "__init__.py").write_text(
        f"from analysis.lazy import attribute_of\n{slow}"
        "from slow_face import first\n"
        "__getattr__ = attribute_of(__name__, {'first': ('by',), 'second': ('later',)})\n"
    )
    (folder / "first.py").write_text(f"{slow}import slow_face.third\n")
    (folder / "second.py").write_text(f"{slow}later = by\nfrom slow_face.third import last\n")
    (folder / "third.py").write_text(f"{slow}last = by\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    failed: list[BaseException] = []

    def begin(module: str) -> None:
        try:
            load_all(module)
        except BaseException as error:
            failed.append(error)

    try:
        threads = [threading.Thread(target=begin, args=(f"slow_face.{name}",)) for name in ("third", "second", "first")]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        loaded = {name: sys.modules[name].by for name in sys.modules if name.startswith("slow_face")}
    finally:
        for name in [name for name in sys.modules if name.startswith("slow_face")]:
            del sys.modules[name]
    assert failed == []
    assert set(loaded) == {"slow_face", "slow_face.first", "slow_face.second", "slow_face.third"}
    assert len(set(loaded.values())) == 1
