"""Fixtures for every test: free ports, and the programs that a bare machine may lack."""

from __future__ import annotations

import os
import shutil
import socket
from pathlib import Path
from typing import Final

import pytest
from hypothesis import settings
from xdist.remote import Producer
from xdist.scheduler import LoadScopeScheduling

from ingest import threads
from tests.examples import EXPLORES

# The same examples each time, so that a change is judged by what it changed; others are tried with TUNROOM_EXPLORE=1.
# No example has a deadline: beside other tests one may wait for a third of a second, and nothing here measures speed.
settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("other", deadline=None)
settings.load_profile("other" if EXPLORES else "steady")

MOSQUITTO_PLACES = ("/usr/sbin", "/usr/local/sbin", "/opt/homebrew/sbin")
CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome")


@pytest.fixture(scope="session", autouse=True)
def _one_thread_for_linear_algebra() -> None:
    """As every process of ours that assesses: two tests side by side must not fight for the cores."""
    threads.one_for_linear_algebra()


def missing(what: str, how: str) -> None:
    """Skip the test, naming what it needs; where everything must be present, fail instead."""
    sentence = f"needs {what}: {how}"
    if os.environ.get("TUNROOM_REQUIRE_ALL") == "1":
        pytest.fail(sentence, pytrace=False)
    pytest.skip(sentence)


def find_program(*names: str, places: tuple[str, ...] = ()) -> str | None:
    for name in names:
        if found := shutil.which(name):
            return found
        for place in places:
            if (path := Path(place) / name).is_file():
                return str(path)
    return None


def need_mosquitto() -> str:
    """The path of the Mosquitto broker."""
    path = find_program("mosquitto", places=MOSQUITTO_PLACES)
    if path is None:
        missing("Mosquitto", "apt install mosquitto (Debian, Ubuntu), brew install mosquitto (macOS)")
    assert path is not None
    return path


def need_chromium() -> str:
    """The path of Chromium, for Playwright's executable_path."""
    path = find_program(*CHROMIUM_NAMES)
    if path is None:
        missing("Chromium", "apt install chromium (Debian), or any Chromium on the PATH")
    assert path is not None
    return path


def need_nginx() -> str:
    """The path of the web server nginx, as a proxy in front of us."""
    path = find_program("nginx", places=MOSQUITTO_PLACES)
    if path is None:
        missing("nginx", "apt install nginx-light (Debian), brew install nginx (macOS)")
    assert path is not None
    return path


def free_port() -> int:
    """A port on which nothing listens at the moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def mosquitto_program() -> str:
    return need_mosquitto()


@pytest.fixture
def chromium_program() -> str:
    return need_chromium()


@pytest.fixture
def nginx_program() -> str:
    return need_nginx()


@pytest.fixture
def port() -> int:
    return free_port()


@pytest.fixture
def other_port() -> int:
    return free_port()


STORIES, BROWSER, EARLY, PROGRAMS, LATE = range(5)
"""The longest first, and files of a few seconds last: no process then works alone at the end while the others wait."""
_SHARES: Final = {STORIES: "stories", BROWSER: "browser", PROGRAMS: "programs"}


def _turn(path: Path) -> int:
    if "system" not in path.parts:
        return EARLY if "analysis" in path.parts else LATE
    if path.stem == "test_stories_browser":
        return STORIES
    return BROWSER if path.stem.endswith("browser") else PROGRAMS


class ByFile(LoadScopeScheduling):
    """A file's tests in one process, since they share fixtures, and those that start real programs in three.

    A browser, its server and the pages fill a core by themselves: more of them side by side wait for one another.
    """

    def _split_scope(self, nodeid: str) -> str:
        file = nodeid.split("::", 1)[0]
        return _SHARES.get(_turn(Path(file)), file)


def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> ByFile:
    config.option.loadscopereorder = False  # as sorted below
    return ByFile(config, log)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: _turn(item.path))
