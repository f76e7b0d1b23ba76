"""Tastings: made, answered, ended, and what they say. Nothing is said before everybody is done, or the host ends it."""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Final

from analysis.trials import glass_codes, serving_orders, triangle_orders
from ingest import logs
from ingest.errors import EntryError
from ingest.model import Record
from ingest.monitoring import TastingOutcome as Result
from ingest.monitoring import TastingSaid as Said
from ingest.monitoring import answers_of, codes_of, judged_of, tasters_of, unanswered
from ingest.monitoring import outcome_of as result
from ingest.monitoring import tasting_over as over
from ingest.store import Store
from ingest.tastings import LONGEST_WORD, Arm, Method, Sulfites, Taster, Tasting, TastingAnswer, answer_id

__all__ = [
    "ALLERGENS",
    "FIRST_AROMAS",
    "Draft",
    "Result",
    "Said",
    "answers_of",
    "aromas_for",
    "by_token",
    "codes_of",
    "draft_of",
    "end",
    "finish",
    "judged_of",
    "keep_ballot",
    "keep_glass",
    "keep_odd",
    "keep_ranks",
    "make",
    "newest_first",
    "odd_answers",
    "over",
    "result",
    "tasters_of",
    "unanswered",
    "words_in",
]

FIRST_AROMAS: Final = (
    "apple", "banana", "biscuit", "bread", "butter", "caramel", "citrus", "clove", "coffee", "earth", "floral",
    "grape", "grass", "hay", "herbs", "honey", "malt", "melon", "nuts", "pear", "pepper", "pine", "resin", "smoke",
    "solvent", "stone fruit", "sulfur", "tropical fruit", "vanilla", "vinegar",
)  # fmt: skip
"""Words to begin with; a cellar's list grows by what its tasters add. Common words of the trade."""

ALLERGENS: Final = (
    "cereals containing gluten", "milk", "nuts", "sulfites above 10 mg/L", "eggs", "fish", "soya", "celery", "mustard",
    "sesame", "lupin", "peanuts", "crustaceans", "molluscs",
)  # fmt: skip
"""The fourteen groups of Annex II of Regulation (EU) No 1169/2011 (from memory), those of drinks first."""

CLOSED: Final = "the tasting is over"


@dataclass(frozen=True, slots=True)
class Draft:
    """A tasting that is about to be made."""

    name: str
    method: Method
    arms: tuple[Arm, ...]
    tasters: tuple[str, ...]
    allergens: tuple[str, ...]
    sulfites: Sulfites
    trial_id: str | None = None


