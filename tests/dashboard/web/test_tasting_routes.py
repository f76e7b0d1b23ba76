"""A taster's page: no sign-in, no script, codes and nothing else, and nobody guesses its address."""

from __future__ import annotations

import asyncio
import json
import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.types import Message, Scope

from dashboard import access, context
from dashboard.queries import tastings
from dashboard.web import tasting_routes
from ingest.settings import Server
from ingest.tastings import TastingAnswer

NAMES = ("Quince saison", "Larch pale", "Mirabelle bitter")
SECRETS = ("Quince", "Larch", "Mirabelle", "bjorn-batch", "The great hop question")


def draft(**more) -> tastings.Draft:
    arms = tuple((name, ((f"bjorn-batch-{n}", 1.0),)) for n, name in enumerate(NAMES))
    given = {
        "name": "The great hop question",
        "method": "score",
        "arms": arms,
        "tasters": ("Ana", "Ben", "Cleo"),
        "allergens": ("cereals containing gluten",),
        "sulfites": "added",
    }
    return tastings.Draft(**{**given, **more})


class Answer:
    """What came back."""

    def __init__(self, sent: list[Message]) -> None:
        self.status_code: int = sent[0]["status"]
        self.headers = {name.decode().lower(): value.decode() for name, value in sent[0]["headers"]}
        self.text = b"".join(m.get("body", b"") for m in sent[1:]).decode()


class Client:
    """Asks an app as one phone would."""

    def __init__(self, app: Any) -> None:
        self._app = app

    def get(self, path: str) -> Answer:
        return self.request("GET", path)

    def post(self, path: str, data: dict[str, Any] | None = None, **more: Any) -> Answer:
        kind, body = "application/x-www-form-urlencoded", urlencode(data or {}, doseq=True)
        if "json" in more:
            kind, body = "application/json", json.dumps(more["json"])
        return self.request("POST", path, body, {"Content-Type": kind, **more.get("headers", {})})

    def request(self, method: str, path: str, body: str = "", headers: dict[str, str] | None = None) -> Answer:
        sent: list[Message] = []
        pairs = {"host": "testserver", **(headers or {})}
        scope: Scope = {
            "type": "http",
            "method": method,
            "path": path,
            "raw_path": path.encode(),
            "query_string": b"",
            "scheme": "http",
            "server": ("testserver", 80),
            "client": ("192.0.2.7", 50000),
            "headers": [(name.lower().encode(), value.encode()) for name, value in pairs.items()],
        }

        async def receive() -> Message:
            return {"type": "http.request", "body": body.encode(), "more_body": False}

        async def send(message: Message) -> None:
            sent.append(message)

        asyncio.run(self._app(scope, receive, send))
        return Answer(sent)


@pytest.fixture
def client(service, tmp_path: Path):
    """The real layers in front of the tasters' routes, with a password set, asked by nobody who has signed in."""
    passwords = access.Passwords(tmp_path)
    passwords.set("keep", "copper kettle lantern")
    gate = access.Gate(Server(), passwords)
    layers = [
        Middleware(access.OwnNamesOnly, names=frozenset({"testserver"})),
        Middleware(access.SignedInOnly, gate=gate, page=lambda _trouble, _towards: "sign in"),
    ]
    app = Starlette(routes=tasting_routes.routes(gate), middleware=layers)
    return Client(app)


@pytest.fixture
def made(service):
    return tastings.make(service.store, draft())


def people(store, made):
    return {taster.name: taster for taster in tastings.tasters_of(store, made)}


def address(taster, page: int | None = None) -> str:
    return tasting_routes.path_of(taster.token) + ("" if page is None else f"/{page}")


def taste(client, taster, scores) -> None:
    """Judge every glass, then be done."""
    for n, score in enumerate(scores, start=1):
        kept = client.post(address(taster, n), data={"score": str(score), "keep": "1"})
        assert kept.status_code == 303
    assert client.post(address(taster), data={"finish": "1"}).status_code == 303


def test_it_opens_without_signing_in_and_tells_codes_and_cautions_only(client, service, made):
    ana = people(service.store, made)["Ana"]
    first = client.get(address(ana))
    assert first.status_code == 200
    assert "cereals containing gluten" in first.text
    assert "Sulfites were added." in first.text
    assert "alcohol" in first.text
    for page in [first, *(client.get(address(ana, n)) for n in (1, 2, 3))]:
        told = f"{page.text} {page.headers}"
        assert not [secret for secret in SECRETS if secret in told]
        assert made.tasting_id not in told
        assert "<script" not in page.text
        assert page.headers["cache-control"] == "no-store"
        assert "default-src 'none'" in page.headers["content-security-policy"]
    numbers = set(re.findall(r"\b\d{3}\b", re.sub(r"<style>.*</style>", "", first.text, flags=re.S)))
    codes = {code for code, _ in made.glasses}
    assert codes <= numbers <= codes | {"100"}  # the scale ends at 100


