"""The one process: Streamlit's ASGI app around the running service, with /healthz and the feeds beside it."""

from __future__ import annotations

import asyncio
import functools
import os
import signal
import socket
import sys
import threading
from collections.abc import AsyncGenerator, Callable
from contextlib import AbstractAsyncContextManager, AbstractContextManager, ExitStack, asynccontextmanager
from pathlib import Path
from typing import Any

import streamlit as st
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse
from starlette.routing import Route
from streamlit.components.v2 import manifest_scanner

from dashboard import access, context, version
from dashboard.web import (
    calendar_routes,
    closed_sessions,
    heartbeat,
    late_requests,
    metrics,
    redirects,
    sign_in_page,
    tasting_routes,
    uploads,
    warm_up,
)
from ingest import commands, control, logs, service, systemd
from ingest.errors import SettingsError
from ingest.monitoring import Hooks, Outlook
from ingest.service import Service
from ingest.settings import Server, Settings
from ingest.store import Store

Extra = Callable[[Service], AbstractContextManager[Any]]
"""Something that runs beside the service for as long as the server does, such as the demo's devices."""

_HERE = Path(__file__).parent
_EVERYWHERE = frozenset({"0.0.0.0", "::"})  # noqa: S104  only compared, not bound


def run(
    settings: Settings, *, extra: Extra | None = None, holding: Callable[[Store], bool] = lambda _store: False
) -> None:
    """Serve until interrupted; while `holding` is true no batch is judged.

    The service is entered before the web server, so that an error in the cellar is one sentence and not a server's
    traceback; the web server's lifespan says when the pages can be opened. Until it answers, nothing is judged and no
    page is opened beforehand: what both need loads for seconds, and readings come in meanwhile.

    Raises
    ------
    SettingsError
        If the port is taken.
    IngestError
        If the cellar cannot be opened, for example because another server owns it.
    """
    gate = access.Gate(settings.server, access.Passwords(settings.data_dir))
    host, port = gate.host, settings.server.port
    check_port(host, port, what="the dashboard", option="--port", setting="server.port")
    signal.signal(signal.SIGTERM, _stop)
    names = access.names_of(settings.server)
    answers = threading.Event()

    # Streamlit looks for .streamlit/config.toml beside the file that launched it.
    sys.argv = [str(Path(__file__).resolve())]
    # By default the web server believes what programs on this machine say in the name of others; the gate decides that.
    os.environ["FORWARDED_ALLOW_IPS"] = ""
    hooks = Hooks(
        holding=lambda store: not answers.is_set() or holding(store),
        gives_way=context.someone_waits,
        looked_at=_draw_ahead,
    )
    try:
        with ExitStack() as stack:
            running = stack.enter_context(service.running(settings, hooks=hooks))
            context.set_service(running)
            access.set_gate(gate)
            running.store.ask_before_writing(access.refuse_unless_keeper)
            uploads.clear(settings.data_dir)
            stack.callback(uploads.clear, settings.data_dir)
            stack.enter_context(control.serving(settings.data_dir, commands.handlers(running)))
            if extra is not None:
                stack.enter_context(extra(running))
            manifest_scanner.scan_component_manifests = _no_components
            late_requests.let_go()
            app = st.App(
                _HERE / "main.py",
                lifespan=_lifespan(settings, gate, names, answers.set),
                routes=_routes(gate),
                middleware=_layers(names, gate),
                on_script_error=_tell_failure,
            )
            app.run(config=_streamlit_config(settings.server, host))
    except KeyboardInterrupt:
        pass


def _lifespan(
    settings: Settings, gate: access.Gate, names: frozenset[str], answers: Callable[[], None]
) -> Callable[[st.App], AbstractAsyncContextManager[None]]:
    """What runs as long as the web server's loop does; `answers` is called once the server does."""

    @asynccontextmanager
    async def lifespan(_app: st.App) -> AsyncGenerator[None, None]:
        logs.adopt()
        closed_sessions.free_in_time(uploads.forget)
        reached = asyncio.Event()

        def begin() -> None:
            answers()
            reached.set()

        async def open_pages() -> None:
            await reached.wait()
            await warm_up.open_pages()

        beat = heartbeat.beat(gate.host, settings.server.port, begin)
        tasks = [asyncio.create_task(each) for each in (open_pages(), beat)]
        _say_ready(settings, gate, names)
        yield
        systemd.notify(systemd.STOPPING)
        for task in tasks:
            task.cancel()
        print("Stopping …", flush=True)

    return lifespan


