"""A real server, asked as a hostile page would ask it: by another name, and from another page."""

from __future__ import annotations

import base64
import os
import socket
from collections.abc import Callable, Iterator

import pytest

from dashboard.access.gate import COOKIE
from dashboard.access.passwords import Passwords
from dashboard.access.sessions import Sessions
from tests.conftest import need_chromium
from tests.system import watched
from tests.system.serving import Server, browser

STREAM = "/_stcore/stream"
SIGNED_IN = ""
"""The cookie of somebody who belongs: what is asked here is asked besides that."""
PATHS = ("/", "/batch", "/healthz", "/feed/guess/cellar.ics", "/_stcore/health", "/_stcore/host-config", "/media/x.csv")


def ask(port: int, path: str, *lines: str, method: str = "GET", version: str = "1.1") -> tuple[int, str]:
    """Send a request with these header lines and the cookie of a session; the status and all that came."""
    signed = (f"Cookie: {COOKIE}={SIGNED_IN}",)
    with socket.create_connection(("127.0.0.1", port), timeout=20) as line:
        line.sendall(
            "\r\n".join((f"{method} {path} HTTP/{version}", *lines, *signed, "Connection: close", "", "")).encode(
                "latin-1"
            )
        )
        came = b""
        while part := line.recv(65536):
            came += part
    text = came.decode("latin-1")
    return int(text.split(" ", 2)[1]), text


def handshake(port: int, host: str, origin: str | None = None, *more: str) -> int:
    """Open the websocket (RFC 6455, section 4.1); the status: 101 where it is open."""
    key = base64.b64encode(os.urandom(16)).decode()
    lines = [f"GET {STREAM} HTTP/1.1", f"Host: {host}", "Upgrade: websocket", "Connection: Upgrade"]
    lines += [f"Sec-WebSocket-Key: {key}", "Sec-WebSocket-Version: 13", "Sec-WebSocket-Protocol: streamlit", *more]
    lines += [f"Cookie: {COOKIE}={SIGNED_IN}"]
    lines += [] if origin is None else [f"Origin: {origin}"]
    with socket.create_connection(("127.0.0.1", port), timeout=20) as line:
        line.sendall("\r\n".join((*lines, "", "")).encode("latin-1"))
        came = b""
        while b"\r\n" not in came and (part := line.recv(4096)):
            came += part
    return int(came.split(b" ", 2)[1])


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """On every interface, by a name of the settings, and watched for what it asks of others."""
    folder = tmp_path_factory.mktemp("named")
    (folder / "t.toml").write_text('[server]\nhost = "0.0.0.0"\nhosts = ["tun.example"]\n')
    # What the user has set there for other programs of Streamlit's opens nothing here.
    (folder / ".streamlit").mkdir()
    (folder / ".streamlit" / "config.toml").write_text("[server]\nenableCORS = false\nenableXsrfProtection = false\n")
    served = Server(folder, "serve", "--config", str(folder / "t.toml"), module=watched.__name__)
    passwords = Passwords(served.data)
    passwords.set("keep", "copper kettle lantern")
    global SIGNED_IN
    SIGNED_IN = Sessions(passwords).open("keep")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HOME", str(folder))
        served.start()
    yield served
    served.kill()


@pytest.fixture
def port(server: Server, wait_until: Callable[..., None]) -> int:
    wait_until(lambda: server.health().get("broker_connected"), 90, "the server")
    return server.port


def test_it_answers_to_its_names_and_addresses(port: int) -> None:
    machine = socket.gethostname().partition(".")[0]
    for name in (
        "127.0.0.1",
        "localhost",
        "192.0.2.7",
        "[::1]",
        "tun.example",
        "TUN.example",
        machine,
        f"{machine}.local",
    ):
        assert ask(port, "/_stcore/health", f"Host: {name}:{port}")[0] == 200
        assert handshake(port, f"{name}:{port}", f"http://{name}:{port}") == 101
        assert handshake(port, name, f"https://{name}") == 101  # as a proxy that speaks TLS hands it on


@pytest.mark.parametrize("path", PATHS)
def test_nothing_at_all_is_answered_by_another_name(port: int, path: str) -> None:
    status, text = ask(port, path, f"Host: evil.example:{port}")
    assert status == 421
    assert "text/plain" in text
    assert 'hosts = ["evil.example"] under [server]' in text
    assert ask(port, path, "Host: localhost:x")[0] == 400
    assert ask(port, path, "Host: localhost", "Host: localhost")[0] == 400
    assert ask(port, path, version="1.0")[0] == 400