def test_nothing_said_of_allergens_is_said_so(client, service):
    one = tastings.make(service.store, draft(allergens=(), sulfites="not known"))
    text = client.get(address(people(service.store, one)["Ana"])).text
    assert "Nobody has said which allergens" in text
    assert "is not known" in text


def test_what_was_kept_survives_a_reload_and_can_be_changed(client, service, made):
    ana = people(service.store, made)["Ana"]
    sent = {"score": "71,5", "aroma": ["pear", "honey"], "more": "Wet Slate, plum", "note": "<b>dry</b>", "keep": "1"}
    kept = client.post(address(ana, 1), data=sent)
    assert (kept.status_code, kept.headers["location"]) == (303, "./2")
    again = client.get(address(ana, 1)).text
    assert 'value="71.5"' in again
    assert "&lt;b&gt;dry&lt;/b&gt;" in again
    assert "<b>dry" not in again
    assert len(re.findall(r"checked", again)) == 4
    client.post(address(ana, 1), data={"pass": "1"})
    [answer] = service.store.all(TastingAnswer)
    assert answer.passed
    assert answer.score is None
    assert client.get(address(ana)).text.count(">kept<") == 1


@pytest.mark.parametrize("score", ["", "101", "-1", "many", "nan", "1e999"])
def test_a_score_that_is_none_is_refused_and_what_was_typed_stays(client, service, made, score):
    ana = people(service.store, made)["Ana"]
    refused = client.post(address(ana, 2), data={"score": score, "note": "keep me", "keep": "1"})
    assert refused.status_code == 400
    assert 'role="alert"' in refused.text
    assert "keep me" in refused.text
    assert not service.store.all(TastingAnswer)


def test_nobody_sees_what_another_said_also_not_by_the_words_they_added(client, service, made):
    who = people(service.store, made)
    client.post(
        address(who["Ana"], 1), data={"score": "93.25", "more": "old rope", "note": "my secret note", "keep": "1"}
    )
    for page in (None, 1, 2, 3):
        text = client.get(address(who["Ben"], page)).text
        assert "93.25" not in text
        assert "old rope" not in text
        assert "my secret note" not in text
        assert "Ana" not in text
        assert who["Ana"].token not in text
    assert "old rope" in client.get(address(who["Ana"], 2)).text  # one's own words are there at once
    tastings.end(service.store, made)
    later = tastings.make(service.store, draft())
    assert "old rope" in client.get(address(people(service.store, later)["Ben"], 1)).text  # the cellar's list has grown


def test_an_address_cannot_be_guessed_and_guessing_gets_slower(client, service, made):
    ana = people(service.store, made)["Ana"]
    near = ana.token[:-1] + ("A" if ana.token[-1] != "A" else "B")
    answers = [client.get(f"/taste/{near}") for _ in range(4)]
    assert {a.status_code for a in answers} == {404}
    assert len({a.text for a in answers} | {client.get("/taste/" + "x" * 22).text}) <= 2
    slowed = client.get(f"/taste/{near}")
    assert slowed.status_code == 429
    assert int(slowed.headers["retry-after"]) >= 1
    assert client.get(address(ana)).status_code == 429  # not even a right one would tell that it is right


def test_other_addresses_still_ask_for_a_sign_in(client, service, made):
    ana = people(service.store, made)["Ana"]
    for path in ("/taste/short", f"/taste/{ana.token}/1/2", f"/taste/{ana.token}.txt", "/tasting"):
        assert client.get(path).status_code in {401, 303}
    assert client.request("DELETE", address(ana)).status_code == 401


def test_a_page_of_another_address_cannot_send_the_form(client, service, made):
    ana = people(service.store, made)["Ana"]
    sent = client.post(
        address(ana, 1), data={"score": "1", "keep": "1"}, headers={"Origin": "http://elsewhere.example"}
    )
    assert sent.status_code == 403
    assert not service.store.all(TastingAnswer)


def test_what_is_too_much_is_not_taken_in(client, service, made):
    ana = people(service.store, made)["Ana"]
    long = client.post(address(ana, 1), data={"score": "50", "note": "x" * 20_000, "keep": "1"})
    assert long.status_code == 400
    assert client.post(address(ana, 1), json={"score": "50"}).status_code == 400
    note = client.post(address(ana, 1), data={"score": "50", "note": "x" * 501, "keep": "1"})
    assert note.status_code == 400
    assert not service.store.all(TastingAnswer)


def test_done_is_done_and_the_end_closes_every_address(client, service, made):
    who = people(service.store, made)
    refused = client.post(address(who["Ana"]), data={"finish": "1"})
    assert "is open still" in refused.text
    taste(client, who["Ana"], (80, 40, 60))
    assert "You are done" in client.get(address(who["Ana"])).text
    client.post(address(who["Ana"], 1), data={"score": "1", "keep": "1"})
    assert {a.score for a in tastings.answers_of(service.store, who["Ana"]).values()} == {80, 40, 60}
    assert tastings.result(service.store, made) is None
    tastings.end(service.store, made)
    for taster in who.values():
        closed = client.get(address(taster))
        assert closed.status_code == 410
        assert not [secret for secret in SECRETS if secret in closed.text]
    assert client.post(address(who["Ben"], 1), data={"score": "1", "keep": "1"}).status_code == 410
    assert not tastings.answers_of(service.store, who["Ben"])


