"""Sessions: who has signed in, as a signed cookie that ends by time, by signing out and by a new password."""

from __future__ import annotations

import base64
import contextlib
import hmac
import json
import logging
import re
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256
from typing import Final, cast

from dashboard.access.passwords import Kept, Passwords, PasswordsUnreadable, Role
from ingest import file_modes

log = logging.getLogger(__name__)

FILE_NAME: Final = "sessions-ended.json"
LASTS_S: Final = 30 * 86400
"""Seconds; a month, so that a phone in the cellar need not sign in each time. Common practice, no source."""
_MOST_ENDED: Final = 2000
"""Sessions that are remembered as ended; past that all end at once."""
_ID_BYTES: Final = 16
_TOKEN: Final = re.compile(r"(keep|look)\.([0-9]{1,12})\.([A-Za-z0-9_-]{22})\.([A-Za-z0-9_-]{43})", re.ASCII)


@dataclass(frozen=True, slots=True)
class Session:
    """Somebody who has signed in."""

    role: Role
    expires_at: int
    """Seconds since 1970 (UTC)."""
    session_id: str


class Sessions:
    """Gives out sessions and knows which still hold; may be asked from any thread.

    Parameters
    ----------
    passwords
        Whose key signs; a new key ends all sessions.
    clock
        Seconds since 1970 (UTC): a session's end is a time of day, since it outlives the process.
    """

    def __init__(self, passwords: Passwords, clock: Callable[[], float] = time.time) -> None:
        self._passwords, self._clock = passwords, clock
        self._path = passwords.path.with_name(FILE_NAME)
        self._alone = threading.Lock()
        self._ended: dict[str, int] = {}
        self._recall()

    def _recall(self) -> None:
        try:
            said = json.loads(self._path.read_text(encoding="utf-8"))
            self._ended = {str(each): int(until) for each, until in said.items()}
        except FileNotFoundError:
            return
        except (OSError, ValueError, TypeError, AttributeError) as error:
            log.warning("%s cannot be read (%s): nobody knows who signed out, so all sessions end.", self._path, error)
            with contextlib.suppress(PasswordsUnreadable, OSError):
                self._passwords.renew_key()

    def open(self, role: Role) -> str:
        """The cookie of a new session.

        Raises
        ------
        PasswordsUnreadable
            If nobody can be let in at this moment.
        """
        kept = self._passwords.kept()
        if kept is None:
            raise PasswordsUnreadable("There is no password.")
        said = f"{role}.{int(self._clock()) + LASTS_S}.{secrets.token_urlsafe(_ID_BYTES)}"
        return f"{said}.{_signature(kept, said)}"

    def read(self, token: str) -> Session | None:
        """The session of a cookie, where it is ours, unaltered, not yet past and not ended."""
        found = _TOKEN.fullmatch(token)
        if found is None:
            return None
        try:
            kept = self._passwords.kept()
        except PasswordsUnreadable:
            return None
        if kept is None:
            return None
        said, _, signature = token.rpartition(".")
        if not hmac.compare_digest(_signature(kept, said), signature):
            return None
        session = Session(cast("Role", found[1]), int(found[2]), found[3])
        left = session.expires_at - self._clock()
        if not 0 < left <= LASTS_S + 1 or session.role not in kept.hashes or session.session_id in self._ended:
            return None
        return session

    def end(self, session: Session) -> None:
        """Let a session count no longer, also after a restart."""
        with self._alone:
            now = self._clock()
            ended = {each: until for each, until in self._ended.items() if until > now}
            ended[session.session_id] = session.expires_at
            if len(ended) > _MOST_ENDED:
                self._passwords.renew_key()
                ended = {}
            self._ended = ended
            try:
                file_modes.write_whole(self._path, json.dumps(ended))
            except OSError as error:
                log.warning("That somebody signed out could not be kept: %s", error)


def _signature(kept: Kept, said: str) -> str:
    digest = hmac.digest(kept.key, said.encode(), sha256)
    return base64.urlsafe_b64encode(digest).decode().rstrip("=")
