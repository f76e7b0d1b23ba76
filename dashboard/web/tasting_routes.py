"""A taster's own page: plain HTML without a script, a websocket or a sign-in, good for one taster of one tasting.

Its address holds 128 random bits; the code on a glass only blinds. The page shows codes and nothing that tells what is
behind them: not the name of the tasting, of a batch or of a file, and nothing that another taster said. A wrong address
is answered like any other, and who tries many waits longer and longer.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final
from urllib.parse import parse_qs

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from dashboard import context
from dashboard.access import Attempts, Gate
from dashboard.charts import variables
from dashboard.queries import tastings
from dashboard.templates import Markup, render
from ingest.errors import EntryError, IngestError
from ingest.store import Store
from ingest.tastings import LONGEST_NOTE, LONGEST_WORD, MOST_AROMAS, Taster, Tasting

MOST_FORM: Final = 16_384
"""Bytes of a form: a note of 500 characters and twenty aromas, each byte written as three."""
_MOST_FIELDS: Final = 80
_HEADERS: Final = {
    "Cache-Control": "no-store",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # The form's Origin must be told: it is what shows that the form is ours.
    "Referrer-Policy": "same-origin",
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'self'; "
    "frame-ancestors 'none'; base-uri 'none'",
}

Fields = dict[str, list[str]]


@dataclass(frozen=True, slots=True)
class _Visit:
    """One taster's request, and where it came from."""

    store: Store
    tasting: Tasting
    taster: Taster
    page: int
    """0 is the first page, which says what is in the drinks; then one for each glass, or for what is asked of all."""

    @property
    def codes(self) -> list[str]:
        return tastings.codes_of(self.tasting, self.taster)

    @property
    def pages(self) -> int:
        """Pages after the first."""
        glasses = len(self.codes)
        return {"score": glasses, "rank": glasses + 1, "triangle": 1}[self.tasting.method]

    @property
    def asks_for_all(self) -> bool:
        """Whether this page asks for something of all glasses together."""
        return self.tasting.method == "triangle" or self.page > len(self.codes)


def path_of(token: str) -> str:
    """A taster's address on this server."""
    return f"/taste/{token}"


def routes(gate: Gate, attempts: Attempts | None = None) -> list[Route]:
    """The tasters' pages; `gate` says from which address a request comes."""
    tries = attempts or Attempts()

    async def answer(request: Request) -> Response:
        if (wait := tries.begin(gate.address_of(request.scope))) > 0:
            return _page("wait", 429, headers={"Retry-After": str(math.ceil(wait))}, seconds=math.ceil(wait))
        visit = _visit(request)
        if visit is None:
            return _page("nothing", 404)
        tries.succeeded(gate.address_of(request.scope))
        if tastings.over(visit.store, visit.tasting):
            return _page("closed", 410)
        if visit.taster.done_at is not None:
            return _page("thanks")
        if request.method == "POST":
            return await _take(visit, request)
        return _show(visit)

    methods = ["GET", "HEAD", "POST"]
    return [
        Route("/taste/{token}", answer, methods=methods),
        Route("/taste/{token}/{page:int}", answer, methods=methods),
    ]


def _visit(request: Request) -> _Visit | None:
    try:
        store = context.store()
    except context.NotRunning:
        return None
    found = tastings.by_token(store, request.path_params["token"])
    if found is None:
        return None
    visit = _Visit(store, *found, request.path_params.get("page", 0))
    return visit if 0 <= visit.page <= visit.pages else None


# -- what is shown


def _show(visit: _Visit, trouble: str = "", typed: Fields | None = None, status: int = 200) -> Response:
    if visit.page == 0:
        return _begin(visit, trouble, status)
    if visit.asks_for_all:
        return _all(visit, trouble, typed, status)
    return _glass(visit, trouble, typed, status)


def _begin(visit: _Visit, trouble: str, status: int) -> Response:
    left = tastings.unanswered(visit.store, visit.tasting, visit.taster)
    token, codes = visit.taster.token, visit.codes
    begun = bool(tastings.answers_of(visit.store, visit.taster))
    first = codes.index(left[0]) + 1 if left and visit.tasting.method == "score" else 1
    return _page(
        "begin",
        status,
        trouble=trouble,
        name=visit.taster.name,
        method=visit.tasting.method,
        codes=codes,
        left=left,
        begun=begun,
        links=[f"{token}/{n + 1 if visit.tasting.method != 'triangle' else 1}" for n in range(len(codes))],
        onward=f"{token}/{first}",
        ranking=f"{token}/{visit.pages}",
        allergens=list(visit.tasting.allergens),
        sulfites=visit.tasting.sulfites,
    )


def _glass(visit: _Visit, trouble: str, typed: Fields | None, status: int) -> Response:
    code = visit.codes[visit.page - 1]
    said = tastings.draft_of(visit.store, visit.taster, code)
    given = typed or {}
    score = "" if said.score is None else f"{said.score:g}"
    return _page(
        "glass",
        status,
        trouble=trouble,
        code=code,
        number=visit.page,
        count=len(visit.codes),
        scored=visit.tasting.method == "score",
        score=given.get("score", [score])[0],
        aromas=tastings.aromas_for(visit.store, visit.tasting, visit.taster),
        chosen=given.get("aroma", list(said.aromas)) if typed is not None else list(said.aromas),
        more=given.get("more", [""])[0],
        note=given.get("note", [said.note])[0],
        passed=said.passed,
        back=f"{visit.page - 1}" if visit.page > 1 else f"../{visit.taster.token}",
        most_note=LONGEST_NOTE,
        most_word=MOST_AROMAS * (LONGEST_WORD + 2),
    )


