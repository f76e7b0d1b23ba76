"""Signing in as a person does it, in a real browser: at our own address, and through a proxy, in a folder there."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from dashboard.access.gate import COOKIE
from dashboard.access.passwords import Passwords
from ingest.model import BatchRecord, Vessel
from ingest.store.store import Store
from tests.conftest import free_port, need_chromium, need_nginx
from tests.system.serving import Server, browser

pytestmark = pytest.mark.chromium

KEEP, LOOK = "copper kettle lantern", "window only please"
PICTURES = Path(__file__).parents[1] / "screenshots"
expect.set_options(timeout=60_000)

# The example of the manual, without what names files.
NGINX = """\
daemon off; {user} pid {folder}/nginx.pid; error_log {folder}/nginx.log;
events {{}}
http {{
  access_log off; client_body_temp_path {folder}/b; proxy_temp_path {folder}/p; fastcgi_temp_path {folder}/f;
  uwsgi_temp_path {folder}/u; scgi_temp_path {folder}/s;
  server {{
    listen 127.0.0.1:{port};
    location /cellar/ {{
      proxy_pass http://127.0.0.1:{server}/;
      proxy_http_version 1.1;
      proxy_set_header Host $http_host;
      proxy_set_header Upgrade $http_upgrade;
      proxy_set_header Connection "upgrade";
      proxy_set_header X-Forwarded-For $proxy_add_x_forwarded_for;
      proxy_set_header X-Forwarded-Proto $scheme;
      proxy_set_header X-Remote-User "";
      proxy_read_timeout 1d;
    }}
    location /known/ {{
      proxy_pass http://127.0.0.1:{server}/;
      proxy_http_version 1.1;
      proxy_set_header Host $http_host;
      proxy_set_header Upgrade $http_upgrade;
      proxy_set_header Connection "upgrade";
      proxy_set_header X-Remote-User "ann";
    }}
  }}
}}
"""


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    folder = tmp_path_factory.mktemp("signed")
    (folder / "t.toml").write_text('[server]\ntrusted_proxy = ["127.0.0.1"]\nuser_header = "X-Remote-User"\n')
    served = Server(folder, "serve", "--config", str(folder / "t.toml"))
    passwords = Passwords(served.data)
    passwords.set("keep", KEEP)
    passwords.set("look", LOOK)
    with Store.open(served.data) as store:
        vessel = store.save(Vessel(name="Cask one"))
        store.save(
            BatchRecord(
                batch_id="lamp-mild",
                name="Lamp mild",
                vessel_id=vessel.vessel_id,
                pitched_at=datetime.now(UTC),
                drink="ale",
            )
        )
    served.start()
    yield served
    served.kill()


@pytest.fixture
def site(server: Server, wait_until: Callable[..., None]) -> str:
    wait_until(lambda: server.health().get("broker_connected"), 120, "the server")
    return f"http://127.0.0.1:{server.port}"


@pytest.fixture(scope="module")
def proxy(server: Server, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """nginx in front of it; where it answers."""
    program, folder, port = need_nginx(), tmp_path_factory.mktemp("nginx"), free_port()
    user = "user root;" if os.geteuid() == 0 else ""
    conf = folder / "nginx.conf"
    conf.write_text(NGINX.format(folder=folder, port=port, server=server.port, user=user))
    process = subprocess.Popen([program, "-p", str(folder), "-c", str(conf)])
    yield f"http://127.0.0.1:{port}"
    process.terminate()
    process.wait(10)


def sign_in(page: Any, password: str) -> None:
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()


@pytest.mark.parametrize(("width", "dark"), [(1280, False), (390, True)], ids=["desktop", "phone at night"])
def test_the_form_fits_and_says_what_is_wrong(site: str, width: int, dark: bool) -> None:
    with browser(need_chromium(), width=width, height=760, dark=dark) as page:
        page.goto(f"{site}/today")
        assert page.url.endswith("/sign-in?next=today")
        expect(page.get_by_label("Password")).to_be_focused()
        PICTURES.mkdir(exist_ok=True)
        name = f"sign-in{'-phone' if width < 400 else ''}{'-dark' if dark else ''}"
        page.screenshot(path=PICTURES / f"{name}.png")
        if (width, dark) == (390, True):
            sign_in(page, "not the password")
            expect(page.get_by_role("alert")).to_have_text("That is not the password.")
            page.screenshot(path=PICTURES / f"{name}-wrong.png")
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_a_keeper_comes_to_the_page_that_was_asked_for_and_out_again(site: str) -> None:
    with browser(need_chromium()) as page:
        page.goto(f"{site}/set-up?part=vessels")
        sign_in(page, KEEP)
        page.wait_for_url(f"{site}/set-up?part=vessels")
        page.get_by_text("Add a vessel").click()
        page.get_by_label("Name", exact=True).last.fill("Cask two")
        page.get_by_role("button", name="Add the vessel").click()
        page.get_by_text("Cask two is in the cellar.").wait_for()
        PICTURES.mkdir(exist_ok=True)
        page.screenshot(path=PICTURES / "signed-in.png")
        [cookie] = [each for each in page.context.cookies() if each["name"] == COOKIE]
        assert (cookie["httpOnly"], cookie["sameSite"], cookie["path"]) == (True, "Lax", "/")
        page.get_by_role("button", name="Sign out").click()
        page.wait_for_url(f"{site}/sign-in")
        page.context.add_cookies([cookie])  # as somebody who has kept a copy of it
        page.goto(f"{site}/today")
        page.get_by_label("Password").wait_for()


def test_who_looks_sees_everything_and_changes_nothing(site: str, server: Server) -> None:
    with browser(need_chromium(), width=390) as page:
        page.goto(f"{site}/set-up?part=vessels")
        sign_in(page, LOOK)
        page.get_by_text("Cask one").first.wait_for()
        page.get_by_text("You look only.").wait_for()
        page.get_by_text("Add a vessel").click()
        button = page.get_by_role("button", name="Add the vessel")
        expect(button).to_be_disabled()
        page.screenshot(path=PICTURES / "looks-only-phone.png")
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        # What can be pressed is refused where it would be written, in a sentence.
        page.goto(f"{site}/batch?id=lamp-mild")
        page.get_by_role("button", name="Log an event").click()
        page.get_by_text("Nutrient added", exact=True).click()
        page.get_by_text("You have signed in to look, so nothing was changed.").wait_for()
        page.goto(f"{site}/set-up?part=health")
        page.get_by_text("batch Lamp mild in Cask one").first.wait_for()
        assert "event nutrient" not in page.inner_text("body")
        # A new password: what is open closes by itself, and the page asks for it anew.
        closed: list[str] = []
        page.on("websocket", lambda line: line.on("close", lambda: closed.append(line.url)))
        page.goto(f"{site}/yeasts")
        page.get_by_text("You look only.").wait_for()
        Passwords(server.data).renew_key()
        page.get_by_label("Password").wait_for()
        assert closed
        assert page.url == f"{site}/sign-in?next=yeasts"


@pytest.mark.nginx
def test_behind_a_proxy_in_a_folder_everything_is_found(site: str, proxy: str, server: Server) -> None:
    lines: list[str] = []
    with browser(need_chromium()) as page:
        page.on("websocket", lambda line: lines.append(line.url))
        page.goto(f"{proxy}/cellar/set-up?part=vessels")
        sign_in(page, KEEP)
        page.wait_for_url(f"{proxy}/cellar/set-up?part=vessels")
        page.get_by_text("Cask one").first.wait_for()
        assert lines[-1] == f"{proxy.replace('http', 'ws')}/cellar/_stcore/stream"
        [cookie] = [each for each in page.context.cookies() if each["name"] == COOKIE]
        assert cookie["path"] == "/cellar"
        page.get_by_role("link", name="Sensors").click()
        page.wait_for_url(f"{proxy}/cellar/sensors")
        page.goto(f"{proxy}/cellar/nowhere")
        page.get_by_text("There is no page called “nowhere” here.").wait_for()
        page.goto(f"{proxy}/cellar/set-up?part=word")
        page.get_by_role("button", name="Make the address of the calendar").click()
        address = page.locator("pre.copy code").first.inner_text()
        assert address.startswith(f"{proxy}/cellar/feed/")
        page.get_by_role("button", name="Sign out").click()
        page.wait_for_url(f"{proxy}/cellar/sign-in")
        assert page.request.get(address).status == 200
        assert page.request.get(f"{proxy}/cellar/_stcore/health").status == 401
        # Whom the proxy has let in by itself needs no password, and only looks unless the settings say otherwise.
        page.goto(f"{proxy}/known/set-up?part=vessels")
        page.get_by_text("Cask one").first.wait_for()
        page.get_by_text("Add a vessel").click()
        expect(page.get_by_role("button", name="Add the vessel")).to_be_disabled()
        # Its header from anybody else says nothing: here it goes through the part of the proxy that takes it away.
        forged = page.request.get(f"{proxy}/cellar/_stcore/health", headers={"X-Remote-User": "ann"})
        assert forged.status == 401
