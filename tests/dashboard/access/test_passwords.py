from __future__ import annotations

import json
import os
import stat
from pathlib import Path

import pytest

from dashboard.access.passwords import Passwords, PasswordsUnreadable
from ingest.errors import EntryError


def test_only_a_hash_is_kept_for_nobody_else_to_read(tmp_path: Path) -> None:
    old = os.umask(0)
    try:
        passwords = Passwords(tmp_path / "cellar")
        assert passwords.kept() is None
        passwords.set("keep", "copper kettle lantern")
    finally:
        os.umask(old)
    assert stat.S_IMODE(passwords.path.stat().st_mode) == 0o600
    assert [p.name for p in passwords.path.parent.iterdir()] == ["passwords.json"]
    text = passwords.path.read_text()
    assert "kettle" not in text
    # RFC 9106, section 4, the second recommended choice: argon2id, 3 passes, 64 MiB, 4 lanes.
    assert json.loads(text)["passwords"]["keep"].startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    assert "kettle" not in repr(passwords.kept())
    assert "argon2" not in repr(passwords.kept())


def test_each_role_has_its_own_password_whatever_form_its_letters_take(tmp_path: Path) -> None:
    passwords = Passwords(tmp_path)
    with pytest.raises(EntryError, match="nobody could change anything"):
        passwords.set("look", "window only please")
    passwords.set("keep", "cafe\u0301 au bock")
    with pytest.raises(EntryError, match="the password of keep"):
        passwords.set("look", "caf\u00e9 au bock")
    passwords.set("look", "window only please")
    with pytest.raises(EntryError, match="the password of look"):
        passwords.set("keep", "window only please")
    assert passwords.role_of("caf\u00e9 au bock") == "keep"
    assert passwords.role_of("window only please") == "look"
    assert passwords.role_of("") is None
    assert passwords.role_of("x" * 100_000) is None


@pytest.mark.parametrize("weak", ["", "short", "123456789", "aaaaaaaaaaaaaaaa", "abababababababab", "x" * 300])
def test_what_is_soon_guessed_is_refused_and_changes_nothing(tmp_path: Path, weak: str) -> None:
    passwords = Passwords(tmp_path)
    with pytest.raises(EntryError):
        passwords.set("keep", weak)
    assert passwords.kept() is None


def test_another_process_sees_a_new_password_at_once(tmp_path: Path) -> None:
    one, other = Passwords(tmp_path), Passwords(tmp_path)
    one.set("keep", "copper kettle lantern")
    before = other.kept()
    one.set("keep", "brass funnel lantern")
    after = other.kept()
    assert before is not None
    assert after is not None
    assert before.key != after.key
    assert other.role_of("brass funnel lantern") == "keep"


def test_a_file_that_is_open_to_others_is_closed(tmp_path: Path) -> None:
    passwords = Passwords(tmp_path)
    passwords.set("keep", "copper kettle lantern")
    passwords.path.chmod(0o644)
    os.utime(passwords.path)
    assert Passwords(tmp_path).kept() is not None
    assert stat.S_IMODE(passwords.path.stat().st_mode) == 0o600


def test_a_file_that_says_nothing_is_never_taken_for_no_password(tmp_path: Path) -> None:
    passwords = Passwords(tmp_path)
    for text in ("", "null", "[" * 5000, '{"passwords": {"keep": "plain"}, "session_key": "AAAA"}'):
        passwords.path.write_text(text)
        with pytest.raises(PasswordsUnreadable, match="tunroom password"):
            passwords.kept()
    passwords.path.unlink()
    passwords.path.mkdir()
    with pytest.raises(PasswordsUnreadable):
        passwords.kept()
