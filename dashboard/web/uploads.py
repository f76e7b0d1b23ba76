"""Files that a browser handed over, on disk for as long as its session lasts."""

from __future__ import annotations

import shutil
import tempfile
import threading
from pathlib import Path
from typing import Final

from streamlit.runtime.scriptrunner import get_script_run_ctx

from ingest import file_modes

_FOLDER: Final = "uploads"
_OF: Final[dict[str, Path]] = {}
_GUARD: Final = threading.Lock()


def folder(data_dir: Path) -> Path:
    """A new folder of the session that asks; its earlier one is removed."""
    context = get_script_run_ctx()
    session_id = context.session_id if context is not None else ""
    uploads = data_dir / _FOLDER
    file_modes.make_directory(uploads)
    made = Path(tempfile.mkdtemp(prefix="import-", dir=uploads))
    with _GUARD:
        before, _OF[session_id] = _OF.get(session_id), made
    if before is not None:
        shutil.rmtree(before, ignore_errors=True)
    return made


def forget(session_id: str) -> None:
    """Remove what a session had handed over."""
    with _GUARD:
        kept = _OF.pop(session_id, None)
    if kept is not None:
        shutil.rmtree(kept, ignore_errors=True)


def clear(data_dir: Path) -> None:
    """Remove what an earlier run left, and with this one's end what it still has."""
    shutil.rmtree(data_dir / _FOLDER, ignore_errors=True)