def _say_ready(settings: Settings, gate: access.Gate, names: frozenset[str]) -> None:
    """Where it can be opened, once it can."""
    scheme = "http" if settings.server.certificate is None else "https"
    where = f"{scheme}://{_shown(gate.host)}:{settings.server.port}"
    print(f"tunroom {version()} is ready at {where}  (Ctrl-C stops it)", flush=True)
    if gate.host in _EVERYWHERE:
        print(f"It answers to this machine's addresses and to the names {', '.join(sorted(names))}.", flush=True)
    if gate.notice:
        print(gate.notice, flush=True)


def _layers(names: frozenset[str], gate: access.Gate) -> list[Middleware]:
    """What a request passes, in this order: nothing is looked at before we know that it is meant for us, and whose."""
    return [
        Middleware(access.OwnNamesOnly, names=names),
        Middleware(access.SignedInOnly, gate=gate, page=sign_in_page.html),
        Middleware(redirects.LeadHome, known=_paths),
    ]


def _routes(gate: access.Gate) -> list[Route]:
    """What is answered beside the pages."""
    guests = tasting_routes.routes(gate)
    return [Route("/healthz", healthz), *metrics.ROUTES, *calendar_routes.ROUTES, *guests]


def _no_components(max_workers: int | None = None) -> list[Any]:
    """Components of installed packages: we use none, and to look for them Streamlit reads what each says of itself."""
    return []


def _tell_failure(error: Exception) -> bool:
    warm_up.load()
    from dashboard.ui import components  # with all that pages are made of, which is heavy: not before the first one

    return components.on_script_error(error)


def _draw_ahead(outlook: Outlook) -> None:
    warm_up.load()
    from dashboard.queries import queries

    queries.draw_ahead(outlook)


@functools.cache
def _paths() -> frozenset[str]:
    """Every address of one level. The pages are heavy, and not needed before the first request."""
    warm_up.load()
    from dashboard import navigation

    return frozenset({"healthz", "metrics", *navigation.paths()})


async def healthz(_request: Request) -> JSONResponse:
    """The state of the whole process as JSON; status 503 while anything is wrong."""
    service = context.service()
    counts, broker = service.store.counts(), service.subscriber.status()
    problems = service.problems()
    last = counts["last_reading_at"]
    health = {
        "status": "ok" if not problems and broker.connected else "degraded",
        "version": version(),
        "readings": counts["readings"],
        "last_reading_at": last.isoformat() if last else None,
        "broker_connected": broker.connected,
        "queued": broker.queued,
        "problems": problems,
    }
    return JSONResponse(health, status_code=200 if health["status"] == "ok" else 503)


def check_port(host: str, port: int, *, what: str, option: str, setting: str) -> None:
    """Raise `SettingsError` if something already listens there."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        if sys.platform != "win32":  # there it would let two programs share the port
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise SettingsError(
                where=setting,
                problem=f"port {port} on {host}, meant for {what}, cannot be used ({error.strerror})",
                remedy=f"Stop the program that holds it, or choose another with {option} NUMBER",
            ) from None


def _stop(_signal: int, _frame: object) -> None:
    raise KeyboardInterrupt


def _shown(host: str) -> str:
    if host in _EVERYWHERE or host == "127.0.0.1":
        return "localhost"
    return f"[{host}]" if ":" in host else host


def _streamlit_config(server: Server, host: str) -> dict[str, Any]:
    return {
        "server.address": host,
        "server.port": server.port,
        "server.sslCertFile": None if server.certificate is None else str(server.certificate),
        "server.sslKeyFile": None if server.key is None else str(server.key),
        "server.headless": True,
        # Its watcher reloads modules and would lose the open store.
        "server.fileWatcherType": "none",
        "server.runOnSave": False,
        "server.maxUploadSize": 500,
        "browser.gatherUsageStats": False,
        # Its greeting asks an outside service for this machine's address; ours says where we are.
        "logger.hideWelcomeMessage": True,
        # `access` decides whose pages may speak with us; no settings file of Streamlit's opens that again.
        "server.enableCORS": True,
        "server.corsAllowedOrigins": [],
        "server.enableXsrfProtection": True,
        # By default pages of Streamlit's own hosting that show us in a frame could steer us with messages.
        "client.allowedOrigins": [],
        "client.showErrorDetails": "none",
        "global.developmentMode": False,
    }