def test_once_everybody_is_done_it_is_over_and_says_what_it_says(client, service, made):
    for taster in people(service.store, made).values():
        likes = {0: 85, 1: 40, 2: 45}
        taste(client, taster, [likes[made.glasses[n][1]] for n in taster.served])
    found = tastings.result(service.store, made)
    assert found is not None
    assert found.names == NAMES
    assert found.scores is not None
    assert found.scores.arms[0].p_best > 0.9
    assert found.agreement is not None
    assert found.agreement.rank_sums[0] == 9


def test_ranks_are_each_given_once_and_passed_glasses_have_none(client, service):
    one = tastings.make(service.store, draft(method="rank"))
    ana = people(service.store, one)["Ana"]
    codes = tastings.codes_of(one, ana)
    for n in (1, 2):
        assert client.post(address(ana, n), data={"note": "fine", "keep": "1"}).status_code == 303
    assert client.post(address(ana, 3), data={"pass": "1"}).headers["location"] == "./4"
    page = client.get(address(ana, 4)).text
    assert f">{codes[0]}<" in page
    assert f">{codes[2]}<" not in page
    twice = client.post(address(ana, 4), data={f"rank-{codes[0]}": "1", f"rank-{codes[1]}": "1"})
    assert "the same rank" in twice.text
    assert client.post(address(ana, 4), data={f"rank-{codes[0]}": "2", f"rank-{codes[1]}": "1"}).status_code == 303
    assert client.post(address(ana), data={"finish": "1"}).status_code == 303
    tastings.end(service.store, one)
    found = tastings.result(service.store, one)
    assert found is not None
    assert found.judges == 1
    assert found.agreement is None  # of one taster


def test_a_triangle_asks_for_the_odd_one_out(client, service):
    one = tastings.make(service.store, replace(draft(method="triangle"), arms=draft().arms[:2]))
    for taster in tastings.tasters_of(service.store, one):
        arms = [one.glasses[n][1] for n in taster.served]
        odd = next(n for n, arm in zip(taster.served, arms, strict=True) if arms.count(arm) == 1)
        assert "No glass is chosen" in client.post(address(taster, 1), data={"keep": "1"}).text
        client.post(address(taster, 1), data={"odd": one.glasses[odd][0], "note": "drier", "keep": "1"})
        client.post(address(taster), data={"finish": "1"})
    found = tastings.result(service.store, one)
    assert found is not None
    assert found.triangle is not None
    assert (found.triangle.right, found.triangle.tasters) == (3, 3)


def test_while_the_cellar_is_not_open_there_is_nothing(client, service, made):
    ana = people(service.store, made)["Ana"]
    context.set_service(None)
    assert client.get(address(ana)).status_code == 404


def test_one_press_is_one_line_of_the_journal_and_taken_back_without_touching_another_taster(client, service):
    store = service.store
    one = tastings.make(store, draft(method="rank"))
    who = people(store, one)
    for taster in (who["Ana"], who["Ben"]):
        codes = tastings.codes_of(one, taster)
        for n in (1, 2):
            client.post(address(taster, n), data={"note": "fine", "keep": "1"})
        client.post(address(taster, 3), data={"pass": "1"})
        before = store.changes(1)[0].change_id
        order = {f"rank-{codes[0]}": "2", f"rank-{codes[1]}": "1"}
        for _ in range(2):  # pressed twice, or loaded again
            assert client.post(address(taster, 4), data=order).status_code == 303
        assert store.changes(1)[0].change_id == before + 1  # both ranks
    last_of_ana = next(each for each in store.changes(50) if each.sentence.startswith("Answer of Ana"))
    said = tastings.answers_of(store, who["Ben"])
    assert not store.resting_on(last_of_ana.change_id)
    assert store.take_back(last_of_ana.change_id)
    assert tastings.answers_of(store, who["Ben"]) == said
    assert [each.rank for each in tastings.answers_of(store, who["Ana"]).values()] == [None] * 3
    assert len(tastings.unanswered(store, one, who["Ana"])) == 2


def test_taking_back_an_answer_opens_the_glass_again(client, service, made):
    ana = people(service.store, made)["Ana"]
    client.post(address(ana, 1), data={"score": "50", "keep": "1"})
    assert service.store.undo().startswith("Taken back: Answer of Ana on glass")
    assert len(tastings.unanswered(service.store, made, ana)) == 3
    assert made.at <= datetime.now(UTC)


def test_a_score_is_typed_as_text_since_a_field_of_numbers_drops_the_comma_of_another_language(client, service, made):
    page = client.get(address(people(service.store, made)["Ana"], 1)).text
    [field] = re.findall(r'<input[^>]* name="score"[^>]*>', page)
    assert 'type="text"' in field
    assert 'inputmode="decimal"' in field