def make(store: Store, draft: Draft) -> Tasting:
    """Draw codes and orders, and keep the tasting with its tasters as one change.

    Raises
    ------
    EntryError
        If there is no taster, two have one name, or the drinks do not fit the method.
    """
    names = [name.strip() for name in draft.tasters if name.strip()]
    if not names:
        raise EntryError("tasters", "nobody tastes", "Name at least one taster, one on each line.")
    if len(set(map(str.casefold, names))) < len(names):
        raise EntryError("tasters", "two tasters have the same name", "Add an initial to one of them.")
    if len(draft.arms) < 2:
        raise EntryError("arms", f"it has {len(draft.arms)} drinks and needs at least two", "Choose others.")
    each = 2 if draft.method == "triangle" else 1
    codes = glass_codes(each * len(draft.arms), secrets.randbits(63))
    if draft.method == "triangle":
        orders = triangle_orders(len(names), secrets.randbits(63))
    else:
        orders = serving_orders(len(draft.arms), len(names), secrets.randbits(63))
    tasting = Tasting(
        name=draft.name,
        method=draft.method,
        at=datetime.now(UTC),
        arms=draft.arms,
        glasses=tuple((code, n // each) for n, code in enumerate(codes)),
        allergens=draft.allergens,
        sulfites=draft.sulfites,
        trial_id=draft.trial_id,
    )
    tasters = [
        Taster(tasting_id=tasting.tasting_id, name=name, served=order)
        for name, order in zip(names, orders, strict=True)
    ]
    logs.hide(*(taster.token for taster in tasters))
    store.save_many([tasting, *tasters], f"Made the tasting {tasting.name}")
    return tasting


def newest_first(store: Store) -> list[Tasting]:
    """All tastings."""
    return sorted(store.all(Tasting), key=lambda each: each.at, reverse=True)


def by_token(store: Store, token: str) -> tuple[Tasting, Taster] | None:
    """Whose address it is; takes as long for a wrong one as for a right one."""
    found = None
    for taster in store.all(Taster):
        if secrets.compare_digest(taster.token.encode(), token.encode()):
            found = taster
    tasting = store.get(Tasting, found.tasting_id) if found is not None else None
    if found is None or tasting is None:
        return None
    logs.hide(found.token)
    return tasting, found


def aromas_for(store: Store, tasting: Tasting, taster: Taster) -> list[str]:
    """The words to choose from: the first ones, those of tastings that are over, and the taster's own.

    Nobody sees what others have just added to this one.
    """
    told = {
        each.tasting_id for each in store.all(Tasting) if each.tasting_id != tasting.tasting_id and over(store, each)
    }
    words = {word for each in store.all(TastingAnswer) if each.tasting_id in told for word in each.aromas}
    words |= {word for each in answers_of(store, taster).values() for word in each.aromas}
    return sorted({*FIRST_AROMAS, *words}, key=str.casefold)


def words_in(text: str) -> list[str]:
    """Aromas as typed, separated by commas: in small letters, each once."""
    parts = [" ".join(part.split()).lower()[:LONGEST_WORD].strip() for part in text.replace(";", ",").split(",")]
    return list(dict.fromkeys(filter(None, parts)))


# -- answers


def keep_glass(store: Store, taster: Taster, answer: TastingAnswer) -> None:
    """Keep what a taster says of one glass, in place of what they said of it before.

    Raises
    ------
    EntryError
        If the tasting is over, or they are done.
    """
    _keep(store, taster, [answer])


def draft_of(store: Store, taster: Taster, code: str) -> TastingAnswer:
    """The taster's answer on a glass as it stands, or an empty one."""
    return answers_of(store, taster).get(code) or TastingAnswer(
        answer_id=answer_id(taster, code),
        tasting_id=taster.tasting_id,
        taster_id=taster.taster_id,
        code=code,
        at=datetime.now(UTC),
    )


def keep_ranks(store: Store, tasting: Tasting, taster: Taster, ranks: Mapping[str, int]) -> None:
    """Keep the order of the glasses that were not passed, 1 the best.

    Raises
    ------
    EntryError
        If the ranks are not 1, 2, 3 and so on, each once; or as `keep_glass`.
    """
    drafts = {code: draft_of(store, taster, code) for code in codes_of(tasting, taster)}
    open_codes = [code for code, each in drafts.items() if not each.passed]
    wanted = list(range(1, len(open_codes) + 1))
    if sorted(ranks.get(code, 0) for code in open_codes) != wanted:
        missing = [code for code in open_codes if code not in ranks]
        problem = f"glass {missing[0]} has no rank" if missing else "two glasses have the same rank"
        raise EntryError("rank", problem, f"Give each of 1 to {len(open_codes)} once; 1 is the best.")
    _keep(store, taster, [replace(drafts[code], rank=ranks[code]) for code in open_codes])


def keep_ballot(store: Store, tasting: Tasting, taster: Taster, said: Sequence[TastingAnswer]) -> None:
    """Keep a whole ballot, after which the taster is done: all of it as one change, or nothing.

    Raises
    ------
    EntryError
        If ranks are not each given once, or a glass is left out; or as `keep_glass`.
    """
    _must_be_open(store, taster)
    judged = [each for each in said if not each.passed]
    ranks = sorted(each.rank or 0 for each in judged)
    if tasting.method == "rank" and ranks != list(range(1, len(judged) + 1)):
        raise EntryError("", "the ranks are not each given once", f"Give each of 1 to {len(judged)} once.")
    if left := set(codes_of(tasting, taster)) - {each.code for each in said}:
        raise EntryError("", f"glass {min(left)} is open still", "Judge it, or pass it.")
    now = datetime.now(UTC)
    records: list[Record] = [*(replace(each, at=now) for each in said), replace(taster, done_at=now)]
    store.save_many(records, f"Ballot of {taster.name} for {tasting.name}")


def keep_odd(store: Store, tasting: Tasting, taster: Taster, odd: str | None, note: str) -> None:
    """Keep which glass is the odd one out; None: they pass.

    Raises
    ------
    EntryError
        If it is none of theirs; or as `keep_glass`.
    """
    _keep(store, taster, odd_answers(store, tasting, taster, odd, note))


def odd_answers(store: Store, tasting: Tasting, taster: Taster, odd: str | None, note: str) -> list[TastingAnswer]:
    """What a triangle's ballot says of each glass; `odd` is None where they pass.

    Raises
    ------
    EntryError
        If the odd one is none of their glasses.
    """
    codes = codes_of(tasting, taster)
    if odd is not None and odd not in codes:
        raise EntryError("odd", "no glass is chosen", "Choose the one that differs; if you cannot tell, guess.")
    return [replace(draft_of(store, taster, code), odd=code == odd, passed=odd is None, note=note) for code in codes]


def _keep(store: Store, taster: Taster, said: Sequence[TastingAnswer]) -> None:
    """Keep what one press of a taster's form says, as one change; one that says nothing new is none."""
    _must_be_open(store, taster)
    now, before = datetime.now(UTC), answers_of(store, taster)
    new = [replace(each, at=now) for each in said if each != before.get(each.code)]
    glasses = ", ".join(each.code for each in new)
    store.save_many(new, f"Answer of {taster.name} on glass{'es' * bool(new[1:])} {glasses}")


def finish(store: Store, tasting: Tasting, taster: Taster) -> None:
    """The taster is done; what they said stays as it is.

    Raises
    ------
    EntryError
        If a glass is open still, or the tasting is over.
    """
    _must_be_open(store, taster)
    if left := unanswered(store, tasting, taster):
        raise EntryError("", f"glass {left[0]} is open still", "Judge it, or pass it.")
    store.save_many([replace(taster, done_at=datetime.now(UTC))], f"{taster.name} has tasted {tasting.name}")


def end(store: Store, tasting: Tasting) -> None:
    """End it before everybody is done; addresses stop working and the result is told."""
    store.save_many([replace(tasting, ended_at=datetime.now(UTC))], f"Ended the tasting {tasting.name}")


def _must_be_open(store: Store, taster: Taster) -> None:
    here, tasting = store.get(Taster, taster.taster_id), store.get(Tasting, taster.tasting_id)
    if here is None or tasting is None or over(store, tasting):
        raise EntryError("", CLOSED, "Nothing more is taken in.")
    if here.done_at is not None:
        raise EntryError("", "you have said that you are done", "Nothing more is taken in.")
