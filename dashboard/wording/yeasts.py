"""Which yeast is quicker and goes further, and how our forecasts fared, in sentences."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from analysis.display_units import chance, number, percent
from analysis.thresholds import AHEAD_DAYS
from analysis.track_record import TrackRecord
from analysis.wording import WHOLE, Voice, capital, count, joined, plural, teaches
from analysis.yeast_comparison import Comparison, Difference

if TYPE_CHECKING:
    from analysis.inference import Lesson

_MANY = 3
_WORDS = (("finish_days", "finish times"), ("attenuation", "attenuation"))


def best(comparison: Comparison, say: Voice) -> str:
    """The answer first: who differs from whom, and what cannot be told yet."""
    if len(comparison.yeasts) < 2:
        only = comparison.yeasts[0]
        return f"Only {only.yeast} has finished {_article(comparison.drink)} so far: nothing to compare it with yet."
    told = [d for d in comparison.differences if d.verdict == "differ"]
    told.sort(key=lambda d: max(d.p_below, 1 - d.p_below), reverse=True)
    parts = [difference(d, comparison, say) for d in told[:_MANY]]
    leaning: dict[str, list[Difference]] = {}
    unknown: dict[str, list[Difference]] = {}
    for quantity, word in _WORDS:
        rest = [d for d in comparison.differences if d.quantity == quantity and d.verdict != "differ"]
        if rest and all(d.verdict == "alike" for d in rest):
            pairs = "them" if len(comparison.yeasts) == 2 else "the others"
            parts.append(f"{word} of {pairs} are alike" if told else f"their {word} are alike")
            continue
        # What the picture shows off the line is not said to be unknown; only whether it is more than what matters.
        if off := [d for d in rest if d.verdict == "open" and (d.amount.p90 < 0 or d.amount.p10 > 0)]:
            leaning[word] = off
        if others := [d for d in rest if d not in off]:
            unknown[f"{'the other ' if off or _some(told, quantity) else ''}{word}"] = others
    parts += [difference(d, comparison, say) for off in leaning.values() for d in off[:_MANY]]
    if leaning:
        which = "that difference is" if sum(map(len, leaning.values())) == 1 else "those differences are"
        parts.append(f"so few batches do not yet tell whether {which} large enough to matter{_would_tell(leaning)}")
    if unknown:
        parts.append(f"too few batches to tell {joined(list(unknown))} apart{_would_tell(unknown)}")
    return f"{capital('; '.join(parts))}."


def _would_tell(rest: Mapping[str, list[Difference]]) -> str:
    """How many more batches would tell these apart, by what they are called; of several pairs those of the nearest."""
    more = {word: _more(found) for word, found in rest.items()}
    alike = {words: [word for word, each in more.items() if each == words] for words in more.values() if words}
    told = [f"{words} would{f' for {joined(of)}' if len(rest) > 1 else ''}" for words, of in alike.items()]
    would = [f"in pairs of one wort, {joined(told)}"] if told else []
    never = joined([word for word, words in more.items() if not words])
    of = f" for {never}" if told else ""
    would_not = [f"many more would not{of}, for they differ by about what matters"] if never else []
    return f" ({'; '.join([*would, *would_not])})"


def _more(rest: list[Difference]) -> str:
    """``about three more of each``; empty where no number would do."""
    more = [d.more_batches for d in rest if d.verdict == "open" and d.more_batches is not None]
    return f"about {count(min(more))} more of {'each' if len(rest) == 1 else 'the nearest two'}" if more else ""


def _some(told: list[Difference], quantity: str) -> bool:
    return any(d.quantity == quantity for d in told)


def difference(d: Difference, comparison: Comparison, say: Voice) -> str:
    """One difference: ``Marrow finishes about a day sooner than Dune at 19.0 °C (very likely, 94 %)``."""
    sure = chance(max(d.p_below, 1 - d.p_below))
    leader, other = (d.first, d.second) if d.amount.p50 < 0 else (d.second, d.first)
    if d.quantity == "finish_days":
        at = f" at {say.temperature(comparison.temperature_c)}" if comparison.temperature_c is not None else ""
        return f"{leader} finishes {_about_days(abs(d.amount.p50))} sooner than {other}{at}, {sure}"
    points = number(100 * abs(d.amount.p50))
    return f"{other} attenuates about {points} percentage points further than {leader}, {sure}"


def _about_days(days: float) -> str:
    if days < 0.75:
        return f"about {number(24 * days)} hours"
    if days < 1.25:
        return "about a day"
    return f"about {number(days, 1 if days < 3 else 0)} days"


def _article(drink: str) -> str:
    return (
        "batches" if drink == "other" else f"{drink}s" if drink in ("ale", "lager", "cider", "mead", "wine") else drink
    )


def summaries(comparison: Comparison) -> tuple[list[str], list[list[str]]]:
    """A table of what each yeast usually does: headings and rows."""
    rows = []
    for y in comparison.yeasts:
        days = (
            f"{number(y.finish_days.p50, 1)} ({_between(y.finish_days.p10, y.finish_days.p90)})"
            if y.finish_days
            else ""
        )
        share = y.attenuation
        gone = f"{percent(share.p50)} ({number(100 * share.p10)} to {number(100 * share.p90)})" if share else ""
        rows.append([y.yeast, number(y.batches), days, gone])
    return ["Yeast", "Batches", "Days to the finish (eight times in ten)", "Apparent attenuation"], rows


def differences(comparison: Comparison) -> tuple[list[str], list[list[str]]]:
    """What the dots and their lines show, in numbers."""
    rows = []
    for d in comparison.differences:
        days = d.quantity == "finish_days"
        low, middle, high = (number(x if days else 100 * x, 1) for x in (d.amount.p10, d.amount.p50, d.amount.p90))
        unit = "days to the finish" if days else "attenuation, %"
        rows.append([f"{d.first} less {d.second}", unit, middle, f"{low} to {high}"])
    return ["Yeasts", "Difference in", "Likely", "Eight times in ten"], rows


def _between(low: float, high: float) -> str:
    return f"{number(low, 1)} to {number(high, 1)}"


def fared(record: TrackRecord) -> str:
    """The cellar's own track record in a sentence or two."""
    ahead = number(AHEAD_DAYS)
    if record.ranges == 0:
        return f"No batch has finished yet of which a date had been said {ahead} days ahead."
    text = (
        f"Of {plural(record.ranges, 'range')} given {ahead} days ahead, which should hold eight times in ten, "
        f"{count(record.ranges_held)} held."
    )
    if record.dates:
        text = (
            f"Of {plural(record.dates, 'packaging day')} named {ahead} days ahead, {count(record.dates_held)} held. "
            + text
        )
    if record.miss_days is not None:
        text += f" Half of the time its middle was within {number(record.miss_days, 1)} days of the finish."
    return text


