from __future__ import annotations

from types import SimpleNamespace

import pytest

from dashboard.web import uploads


@pytest.fixture
def as_session(monkeypatch):
    def become(name):
        monkeypatch.setattr(uploads, "get_script_run_ctx", lambda: SimpleNamespace(session_id=name))

    return become


def test_what_was_handed_over_goes_with_its_session(tmp_path, as_session):
    as_session("a")
    mine = uploads.folder(tmp_path)
    (mine / "log.csv").write_text("x")
    as_session("b")
    other = uploads.folder(tmp_path)
    uploads.forget("a")
    assert not mine.exists()
    assert other.exists()
    assert mine.parent == tmp_path / "uploads"
    assert mine.parent.stat().st_mode & 0o077 == 0


def test_a_session_has_one_file_at_a_time(tmp_path, as_session):
    as_session("a")
    first = uploads.folder(tmp_path)
    second = uploads.folder(tmp_path)
    assert (first.exists(), second.exists()) == (False, True)


def test_what_a_killed_run_left_is_removed(tmp_path, as_session):
    as_session("a")
    (uploads.folder(tmp_path) / "log.csv").write_text("x")
    uploads.clear(tmp_path)
    assert list(tmp_path.iterdir()) == []