def test_a_page_whose_name_was_pointed_at_us_cannot_open_the_websocket(port: int) -> None:
    assert handshake(port, f"evil.example:{port}", f"http://evil.example:{port}") == 403
    assert handshake(port, f"evil.localhost:{port}", f"http://evil.localhost:{port}") == 403
    assert handshake(port, f"evil.example:{port}") == 403


@pytest.mark.parametrize(
    "origin",
    [
        "http://evil.example",
        "http://localhost:3000",
        "http://localhost",
        "http://127.0.0.1:{port}",
        "http://0.0.0.0:{port}",
        "https://tun.example",
        "http://\xe9.example",
        "null",
    ],
)
def test_a_page_of_another_origin_cannot_open_the_websocket(port: int, origin: str) -> None:
    assert handshake(port, f"localhost:{port}", origin.format(port=port)) == 403


def test_the_dashboards_own_pages_and_programs_can(port: int) -> None:
    assert handshake(port, f"localhost:{port}", f"http://localhost:{port}") == 101
    assert handshake(port, f"localhost:{port}") == 101
    assert handshake(port, f"localhost:{port}", None, "Sec-Fetch-Site: cross-site") == 403


@pytest.mark.parametrize("path", ["/_stcore/upload_file/a/b", "/", "/healthz"])
@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
def test_a_page_of_another_origin_changes_nothing(port: int, path: str, method: str) -> None:
    host = f"Host: localhost:{port}"
    for origin in ("http://evil.example", "http://localhost:3000", "null"):
        status, text = ask(port, path, host, f"Origin: {origin}", "Content-Length: 0", method=method)
        assert (status, "only the dashboard's own pages may do that" in text) == (403, True)
    ours = ask(port, path, host, f"Origin: http://localhost:{port}", "Content-Length: 0", method=method)
    assert "only the dashboard's own pages" not in ours[1]


def test_another_page_is_never_told_that_it_may_read(port: int) -> None:
    for path in PATHS:
        _, text = ask(port, path, f"Host: localhost:{port}", "Origin: http://localhost:3000")
        assert "access-control-allow-origin" not in text.lower()


def test_the_log_says_once_who_was_refused_and_takes_no_orders(port: int, server: Server) -> None:
    for _ in range(20):
        ask(port, "/", "Host: noisy.example")
        ask(port, "/", "Host: \x1b[2Jred\xe9")
    assert server.log.count("noisy.example") == 1
    assert server.log.count("[2Jred") == 1
    assert "\x1b[2Jred" not in server.log


@pytest.mark.chromium
def test_pages_work_by_the_name_of_the_settings_and_ask_nobody_else(port: int, server: Server) -> None:
    asked: set[str] = set()
    name = f"tun.example:{port}"
    with browser(need_chromium(), "--host-resolver-rules=MAP *.example 127.0.0.1") as page:
        page.on("request", lambda request: asked.add(request.url))
        page.on("websocket", lambda opened: asked.add(opened.url))
        page.context.add_cookies([{"name": COOKIE, "value": SIGNED_IN, "url": f"http://{name}/"}])
        page.goto(f"http://{name}/")
        page.locator(".cellar").wait_for(timeout=60_000)
        page.goto(f"http://{name}/set-up")
        page.locator(".cellar").wait_for(timeout=60_000)
        assert f"ws://{name}{STREAM}" in asked
        others = {url for url in asked if not url.startswith((f"http://{name}/", f"ws://{name}/", "data:", "blob:"))}
        assert others == set()
        # The same page by a name that is not ours, as after DNS rebinding.
        page.goto(f"http://evil.example:{port}/")
        assert "does not answer to the name" in page.inner_text("body")


def test_nobody_outside_is_asked_for_anything(port: int, server: Server) -> None:
    """Neither at the start on every interface nor for refused websockets."""
    for origin in ("http://evil.example", "http://localhost:3000", f"https://localhost:{port}"):
        handshake(port, f"localhost:{port}", origin)
    handshake(port, "localhost", "https://localhost:443")
    assert watched.MARK not in server.log
    assert "Welcome" not in server.log
    assert "External URL" not in server.log


def test_the_watch_would_hear_a_look_up_and_a_connection(capfd: pytest.CaptureFixture[str]) -> None:
    for event, arguments in (
        ("socket.getaddrinfo", ("service.example", 80, 0, 0, 0)),
        ("socket.connect", (None, ("192.0.2.1", 80))),
        ("socket.connect", (None, ("127.0.0.1", 80))),
        ("socket.connect", (None, "/run/a.socket")),
        ("socket.getaddrinfo", (None, 80, 0, 0, 0)),
    ):
        watched.watch(event, arguments)
    assert capfd.readouterr().err.count(watched.MARK) == 2
