"""A local socket in the data directory, by which commands reach the process that owns the cellar.

DuckDB allows one read-write process a file. A command that needs the cellar while a server runs sends its wish here;
the server carries it out on its own store. One request a connection, JSON lines both ways. A Unix socket where the
system has them and the path is short enough (108 bytes), else a loopback port; in both cases a token from a file that
only the owner can read must come first.
"""

from __future__ import annotations

import contextlib
import hmac
import json
import logging
import os
import secrets
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

from ingest.errors import IngestError

log = logging.getLogger(__name__)

_FILE: Final = "control.json"
_LONGEST_UNIX_PATH: Final = 100

Progress = Callable[[str], None]
Handler = Callable[[dict[str, Any], Progress], Any]


class ControlError(IngestError):
    """The server answered that a command could not be carried out; `str()` is its sentence."""


@contextlib.contextmanager
def serving(data_dir: Path, handlers: dict[str, Handler]) -> Iterator[None]:
    """Answer commands for as long as the block runs. Each handler gets its arguments and a progress callback."""
    token = secrets.token_urlsafe(24)
    listener, address = _listen(data_dir)
    note = data_dir / _FILE
    note.unlink(missing_ok=True)
    with os.fdopen(os.open(note, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        json.dump({"pid": os.getpid(), "address": address, "token": token}, file)
    stopping = threading.Event()

    def accept() -> None:
        while not stopping.is_set():
            try:
                connection, _ = listener.accept()
            except OSError:
                return
            threading.Thread(target=_answer, args=(connection, token, handlers), daemon=True).start()

    thread = threading.Thread(target=accept, name="control", daemon=True)
    thread.start()
    try:
        yield
    finally:
        stopping.set()
        with contextlib.suppress(OSError):
            listener.shutdown(socket.SHUT_RDWR)
        listener.close()
        thread.join(2)
        note.unlink(missing_ok=True)
        if isinstance(address, str):
            Path(address).unlink(missing_ok=True)


def owner(data_dir: Path) -> int | None:
    """The process id of the server that answers in this data directory, or None."""
    try:
        with _connect(data_dir) as (_, note):
            return int(note["pid"])
    except (OSError, ValueError, KeyError):
        return None


def ask(data_dir: Path, command: str, arguments: dict[str, Any], *, progress: Progress = lambda _: None) -> Any:
    """Have the server carry out `command`; return its answer.

    Raises
    ------
    ControlError
        With the server's sentence, if it could not.
    OSError
        If no server answers in this data directory.
    """
    with _connect(data_dir) as (connection, note):
        request = {"token": note["token"], "command": command, "arguments": arguments}
        connection.sendall(json.dumps(request).encode() + b"\n")
        with connection.makefile("r", encoding="utf-8") as lines:
            for line in lines:
                answer = json.loads(line)
                if "progress" in answer:
                    progress(answer["progress"])
                elif "error" in answer:
                    raise ControlError(answer["error"])
                else:
                    return answer["result"]
    raise ControlError("The server closed the connection before it answered. See its log, then try again.")


def _listen(data_dir: Path) -> tuple[socket.socket, str | list[Any]]:
    path = data_dir / "control.sock"
    if hasattr(socket, "AF_UNIX") and len(os.fsencode(path)) <= _LONGEST_UNIX_PATH:
        path.unlink(missing_ok=True)
        listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        listener.bind(str(path))
        path.chmod(0o600)
        listener.listen()
        return listener, str(path)
    listener = socket.create_server(("127.0.0.1", 0))
    return listener, list(listener.getsockname())


@contextlib.contextmanager
def _connect(data_dir: Path) -> Iterator[tuple[socket.socket, dict[str, Any]]]:
    note = json.loads((data_dir / _FILE).read_text())
    address = note["address"]
    if isinstance(address, str):
        connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        target: Any = address
    else:
        connection = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        target = tuple(address)
    with connection:
        connection.connect(target)
        yield connection, note


def _answer(connection: socket.socket, token: str, handlers: dict[str, Handler]) -> None:
    def say(message: dict[str, Any]) -> None:
        connection.sendall(json.dumps(message, default=str).encode() + b"\n")

    with connection, contextlib.suppress(OSError):
        try:
            with connection.makefile("r", encoding="utf-8") as lines:
                line = lines.readline()
            if not line:  # somebody asked only whether we are here
                return
            request = json.loads(line)
            if not hmac.compare_digest(str(request.get("token", "")), token):
                say({"error": "The token is not this server's; read it anew from control.json."})
                return
            handler = handlers.get(request["command"])
            if handler is None:
                say({"error": f"This server does not know {request['command']!r}; it may be an older version."})
                return
            result = handler(request["arguments"], lambda text: say({"progress": text}))
            say({"result": result})
        except (IngestError, ValueError) as error:
            say({"error": str(error)})
        except Exception:  # whatever went wrong belongs in the log, and the asker gets a sentence
            log.exception("a command over the control socket failed")
            say({"error": "The server failed while carrying this out; its log says more."})
