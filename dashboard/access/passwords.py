"""The passwords' file beside the cellar: what tunroom keeps of the passwords, and the key that signs sessions.

Of a password only its argon2id hash is kept (RFC 9106). The key is made anew with every password that is set, so that a
new password ends every session. The file is read again as soon as it has changed: the command may write it while a
server runs.
"""

from __future__ import annotations

import base64
import json
import secrets
import threading
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Literal, get_args

from ingest import file_modes
from ingest.errors import EntryError, IngestError

Role = Literal["keep", "look"]
"""*keep* may do everything; *look* sees everything and changes nothing."""
ROLES: Final[tuple[Role, ...]] = get_args(Role)

FILE_NAME: Final = "passwords.json"
LEAST_LETTERS: Final = 10
"""Letters. NIST SP 800-63B asks for 8 at least; at the pace that `attempts` leaves, ten small letters that mean nothing
last for ten million years, and those that mean something are the person's to choose."""
MOST_LETTERS: Final = 256
"""Letters; nobody types more, and each takes time to hash."""
_LEAST_DIFFERENT: Final = 4
_KEY_BYTES: Final = 32
_MOST_BYTES: Final = 65_536
"""Of the file; ours has a few hundred."""


class PasswordsUnreadable(IngestError):
    """The passwords' file is there but says nothing that can be used; nobody is let in until it does."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What the file says."""

    hashes: Mapping[Role, str] = field(repr=False)
    key: bytes = field(repr=False)


class Passwords:
    """The passwords of one cellar; may be asked from any thread."""

    def __init__(self, data_dir: Path) -> None:
        self.path = data_dir / FILE_NAME
        self._alone = threading.Lock()
        self._seen: tuple[int, ...] | None = None
        self._kept: Kept | None = None

    def kept(self) -> Kept | None:
        """What the file says at this moment; None where there is no file.

        Raises
        ------
        PasswordsUnreadable
            If it is there and cannot be used.
        """
        with self._alone:
            try:
                here = self.path.stat()
            except FileNotFoundError:
                self._seen = self._kept = None
                return None
            except OSError as error:
                raise _unreadable(self.path, str(error.strerror)) from None
            seen = (here.st_mtime_ns, here.st_ino, here.st_size)
            if self._kept is None or seen != self._seen:
                self._seen = None
                file_modes.tighten([self.path])
                self._kept = _read(self.path)
                self._seen = seen
            return self._kept

    def set(self, role: Role, password: str) -> None:
        """Keep this as the password of a role, and end every session.

        Raises
        ------
        EntryError
            If it is too easily guessed, or is the other role's, or nobody could change anything.
        """
        text = _normal(password)
        _check(text)
        kept = self.kept()
        hashes = dict(kept.hashes) if kept is not None else {}
        if role == "look" and "keep" not in hashes:
            raise EntryError("password", "nobody could change anything", "Set the password of keep first.")
        if (other := self.role_of(password)) not in {None, role}:
            raise EntryError("password", f"this is the password of {other}", "The two must differ.")
        from argon2 import PasswordHasher

        hashes[role] = PasswordHasher().hash(text)
        self._write(hashes)

    def renew_key(self) -> None:
        """End every session; the passwords stay."""
        kept = self.kept()
        if kept is not None:
            self._write(kept.hashes)

    def role_of(self, password: str) -> Role | None:
        """Whose password this is; takes a tenth of a second or so, and 64 MiB of memory."""
        from argon2 import PasswordHasher
        from argon2.exceptions import InvalidHashError, VerificationError

        kept = self.kept()
        text = _normal(password)
        if kept is None or len(text) > MOST_LETTERS:
            return None
        found: Role | None = None
        for role in ROLES:  # all of them, so that the time does not tell which one it was
            if (kept_hash := kept.hashes.get(role)) is None:
                continue
            try:
                PasswordHasher().verify(kept_hash, text)
            except (VerificationError, InvalidHashError):
                continue
            found = found or role
        return found

    def _write(self, hashes: Mapping[Role, str]) -> None:
        key = base64.b64encode(secrets.token_bytes(_KEY_BYTES)).decode()
        text = json.dumps({"passwords": dict(hashes), "session_key": key}, indent=1)
        try:
            file_modes.make_directory(self.path.parent)
            file_modes.write_whole(self.path, text)
        except OSError as error:
            problem = f"{self.path} cannot be written ({error.strerror})"
            raise EntryError("password", problem, "Do it as the user who runs tunroom.") from None


def _read(path: Path) -> Kept:
    try:
        with path.open("rb") as file:
            said: Any = json.loads(file.read(_MOST_BYTES))
        hashes = {role: text for role, text in said["passwords"].items() if role in ROLES}
        key = base64.b64decode(said["session_key"], validate=True)
    except OSError as error:
        raise _unreadable(path, str(error.strerror)) from None
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise _unreadable(path, "it is not what the command wrote") from None
    whole = all(isinstance(text, str) and text.startswith("$argon2id$") for text in hashes.values())
    if "keep" not in hashes or not whole or len(key) < _KEY_BYTES:
        raise _unreadable(path, "it is not what the command wrote")
    return Kept(hashes, key)


def _unreadable(path: Path, why: str) -> PasswordsUnreadable:
    return PasswordsUnreadable(
        f"The passwords' file {path} cannot be used ({why}), so nobody is let in. Move it away, and set the password "
        "anew: tunroom password"
    )


def _check(text: str) -> None:
    if len(text) < LEAST_LETTERS:
        problem = f"a password of {len(text)} letters is soon guessed"
        raise EntryError("password", problem, f"Take {LEAST_LETTERS} or more; four or five words do well.")
    if len(text) > MOST_LETTERS:
        raise EntryError("password", f"{len(text)} letters are too many", f"Take {MOST_LETTERS} at most.")
    if len(set(text)) < _LEAST_DIFFERENT:
        raise EntryError("password", "the same few letters are soon guessed", "Four or five words do well.")


def _normal(password: str) -> str:
    """One spelling of what one person types on two keyboards (Unicode NFKC, as NIST SP 800-63B advises)."""
    return unicodedata.normalize("NFKC", password)
