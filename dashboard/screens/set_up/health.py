"""How the cellar's own machinery does, and everything that was entered, newest first, with undo."""

from __future__ import annotations

import platform
import shutil
from collections.abc import Sequence
from datetime import datetime
from importlib import metadata

import streamlit as st

from analysis.display_units import THIN, number
from analysis.wording import Voice, capital, plural
from dashboard import access, context, version
from dashboard.queries import machine, queries
from dashboard.screens.sensors import broker_address
from dashboard.templates import fill
from dashboard.ui import components, forms, plain
from ingest import logs
from ingest.backup import state_of
from ingest.store import Change

_CHANGES = 40
_COMPLAINTS = 5
_LOW_DISK_GB = 1.0
_LOW_MEMORY_MB = 100.0
"""Megabytes; a page that draws many batches takes about so much for a moment. Common practice, no source."""


def show() -> None:
    facts()
    entries()


@components.live
def facts() -> None:
    """Broker, queue, readings, watch, backup, disk, memory, versions, and what went wrong lately."""
    service, say = context.service(), queries.voice()
    st.html(
        fill(
            '<div class="scroll"><table class="log">{% for name, text, bad in rows %}<tr>'
            '<th scope="row">{{ name }}</th><td{% if bad %} class="needs"{% endif %}>{{ text }}</td></tr>'
            "{% endfor %}</table></div>",
            rows=(
                _broker(),
                _queue(),
                _readings(say),
                _watcher(),
                _backup(say),
                _reach(),
                _store(),
                _memory(),
                ("Versions", _versions(), False),
            ),
        )
    )
    complaints(say)
    told = (
        '<p class="quiet">For programs that watch: <code>/healthz</code> on this address says as JSON whether anything '
        "is wrong, <code>/metrics</code> gives numbers. "
        "The cellar's file: <code>{{ path }}</code></p>"
    )
    st.html(fill(told, path=service.store.path or "in memory"))


def _broker() -> tuple[str, str, bool]:
    service = context.service()
    status, broker = service.subscriber.status(), service.settings.broker
    host, port = broker_address(broker)
    own = "own broker" if broker.host is None else "broker"
    where = f"{own} at {host}, port {port}, topics {broker.prefix}/report/…"
    if not status.connected or status.problem:
        return "Broker", f"{status.problem or 'not connected, it is tried again by itself'} ({where})", True
    return "Broker", f"connected, {where}", False


def _store() -> tuple[str, str, bool]:
    store = context.store()
    if store.broken:
        return "Disk", store.broken, True
    if store.path is None:
        return "Disk", "kept in memory only", False
    free = shutil.disk_usage(store.path.parent).free / 1e9
    size = context.service().store_bytes() / 1e6
    text = f"{number(free, 1)}{THIN}GB free, the cellar takes {number(size, 1)}{THIN}MB"
    return "Disk", text, free < _LOW_DISK_GB


def _queue() -> tuple[str, str, bool]:
    pipeline = context.service().pipeline
    if (why := pipeline.lifeless() or pipeline.problem) is not None:
        return "Queue", f"{why} {capital(plural(pipeline.queued, 'message'))} in memory", True
    waiting = pipeline.queued
    return "Queue", f"{plural(waiting, 'message')} not yet on disk" if waiting else "everything is on disk", False


def _memory() -> tuple[str, str, bool]:
    found = machine.memory()
    used = "unknown" if found.used is None else f"tunroom takes {number(found.used / 1e6)}{THIN}MB"
    if found.free is None:
        return "Memory", f"{used}; how much is left is not known here", False
    left = f"{number(found.free / 1e9, 1)}{THIN}GB" if found.free >= 1e9 else f"{number(found.free / 1e6)}{THIN}MB"
    return "Memory", f"{used}, {left} are left", found.free < _LOW_MEMORY_MB * 1e6


def _versions() -> str:
    """Of what may matter when somebody asks for help."""
    libraries = ", ".join(f"{name} {metadata.version(name)}" for name in ("duckdb", "polars", "streamlit"))
    system = f"{platform.system()} {platform.machine()}"
    return f"tunroom {version()}, Python {platform.python_version()} on {system}, {libraries}"