def _all(visit: _Visit, trouble: str, typed: Fields | None, status: int) -> Response:
    drafts = [tastings.draft_of(visit.store, visit.taster, code) for code in visit.codes]
    open_codes = [each.code for each in drafts if not each.passed]
    given = typed or {}
    ranks = {each.code: "" if each.rank is None else str(each.rank) for each in drafts}
    return _page(
        visit.tasting.method,
        status,
        trouble=trouble,
        codes=visit.codes if visit.tasting.method == "triangle" else open_codes,
        ranks={code: given.get(f"rank-{code}", [ranks[code]])[0] for code in visit.codes},
        odd=given.get("odd", [next((each.code for each in drafts if each.odd), "")])[0],
        note=given.get("note", [drafts[0].note])[0],
        back=f"../{visit.taster.token}",
        most_note=LONGEST_NOTE,
    )


def _page(view: str, status: int = 200, *, headers: dict[str, str] | None = None, **values: Any) -> Response:
    look = {"light": Markup(variables("light")), "dark": Markup(variables("dark"))}
    html = str(render("tasting/phone.html", view=view, **{"trouble": "", **values}, **look))
    return HTMLResponse(html, status, {**_HEADERS, **(headers or {})})


# -- what is taken in


async def _take(visit: _Visit, request: Request) -> Response:
    fields = await _form_of(request)
    if fields is None:
        return _show(visit, "That was too much, or not what this form sends. Nothing was kept.", status=400)
    try:
        onward = await asyncio.to_thread(_keeper(visit), visit, fields)
    except EntryError as error:
        return _show(visit, _sentence(str(error)), fields, 400)
    except IngestError as error:
        return _show(visit, _sentence(str(error)), fields, 503)
    # Said from where the browser is: a proxy may have put us into a folder.
    return Response(None, 303, {**_HEADERS, "Location": onward})


def _keeper(visit: _Visit) -> Callable[[_Visit, Fields], str]:
    if visit.page == 0:
        return _finish
    if not visit.asks_for_all:
        return _keep_glass
    return _keep_odd if visit.tasting.method == "triangle" else _keep_ranks


def _finish(visit: _Visit, _fields: Fields) -> str:
    tastings.finish(visit.store, visit.tasting, visit.taster)
    return f"./{visit.taster.token}"


def _keep_glass(visit: _Visit, fields: Fields) -> str:
    code = visit.codes[visit.page - 1]
    draft = tastings.draft_of(visit.store, visit.taster, code)
    note = fields.get("note", [""])[0].strip()
    passes = "pass" in fields
    aromas = tuple(dict.fromkeys([*_chosen(visit, fields), *tastings.words_in(fields.get("more", [""])[0])]))
    score = None if passes or visit.tasting.method != "score" else _score(fields.get("score", [""])[0])
    said = replace(
        draft, score=score, passed=passes, aromas=aromas, note=note, rank=None if passes else draft.rank, odd=False
    )
    tastings.keep_glass(visit.store, visit.taster, said)
    return f"./{visit.page + 1}" if visit.page < visit.pages else f"../{visit.taster.token}"


def _chosen(visit: _Visit, fields: Fields) -> list[str]:
    offered = set(tastings.aromas_for(visit.store, visit.tasting, visit.taster))
    return [word for word in fields.get("aroma", []) if word in offered]


def _keep_ranks(visit: _Visit, fields: Fields) -> str:
    ranks = {}
    for code in visit.codes:
        text = fields.get(f"rank-{code}", [""])[0].strip()
        if text.isascii() and text.isdigit() and len(text) < 4:
            ranks[code] = int(text)
    tastings.keep_ranks(visit.store, visit.tasting, visit.taster, ranks)
    return f"../{visit.taster.token}"


def _keep_odd(visit: _Visit, fields: Fields) -> str:
    odd = None if "pass" in fields else fields.get("odd", [""])[0]
    tastings.keep_odd(visit.store, visit.tasting, visit.taster, odd, fields.get("note", [""])[0].strip())
    return f"../{visit.taster.token}"


def _score(text: str) -> float:
    typed = text.strip().replace(",", ".")
    try:
        found = float(typed)
    except ValueError:
        problem = f"“{typed[:20]}” is no number" if typed else "there is no score yet"
        raise EntryError("score", problem, "Give one from 0 to 100, or pass this glass.") from None
    if not 0 <= found <= 100:
        raise EntryError("score", f"{typed[:20]} is out of range", "A score is from 0 to 100.")
    return found


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


async def _form_of(request: Request) -> Fields | None:
    """The fields of a form of modest size; None where it is none."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/x-www-form-urlencoded":
        return None
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > MOST_FORM:
            return None
    try:
        return parse_qs(body.decode("ascii"), keep_blank_values=True, max_num_fields=_MOST_FIELDS, errors="strict")
    except ValueError:
        return None