def taught(lessons: Mapping[str, Lesson], batch_names: Mapping[str, str]) -> tuple[str, list[list[str]]]:
    """What the forecasts of the next batches rest on, in a sentence, and a row for each batch that taught less.

    `lessons` and `batch_names` are by the id of the batch.
    """
    known = {batch_id: lesson for batch_id, lesson in lessons.items() if batch_id in batch_names}
    if not known:
        return "No finished batch has taught anything yet: forecasts rest on what is usual.", []
    words = {batch_id: teaches(lesson) for batch_id, lesson in known.items()}
    whole = sum(each == WHOLE for each in words.values())
    nothing = sum(each.startswith("nothing") for each in words.values())
    its = WHOLE if whole == 1 else WHOLE.replace("its", "their")
    text = f"Of {plural(len(known), 'finished batch', 'finished batches')} {count(whole)} taught {its}"
    if part := len(known) - whole - nothing:
        text += f", {count(part)} a part of it"
    text += f", and {count(nothing)} nothing." if nothing else "."
    less = ((batch_names[batch_id], capital(each)) for batch_id, each in words.items() if each != WHOLE)
    return text, [list(row) for row in sorted(less)]


def names(comparison: Comparison) -> str:
    """The yeasts by name."""
    return joined([y.yeast for y in comparison.yeasts])
