"""The log: its level and form, what must never stand in it, and its newest complaints for whoever looks after us.

Secrets are taken out where a line is made, by a record factory (`logging.setLogRecordFactory`), and not where it is
written: other libraries bring handlers of their own. What is secret is named with `hide`, by whoever reads it; besides
that, what looks like a password in an address or in an assignment is taken out unseen.
"""

from __future__ import annotations

import json
import logging
import re
import threading
import traceback
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final, Literal, get_args
from urllib.parse import unquote

Level = Literal["debug", "info", "warning", "error"]
LEVELS: Final[tuple[Level, ...]] = get_args(Level)
Form = Literal["text", "json"]
FORMS: Final[tuple[Form, ...]] = get_args(Form)

HIDDEN: Final = "[hidden]"
_SHORTEST: Final = 4
"""Letters. A shorter secret would be taken out of every other word, and is no secret."""
_SHORTEST_PART: Final = 6
"""Letters, of a part of an address that is taken for a secret of its own: its token, its user, its password."""
_COMPLAINTS: Final = 20
_OURS: Final = ("analysis", "dashboard", "ingest", "sample_data")
_STRANGERS: Final = ("streamlit", "uvicorn", "websockets")
"""Libraries that write past the root logger, each with handlers of its own."""

_IN_ADDRESS: Final = re.compile(r"(\b[a-z][a-z0-9+.-]*://)[^\s/@'\"]+@", re.IGNORECASE)
_ASSIGNED: Final = re.compile(
    r"(\b\w*(?:password|passwd|passphrase|secret|token|api_?key)\w*['\"]?\s*[=:]\s*)(?!None\b|\[)(b?(['\"]).*?\3|[^\s,;)}\]]+)",
    re.IGNORECASE,
)
_BEARER: Final = re.compile(r"\b(Bearer|Basic)\s+[A-Za-z0-9+/=._~-]{8,}")

_secrets: set[str] = set()
_pattern: re.Pattern[str] | None = None
_lock = threading.Lock()
_errors = 0


@dataclass(frozen=True, slots=True)
class Line:
    """A warning or an error as it was logged, without its traceback."""

    at: datetime
    level: str
    logger: str
    message: str


_newest: deque[Line] = deque(maxlen=_COMPLAINTS)


def hide(*secrets: str | None) -> None:
    """Let these never stand in a log, nor the parts of an address that may let somebody in.

    An address of a notification is a secret as a whole, and so is each part behind its scheme that is long enough
    to be one: libraries log paths, users and queries apart.
    """
    global _pattern
    found = {part for secret in secrets if secret for part in _parts(secret)}
    if found <= _secrets:  # asked every few seconds, with nothing new nearly always
        return
    with _lock:
        _secrets.update(found)
        longest_first = sorted(_secrets, key=len, reverse=True)
        _pattern = re.compile("|".join(re.escape(each) for each in longest_first))


def _parts(secret: str) -> set[str]:
    whole = {secret, unquote(secret)}
    if "://" in secret:
        behind = secret.partition("://")[2]
        pieces = {each for each in re.split(r"[/:@?&=#]+", behind) if len(each) >= _SHORTEST_PART}
        whole |= pieces | {unquote(each) for each in pieces}
    return {each for each in whole if len(each) >= _SHORTEST}


def redacted(text: str) -> str:
    """The text without what was named with `hide`, and without what looks like a password."""
    if _pattern is not None:
        text = _pattern.sub(HIDDEN, text)
    text = _IN_ADDRESS.sub(rf"\1{HIDDEN}@", text)
    text = _ASSIGNED.sub(rf"\1{HIDDEN}", text)
    return _BEARER.sub(rf"\1 {HIDDEN}", text)


class _Record(logging.LogRecord):
    """A line whose secrets are taken out before any handler sees it."""

    def __init__(self, *arguments: Any, **named: Any) -> None:
        super().__init__(*arguments, **named)
        if isinstance(self.args, tuple) and self.args:  # some formatters want the arguments themselves
            self.args = tuple(redacted(each) if isinstance(each, str) else each for each in self.args)
        try:
            message = self.getMessage()
        except (TypeError, ValueError):  # a wrong call somewhere: logging says so itself when it is written
            return
        if (clean := redacted(message)) != message:
            self.msg, self.args = clean, ()
        if self.exc_info and self.exc_info[1] is not None:
            self.exc_text = redacted("".join(traceback.format_exception(*self.exc_info)).rstrip())


class _Json(logging.Formatter):
    """One JSON object a line (RFC 8259), the time as RFC 3339 in UTC."""

    def format(self, record: logging.LogRecord) -> str:
        said = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "thread": record.threadName,
            "message": record.getMessage(),
        }
        if record.exc_text:
            said["exception"] = record.exc_text
        return json.dumps(said, ensure_ascii=False)


class _Newest(logging.Handler):
    """Keeps the newest complaints, and counts the errors."""

    def emit(self, record: logging.LogRecord) -> None:
        global _errors
        at = datetime.fromtimestamp(record.created, UTC)
        _newest.append(Line(at, record.levelname.lower(), record.name, record.getMessage()))
        if record.levelno >= logging.ERROR:
            _errors += 1


class _Written(logging.StreamHandler[Any]):
    """To standard error."""


def start(level: Level = "info", form: Form = "text") -> None:
    """Log at this level and in this form from now on; called again, it replaces what was.

    At `debug` everything is logged, of libraries too; at other levels only warnings and errors of theirs.
    """
    logging.setLogRecordFactory(_Record)
    root, own = logging.getLogger(), logging.getLevelNamesMapping()[level.upper()]
    for handler in [each for each in root.handlers if isinstance(each, _Written | _Newest)]:
        root.removeHandler(handler)
    written, newest = _Written(), _Newest(logging.WARNING)
    plain = logging.Formatter("%(asctime)s %(levelname)s %(name)s: %(message)s")
    written.setFormatter(_Json() if form == "json" else plain)
    root.addHandler(written)
    root.addHandler(newest)
    root.setLevel(own if own == logging.DEBUG else max(own, logging.WARNING))
    for name in _OURS:
        logging.getLogger(name).setLevel(own)


def adopt() -> None:
    """Let libraries that write past us write through us: their loggers lose their handlers, and hand up what they say.

    They make loggers whenever a part of theirs is first needed; so this is asked again now and then.
    """
    for name, logger in list(logging.root.manager.loggerDict.items()):
        if isinstance(logger, logging.Logger) and name.partition(".")[0] in _STRANGERS and logger.handlers:
            logger.handlers.clear()
            logger.propagate = True


def newest(most: int = _COMPLAINTS) -> Sequence[Line]:
    """The newest warnings and errors since the start, the newest first."""
    return list(_newest)[::-1][:most]


def errors() -> int:
    """How many errors were logged since the start."""
    return _errors
