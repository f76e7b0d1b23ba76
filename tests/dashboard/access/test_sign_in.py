"""Whoever does not belong is kept out of everything, tried as an attacker would."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

import pytest

from dashboard.access.gate import COOKIE, VISIT_HEADER
from dashboard.access.passwords import Passwords
from dashboard.access.sessions import LASTS_S
from tests.dashboard.access.conftest import KEEP, LOOK, House

Make = Callable[..., House]
EVERYTHING = (
    "/",
    "/today",
    "/batch",
    "/set-up",
    "/_stcore/health",
    "/_stcore/host-config",
    "/_stcore/metrics",
    "/_stcore/upload_file/session/file",
    "/_stcore/agent/interact",
    "/_stcore/agent/openapi.json",
    "/media/0123.csv",
    "/static/js/index.js",
    "/component/x/index.html",
    "/favicon.png",
    "/auth/login",
    "/oauth2callback",
    "/healthz/",
    "//healthz",
    "/healthz/../today",
    "/HEALTHZ",
    "/feed/token/cellar.ics/../../today",
    "/feed/a/b/cellar.ics",
    "/feed/token/cellar.ics\n",
    "/sign-in/x",
    "/sign-out",
    "",
)


@pytest.mark.parametrize("path", EVERYTHING)
def test_without_a_session_nothing_behind_is_reached(house: Make, path: str) -> None:
    here = house()
    for method in ("GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS", "PATCH"):
        answer = here.ask(path, method)
        assert answer.status == (303 if (path, method) == ("/sign-out", "POST") else 401)
        assert here.reached == []


def test_without_a_session_no_websocket_opens(house: Make) -> None:
    here = house()
    assert not here.handshake()
    for forged in ("keep", "", "x" * 300, f"keep.9999999999.{'A' * 22}.{'A' * 43}"):
        assert not here.handshake(forged)
    for header in (b"x-remote-user", b"x-tunroom-visit", b"authorization"):
        assert not here.handshake(headers=[(header, b"keep")])


def test_health_and_feeds_stay_open_for_reading_alone(house: Make) -> None:
    here = house()
    for path in ("/healthz", "/feed/some-token/cellar.ics"):
        assert here.ask(path).status == 200
        assert here.ask(path, "HEAD").status == 200
        assert here.ask(path, "POST").status == 401


def test_a_person_is_led_to_the_form_and_on_to_the_page_that_was_asked_for(house: Make) -> None:
    here = house()
    page = [(b"accept", b"text/html,*/*")]
    led = here.ask("/batch", headers=page, query="id=batch-1")
    assert (led.status, led.header("location")) == (303, "./sign-in?next=batch%3Fid%3Dbatch-1")
    form = here.ask("/sign-in", query="next=batch%3Fid%3Dbatch-1")
    assert (form.status, form.text) == (200, "form  next=batch?id=batch-1")
    assert form.header("cache-control") == "no-store"
    assert "frame-ancestors 'none'" in form.header("content-security-policy")
    done = here.sign_in(KEEP, fields={"next": "batch?id=batch-1"})
    assert (done.status, done.header("location")) == (303, "./batch?id=batch-1")
    assert here.ask("/batch", cookie=done.cookie).text == "inside"
    assert here.handshake(done.cookie)


@pytest.mark.parametrize(
    "elsewhere",
    ["//evil.example", "https://evil.example", "/\\evil.example", "..//evil.example", "javascript:alert(1)",
     "a\r\nX: y", "sign-out", "batch?x=//evil\n", "@evil.example", "today#x", "x" * 500],
)  # fmt: skip
def test_nobody_is_led_to_another_place(house: Make, elsewhere: str) -> None:
    here = house()
    assert here.sign_in(KEEP, fields={"next": elsewhere}).header("location") == "./"
    assert here.ask("/sign-in", query=f"next={elsewhere}").text == "form  next="


def test_the_cookie_is_kept_from_scripts_other_sites_and_plain_lines(house: Make) -> None:
    here = house()
    told = here.sign_in(KEEP).header("set-cookie")
    # RFC 6265, section 4.1.2, and the SameSite of its successor's draft.
    assert told.endswith(f"; Max-Age={LASTS_S}; HttpOnly; SameSite=Lax")
    assert "path" not in told.lower()
    assert "domain" not in told.lower()
    assert here.sign_in(KEEP, scheme="https").header("set-cookie").endswith("; Secure")
    assert here.sign_in(KEEP, headers=[(b"origin", b"https://tun.example")]).header("set-cookie").endswith("; Secure")
    assert not here.sign_in(KEEP, headers=[(b"x-forwarded-proto", b"https")]).header("set-cookie").endswith("Secure")


def test_an_altered_cookie_is_none(house: Make) -> None:
    here = house()
    good = here.sign_in(LOOK).cookie
    role, until, name, mac = good.split(".")
    for altered in (
        ".".join(("keep", until, name, mac)),
        ".".join((role, str(int(until) + 1), name, mac)),
        ".".join((role, until, name[:-1] + ("A" if name[-1] != "A" else "B"), mac)),
        ".".join((role, until, name, mac[:-4] + "AAAA")),
        ".".join((role, until, name)),
        good + ".",
        good + "=",
        good.upper(),
        good.replace(until, "٣" * len(until)).encode("utf-8").decode("latin-1"),
    ):
        assert here.ask(cookie=altered).status == 401, altered
        assert not here.handshake(altered)
    assert here.ask(cookie=good).status == 200


def test_a_session_ends_by_time(house: Make) -> None:
    here = house()
    cookie = here.sign_in(KEEP).cookie
    here.wall += LASTS_S - 1
    assert here.ask(cookie=cookie).status == 200
    here.wall += 2
    assert here.ask(cookie=cookie).status == 401
    assert not here.handshake(cookie)


def test_a_cookie_counts_no_more_after_signing_out_nor_after_a_restart(house: Make) -> None:
    here = house()
    cookie, other = here.sign_in(KEEP).cookie, here.sign_in(KEEP).cookie
    out = here.ask("/sign-out", "POST", cookie=cookie)
    assert (out.status, out.header("location")) == (303, "./sign-in")
    assert out.header("set-cookie").startswith(f"{COOKIE}=; Max-Age=0")
    assert here.ask(cookie=cookie).status == 401
    assert here.ask(cookie=other).status == 200
    here.open()
    assert here.ask(cookie=cookie).status == 401
    assert here.ask(cookie=other).status == 200
    assert here.ask("/sign-out", cookie=other).text == "inside"  # a link or picture cannot sign anybody out
    assert here.ask(cookie=other).status == 200


def test_a_new_password_of_either_role_ends_every_session(house: Make) -> None:
    here = house()
    keep, look = here.sign_in(KEEP).cookie, here.sign_in(LOOK).cookie
    Passwords(here.passwords.path.parent).set("look", "another window please")  # as the command does
    for cookie in (keep, look):
        assert here.ask(cookie=cookie).status == 401
        assert not here.handshake(cookie)
    assert here.sign_in(LOOK).status == 403
    assert here.sign_in(KEEP).status == 303


def test_a_look_session_reads_and_sends_nothing(house: Make) -> None:
    here = house()
    cookie = here.sign_in(LOOK).cookie
    assert here.ask("/today", cookie=cookie).status == 200
    assert here.handshake(cookie)
    for method in ("POST", "PUT", "DELETE", "PATCH", "OPTIONS"):
        answer = here.ask("/_stcore/upload_file/a/b", method, cookie=cookie)
        assert (answer.status, answer.text) == (403, "This session may look, not change anything.\n")
    assert here.ask("/_stcore/upload_file/a/b", "PUT", cookie=here.sign_in(KEEP).cookie).status == 200


def test_no_cache_on_the_way_keeps_for_others_what_was_shown_to_one(house: Make) -> None:
    here = house()
    cookie = here.sign_in(KEEP).cookie
    assert here.ask("/media/0123.csv", cookie=cookie).header("cache-control") == "private"
    here.caching = b"public, immutable, max-age=31536000"
    assert here.ask("/static/x.js", cookie=cookie).header("cache-control") == "private, immutable, max-age=31536000"


def test_signing_in_anew_ends_the_session_before(house: Make) -> None:
    here = house()
    look = here.sign_in(LOOK).cookie
    keep = here.sign_in(KEEP, cookie=look).cookie
    assert here.ask(cookie=look).status == 401
    assert here.ask("/x", "POST", cookie=keep).status == 200


def test_tries_are_slowed_for_one_address_and_for_all(house: Make) -> None:
    here = house()
    statuses = [here.sign_in("wrong", peer="192.0.2.1").status for _ in range(5)]
    assert statuses == [403, 403, 403, 403, 429]
    right_but_early = here.sign_in(KEEP, peer="192.0.2.1")
    assert right_but_early.status == 429
    assert int(right_but_early.header("retry-after")) >= 1
    assert here.sign_in(KEEP, peer="192.0.2.2").status == 303
    here.clock += 3
    assert here.sign_in(KEEP, peer="192.0.2.1").status == 303


def test_what_is_no_form_is_refused_without_hashing(house: Make) -> None:
    here = house()
    assert here.ask("/sign-in", "POST").status == 400
    assert here.sign_in("x" * 5000).status == 400
    json = [(b"content-type", b"application/json")]
    assert here.ask("/sign-in", "POST", headers=json).status == 400


def test_while_no_password_is_set_whoever_is_here_may_do_everything(house: Make) -> None:
    here = house(locked=False)
    assert here.gate.host == "127.0.0.1"
    assert here.ask("/x", "POST", peer="127.0.0.1").status == 200
    assert here.handshake(peer="127.0.0.1")
    assert here.ask("/sign-in", peer="127.0.0.1").header("location") == "./"
    here.passwords.set("keep", KEEP)
    assert here.ask("/x", peer="127.0.0.1").status == 401  # from this moment on


@pytest.mark.parametrize("header", [b"x-forwarded-for", b"forwarded", b"x-real-ip", b"via"])
def test_without_a_password_nobody_comes_in_through_a_proxy(house: Make, header: bytes) -> None:
    here = house(locked=False)
    answer = here.ask(peer="127.0.0.1", headers=[(header, b"192.0.2.9")])
    assert (answer.status, "tunroom password" in answer.text) == (403, True)
    assert not here.handshake(peer="127.0.0.1", headers=[(header, b"192.0.2.9")])


def test_a_password_that_goes_away_while_it_listens_lets_nobody_in(house: Make) -> None:
    here = house(host="0.0.0.0")
    assert here.gate.host == "0.0.0.0"
    cookie = here.sign_in(KEEP).cookie
    kept = here.passwords.path.read_text()
    here.passwords.path.unlink()
    assert here.ask(cookie=cookie).status == 403
    assert here.ask(peer="127.0.0.1").status == 403
    assert here.ask("/sign-in").status == 403
    for broken in ("", "{}", "[]", '{"passwords": {}, "session_key": ""}', kept[:-20], kept.replace("keep", "kept")):
        here.passwords.path.write_text(broken)
        assert here.ask(cookie=cookie).status == 403
        assert here.ask("/sign-in").status == 403
        assert here.sign_in(KEEP).status == 403
        assert not here.handshake(cookie)
        assert str(here.passwords.path) not in here.ask(cookie=cookie).text


def test_a_damaged_file_at_the_start_keeps_readings_coming_and_everybody_out(house: Make, tmp_path) -> None:
    (tmp_path / "passwords.json").write_text("{")
    here = house(locked=False, host="0.0.0.0")
    assert here.gate.host == "127.0.0.1"
    assert "set the password anew" in here.gate.notice
    assert here.ask(peer="127.0.0.1").status == 403
    here.passwords.path.unlink()
    here.passwords.set("keep", KEEP)
    assert here.ask(peer="127.0.0.1").status == 401


def test_an_old_password_that_is_being_looked_at_while_it_is_replaced_lets_nobody_in(house: Make, monkeypatch) -> None:
    here = house()
    looked_at = here.passwords.role_of

    def slowly(password: str) -> Any:
        role = looked_at(password)
        Passwords(here.passwords.path.parent).renew_key()
        return role

    monkeypatch.setattr(here.passwords, "role_of", slowly)
    assert here.sign_in(KEEP).status == 403


class Talk:
    """An open websocket with an app behind that counts what it hears and says one thing for each."""

    def __init__(self, here: House, cookie: str) -> None:
        self.heard: list[Any] = []
        self.sent: list[Any] = []
        self.incoming: asyncio.Queue[Any] = asyncio.Queue()
        self.seen: list[Any] = []
        here.layer._app = self._app
        headers = [(b"cookie", f"{COOKIE}={cookie}".encode()), (VISIT_HEADER.encode(), b"forged")]
        scope = {"type": "websocket", "path": "/_stcore/stream", "headers": headers, "client": ("192.0.2.7", 1)}
        self.running = asyncio.ensure_future(here.layer(scope, self.incoming.get, self._send))

    async def _send(self, message: Any) -> None:
        self.sent.append(message["type"])

    async def _app(self, scope: Any, receive: Any, send: Any) -> None:
        self.seen = [value for name, value in scope["headers"] if name == VISIT_HEADER.encode()]
        await send({"type": "websocket.accept"})
        while (message := await receive())["type"] == "websocket.receive":
            self.heard.append(message)
            await send({"type": "websocket.send", "bytes": b"page"})


@pytest.mark.parametrize("how", ["sign out", "new password", "time", "file gone"])
def test_an_open_websocket_closes_when_its_session_ends_and_nothing_more_passes(house: Make, how: str) -> None:
    here = house()
    cookie = here.sign_in(KEEP).cookie

    async def talk() -> None:
        line = Talk(here, cookie)
        line.incoming.put_nowait({"type": "websocket.receive", "bytes": b"1"})
        await asyncio.sleep(0.05)
        assert line.sent == ["websocket.accept", "websocket.send"]
        [name] = line.seen
        visit = here.gate.visit(name.decode())
        assert visit is not None
        assert visit.role == "keep"
        match how:
            case "sign out":
                [(_, session)] = here.gate.sessions_of({"headers": [(b"cookie", f"{COOKIE}={cookie}".encode())]})
                here.gate.sessions.end(session)
            case "new password":
                here.passwords.renew_key()
            case "time":
                here.wall += LASTS_S + 1
            case _:
                here.passwords.path.unlink()
        assert here.gate.visit(name.decode()) is None  # at once
        line.incoming.put_nowait({"type": "websocket.receive", "bytes": b"2"})
        await asyncio.wait_for(line.running, 5)
        assert len(line.heard) == 1
        assert line.sent.count("websocket.send") == 1

    asyncio.run(talk())


def test_an_idle_websocket_is_closed_by_itself(house: Make) -> None:
    here = house()
    cookie = here.sign_in(LOOK).cookie

    async def talk() -> list[Any]:
        line = Talk(here, cookie)
        await asyncio.sleep(0.05)
        here.passwords.renew_key()
        await asyncio.wait_for(line.running, 5)
        return line.sent

    assert asyncio.run(talk()) == ["websocket.accept", "websocket.close"]


# --- a proxy's word


def named(name: str) -> list[tuple[bytes, bytes]]:
    return [(b"x-remote-user", name.encode())]


def test_a_proxys_word_counts_from_its_own_address_alone(house: Make) -> None:
    here = house(locked=False, host="0.0.0.0", trusted_proxy=("192.0.2.1", "198.51.100.0/24"),
                 user_header="X-Remote-User", keepers=("ann",))  # fmt: skip
    assert here.gate.host == "0.0.0.0"
    for proxy in ("192.0.2.1", "198.51.100.9", "::ffff:192.0.2.1"):
        assert here.ask("/x", "POST", peer=proxy, headers=named("ann")).status == 200
        assert here.ask("/x", peer=proxy, headers=named("bob")).status == 200
        assert here.ask("/x", "POST", peer=proxy, headers=named("bob")).status == 403  # only looks
        assert here.handshake(peer=proxy, headers=named("bob"))
    for other in ("192.0.2.2", "127.0.0.1", "", None):
        assert here.ask(peer=other, headers=named("ann")).status == 403
    assert not here.handshake(peer="192.0.2.2", headers=named("ann"))
    for unclear in ([], named(""), named(" "), named("ann") * 2, [*named("ann"), (b"X-Remote-User", b"bob")]):
        assert here.ask(peer="192.0.2.1", headers=unclear).status == 403


def test_a_header_of_somebody_else_is_taken_away(house: Make) -> None:
    here = house(trusted_proxy=("192.0.2.1",), user_header="X-Remote-User")
    cookie = here.sign_in(KEEP).cookie
    here.ask(cookie=cookie, headers=[*named("ann"), (b"X-Tunroom-Visit", b"a")])
    assert not {b"x-remote-user", b"x-tunroom-visit"} & {name.lower() for name, _ in here.reached[0]["headers"]}


def test_tries_through_a_trusted_proxy_count_for_whom_it_asks(house: Make) -> None:
    here = house(trusted_proxy=("192.0.2.1",))

    def through(seen: bytes) -> int:
        headers = [(b"x-forwarded-for", seen), (b"x-forwarded-proto", b"https")]
        return here.sign_in("wrong", peer="192.0.2.1", headers=headers).status

    # What a client says of itself comes first; what the proxy saw comes last.
    assert [through(b"10.0.0.%d, 203.0.113.5" % n) for n in range(5)] == [403] * 4 + [429]
    assert through(b"203.0.113.5, 203.0.113.6") == 403
    # The same header from elsewhere is nobody's word.
    for n in range(4):
        here.sign_in("wrong", peer="203.0.113.77", headers=[(b"x-forwarded-for", b"10.1.0.%d" % n)])
    assert here.sign_in("wrong", peer="203.0.113.77", headers=[(b"x-forwarded-for", b"10.1.0.9")]).status == 429
    headers = [(b"x-forwarded-for", b"203.0.113.9"), (b"x-forwarded-proto", b"https")]
    assert here.sign_in(KEEP, peer="192.0.2.1", headers=headers).header("set-cookie").endswith("; Secure")