def complaints(say: Voice) -> None:
    """The newest warnings and errors of the log."""
    found = logs.newest(_COMPLAINTS)
    if not found:
        st.html('<p class="quiet">Nothing went wrong since it was started.</p>')
        return
    rows = [[say.exact(line.at), line.level, line.message] for line in found]
    st.html(components.table(["when", "how bad", "what the log says"], rows, "what went wrong lately"))


def _readings(say: Voice) -> tuple[str, str, bool]:
    counts = context.store().counts()
    told = fill(
        "{{ count }}{% if last %}, the last {{ last }}{% endif %}{% if rejected %}; {{ rejected }} not taken in"
        "{% endif %}",
        count=f"{counts['readings']:,}".replace(",", THIN),
        last=components.aged(counts["last_reading_at"], say) if counts["last_reading_at"] else "",
        rejected=plural(counts["rejected"], "message") if counts["rejected"] else "",
    )
    return "Readings", told, bool(counts["rejected"])


def _watcher() -> tuple[str, str, bool]:
    problem = context.service().watcher_problem()
    return "Watch", problem or "each batch is judged again with new readings", problem is not None


def _backup(say: Voice) -> tuple[str, str, bool]:
    nightly = context.service().nightly
    if nightly is None:
        return "Backup", "none is made by itself: name a directory in [backup] of the settings file", False
    state = state_of(context.store())
    told = fill(
        "every night into {{ into }}; {% if age %}the last {{ age }}, {{ file }}{% else %}none yet{% endif %}"
        "{% if problem %}. {{ problem }}{% endif %}",
        into=nightly.directory,
        age=components.aged(datetime.fromisoformat(state.made_at), say) if state.made_at else "",
        file=state.file,
        problem=capital(state.problem) if state.problem else "",
    )
    return "Backup", told, bool(state.problem)


def _reach() -> tuple[str, str, bool]:
    notice = access.notice()
    return "Reached", notice or "at the addresses that the settings say", bool(notice)


def entries() -> None:
    """What was entered, and the way to take it back."""
    store, say = context.store(), queries.voice()
    st.subheader("What was entered", anchor="entries")
    changes = store.changes(_CHANGES)
    standing = next((c for c in changes if not c.undone), None)
    if not changes:
        st.html("<p>Nothing yet.</p>")
        return
    if standing is not None and forms.tapped(f"Undo: {plain(standing.sentence)}", "undo newest"):
        taken_back = context.service().undo(standing.change_id)
        if taken_back:
            st.toast(plain(taken_back))
        st.rerun()
    _earlier([c for c in changes if not c.undone], say)
    rows = [[say.exact(c.at), f"{c.sentence} (taken back)" if c.undone else c.sentence] for c in changes]
    st.html(components.table(["when", "what"], rows, "what was entered"))


def _earlier(standing: Sequence[Change], say: Voice) -> None:
    """Take back any of them: what else goes with it is said first."""
    if len(standing) < 2:
        return
    with st.expander("Take back an earlier entry"):
        chosen = st.selectbox(
            "Which",
            standing,
            index=None,
            format_func=lambda c: f"{plain(c.sentence)} · {say.exact(c.at)}",
            key=f"earlier change {standing[0].change_id}",
            placeholder="Choose one",
        )
        if chosen is None:
            return
        also = context.store().resting_on(chosen.change_id)
        if also:
            st.html(
                fill(
                    "<p>These were entered later and rest on it, so they are taken back with it:</p>"
                    '<ul class="evidence">{{ also }}</ul>',
                    also=components.sentences(f"{c.sentence}, {say.exact(c.at)}" for c in also),
                )
            )
        else:
            st.html("<p>Nothing else rests on it: all other entries stay as they are.</p>")
        number = plural(len(also) + 1, "entry", "entries")
        forms.action(
            f"Take back {number}" if also else "Take it back",
            f"take back {chosen.change_id}",
            lambda: context.service().take_back(chosen.change_id, [c.change_id for c in also]),
            f"Taken back: {plain(chosen.sentence)}{f', and {len(also)} more' if also else ''}.",
        )
