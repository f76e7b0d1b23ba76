"""What the screens and messages say of one batch at one moment, read out of the pages, and where they disagree."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final

from analysis.wording import PHASE_WORDS, Voice, capital, unbroken

GRAVITY = re.compile(r"\b[01]\.\d{3}\b")
SAME_SG = 0.0011
"""Two prints of one gravity differ by one in the last place, where they were rounded on their own."""
_ASKS_HOPS = re.compile(r"\bdry hop\b|weigh the hops|hops into|hops go in", re.I)
_ASKS_PACKAGING = re.compile(r"\bpackage (?!only)|next: packaging|packaging day is|follow the sheet", re.I)
_SENTENCE = re.compile(r"[A-Z0-9\u2212].*[.!?]", re.S)
_IS_NOT_DONE = re.compile(r"still fermenting|slowing down|not begun|falling again|no fall", re.I)

READ_ROWS = """() => [...document.querySelectorAll("ul.rows li")].map((li) => {
  const before = li.parentElement.previousElementSibling;
  const of_all = before?.querySelector(":scope > b.needs") ? before.innerText : "";  // said once for the whole lot
  return {
    batch_id: li.querySelector("[data-picture]").dataset.picture,
    vessel: li.querySelector(".who b").innerText,
    needy: li.classList.contains("needy"),
    next: li.querySelector(".next").innerText,
    says: li.querySelector(".says")?.innerText ?? of_all,
    todo: li.querySelector(".todo")?.innerText ?? of_all,
    figures: [...li.querySelectorAll(".figures > span")].map((e) => e.innerText.trim()),
  };
})"""
READ_BATCH = """() => ({
  lead: document.querySelector("h1.lead").innerText,
  wants: [...document.querySelectorAll(".wants li")].map((e) => e.innerText),
  facts: Object.fromEntries([...document.querySelectorAll("dl.facts div")].map(
    (d) => [d.querySelector("dt").innerText, d.querySelector("dd").innerText.trim()])),
  days: Object.fromEntries([...document.querySelectorAll("dl.days div")].map(
    (d) => [d.querySelector("dt").innerText, d.querySelector("dd b").innerText])),
  notions: [...document.querySelectorAll("dl.notions dd b")].map((e) => e.innerText),
  told: [...document.querySelectorAll("ul.evidence li")].map((e) => e.innerText),
})"""
READ_CALENDAR = """() => ({
  lead: document.querySelector("h1.lead").innerText,
  items: [...document.querySelectorAll(".agenda > div")].flatMap((d) => [...d.querySelectorAll("li")].map((li) => ({
    day: d.querySelector("time").getAttribute("datetime"),
    what: li.innerText,
    batch_id: new URLSearchParams(li.querySelector("a").getAttribute("href").split("?")[1]).get("id"),
  }))),
})"""
READ_SHEET = """() => ({
  lead: document.querySelector("h1.lead").innerText,
  light: document.querySelector(".light strong")?.innerText ?? "",
  answer: document.querySelector(".answer b")?.innerText ?? "",
  standing: document.querySelector("h1.lead").parentElement.querySelector("p")?.innerText ?? "",
  figures: [...document.querySelectorAll(".light li")].map((e) => e.innerText),
})"""


_ONCE_CLEARED: Final = "Package once cleared"


@dataclass(frozen=True)
class Told:
    """One batch: its row on the first screen, its page, its days in the calendar, its sheet and its message."""

    row: Mapping[str, Any]
    page: Mapping[str, Any]
    days: tuple[tuple[date, str], ...]
    sheet: Mapping[str, Any]
    message: Mapping[str, Any]
    original_sg: float
    hops_in: bool = False
    packaged: bool = False
    follows: bool = False

    @property
    def name(self) -> str:
        """The vessel, to say where a contradiction is."""
        return str(self.row["vessel"])


@dataclass
class Against:
    """Collects what disagrees."""

    found: list[str] = field(default_factory=list)

    def same(self, what: str, **told: object) -> None:
        """All places that say anything say the same."""
        said = {where: value for where, value in told.items() if value not in (None, "")}
        if len(set(said.values())) > 1:
            self.found.append(f"{what}: " + "; ".join(f"{where} says {value!r}" for where, value in said.items()))

    def never(self, what: str, if_so: bool) -> None:
        """This must not be."""
        if if_so:
            self.found.append(what)


def contradictions(told: Told, say: Voice) -> list[str]:
    """Where two places of the same moment say of one batch what cannot both be true."""
    against = Against()
    _figures(told, say, against)
    _days(told, say, against)
    _finished(told, against)
    _done_is_done(told, against)
    for each in told.page["told"]:
        against.never(f"this is no sentence: {each!r}", not _SENTENCE.fullmatch(each))
    against.never(
        f"the row {'wants' if told.row['needy'] else 'does not want'} somebody, and the page has {told.page['wants']}",
        bool(told.row["needy"]) != bool(told.page["wants"]),
    )
    return [f"{told.name}: {each}" for each in against.found]


def _figures(told: Told, say: Voice, against: Against) -> None:
    facts, figures, message = told.page["facts"], told.row["figures"], told.message
    phase = None if told.follows or message["newest_reading_at"] is None else PHASE_WORDS[message["phase"]]
    row, page = None if told.follows else figures[0].strip(), facts.get("Phase")
    against.same("phase", row=row, page=page, message=None if "Too early to say" in (row, page) else phase)
    told_sg = [float(g) for text in (told.page["lead"], told.row["says"]) for g in GRAVITY.findall(text)]
    fallen = [g for g in told_sg if g < told.original_sg - 0.01]
    against.never(f"it has not begun, and stands at {fallen}", bool(fallen) and "Not begun" in (row, page))
    wants = " ".join((told.row["says"], told.row["todo"], *told.page["wants"]))
    against.never(f"a float is heard and silent: {wants}", "is silent" in wants and "is heard" in wants)
    gravity = [g for text in figures[1:2] for g in GRAVITY.findall(text)]
    likely = facts.get("Likely gravity", "")
    against.same("gravity", row=gravity[0] if gravity else None, page=likely[:5])
    if message["gravity_sg"] is not None and likely:
        printed = float(GRAVITY.findall(likely)[0])
        against.never(
            f"gravity: page {printed}, message {message['gravity_sg']}",
            abs(printed - message["gravity_sg"]) > SAME_SG / 2,
        )
        for where in (told.page["lead"], told.row["says"]):
            for said in re.findall(r"(?:held|[Ss]talled) at ([01]\.\d{3})", where):
                against.never(f"gravity: {where!r} beside {printed}", abs(float(said) - printed) > SAME_SG)
    warm = next((text for text in figures if text.endswith(("°C", "°F"))), None)
    against.same("temperature", row=warm, page=facts.get("Temperature"))


def _days(told: Told, say: Voice, against: Against) -> None:
    message = told.message
    for name, words, titles in (("hop_day", "Dry hop", ("Dry hop",)), ("packaging_day", "Package ", ("Package",))):
        that = None if message[name] is None else max(date.fromisoformat(message[name]), say.today())
        planned = {day for day, what in told.days if what.startswith(words)}
        against.never(f"{name}: calendar {planned}, message {that}", planned != ({that} if that else set()))
        shown = next((value for title, value in told.page["days"].items() if title.split(" (")[0] in titles), None)
        wanted = "No day yet" if that is None else unbroken(capital(say.day(that)))
        against.never(
            f"{name}: page {shown!r}, message {that} ({wanted})",
            (shown is not None or that is not None)
            and not (shown or "").replace("\xa0", " ").startswith(wanted.replace("\xa0", " "))
            and not (shown is None and wanted == "No day yet"),
        )
    day = None if message["packaging_day"] is None else max(date.fromisoformat(message["packaging_day"]), say.today())
    standing = told.sheet.get("standing", "").replace("\xa0", " ")
    for begins in ("Packaging day: ", "Planned for "):
        if standing.startswith(begins):
            wanted = "no day yet" if day is None else say.day(day)
            against.never(f"sheet {standing!r}, message {day}", not standing.startswith(f"{begins}{wanted}"))
    coming = sorted({day for day, _ in told.days})
    short = told.row["next"].replace("\xa0", " ")
    if coming and not short.startswith("Still since"):
        against.never(
            f"the row's next is {short!r}, and the calendar's {coming[0]}",
            not short.endswith(say.short_day(coming[0])) and not (short == _ONCE_CLEARED and coming[0] == say.today()),
        )
        against.never(
            f"the row's next is {short!r}, and it may be packaged now",
            short == _ONCE_CLEARED and bool(message["may_package"]),
        )


def _finished(told: Told, against: Against) -> None:
    message, page = told.message, told.page
    if message["p_finished"] is not None and page["notions"]:
        printed = re.search(r"(\d+)", page["notions"][1])
        against.never(
            f"chance that it is done: page {page['notions'][1]!r}, message {message['p_finished']}",
            printed is not None and abs(int(printed[1]) / 100 - message["p_finished"]) > 0.011,
        )
    for where, text in (("row", told.row["says"]), ("page", page["lead"]), ("sheet", told.sheet.get("standing", ""))):
        for hours in re.findall(r"[Hh]eld (\d+)(?=\D)", text):
            against.never(
                f"held: {where} {hours} h, message {message['held_h']}", abs(int(hours) - message["held_h"]) > 1
            )
        against.never(
            f"{where} {text!r}, and the message says it is finished",
            bool(message["finished"]) and bool(_IS_NOT_DONE.search(text)),
        )
    against.never(
        f"the sheet says Go, and the message {message['reason']!r}",
        told.sheet.get("light") == "Go" and not message["may_package"],
    )
    against.same("the sheet's verdict", light=told.sheet.get("light"), line=told.sheet.get("answer"))


def _done_is_done(told: Told, against: Against) -> None:
    places = {
        "row": " ".join((told.row["next"], told.row["says"], told.row["todo"])),
        "page": " ".join([told.page["lead"], *told.page["wants"], *told.page["days"]]),
        "calendar": " ".join(what for _, what in told.days),
    }
    for where, text in places.items():
        against.never(
            f"the hops are in, and the {where} asks for them: {text!r}", told.hops_in and bool(_ASKS_HOPS.search(text))
        )
        against.never(
            f"it is packaged, and the {where} asks for it: {text!r}",
            told.packaged and bool(_ASKS_PACKAGING.search(text)),
        )
