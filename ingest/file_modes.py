"""Files and directories that nobody but their owner may read, whatever the umask is."""

from __future__ import annotations

import logging
import os
import secrets
from collections.abc import Iterable
from pathlib import Path
from typing import Final

log = logging.getLogger(__name__)

FILE: Final = 0o600
DIRECTORY: Final = 0o700


def from_now_on() -> None:
    """Let every file that this process makes be its owner's alone; for the start of a program, before its threads."""
    os.umask(0o077)


def make_directory(path: Path) -> bool:
    """Make a directory with its parents, ours alone; whether it had to be made. One that is there stays as it is."""
    if path.is_dir():
        return False
    path.mkdir(parents=True, exist_ok=True)
    path.chmod(DIRECTORY)
    return True


def tighten(paths: Iterable[Path]) -> None:
    """Take from others what they may do with these files and directories, and say so."""
    if os.name != "posix":
        return
    for path in paths:
        try:
            wide = path.stat().st_mode & 0o077
            if wide:
                path.chmod(DIRECTORY if path.is_dir() else FILE)
                log.info("Other users of this machine could reach %s; now they cannot.", path)
        except FileNotFoundError:
            continue
        except OSError as error:
            log.warning("Other users of this machine can reach %s, and that cannot be changed: %s", path, error)


def write_whole(path: Path, text: str) -> None:
    """Put a file in place of the one that is there, the owner's alone, whole or not at all.

    The owner is whose the directory is: what an administrator writes for a service, the service can read.
    """
    new = path.with_name(f"{path.name}.{secrets.token_hex(4)}.new")
    try:
        with os.fdopen(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, FILE), "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            if os.name == "posix" and os.geteuid() == 0:
                here = path.parent.stat()
                os.fchown(file.fileno(), here.st_uid, here.st_gid)
            os.fsync(file.fileno())
        new.replace(path)
    finally:
        new.unlink(missing_ok=True)
