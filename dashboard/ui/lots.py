"""Lots in doubt once one of them has gushed or burst, as HTML: on the first screen and on the batches' own pages."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from analysis.packaging import Cause
from analysis.wording import Voice, joined, packaged_early, plural
from dashboard.templates import Markup, fill, join
from dashboard.ui.links import underlined
from ingest.model import BatchRecord
from ingest.monitoring import LotWarning, Outlook, follow_up_of

_DO: Final = "Do not carry, shake, open or warm its bottles; keep people away, and tell whoever has some."
HOW_TO_FIND: Final = (
    "tunroom does not know where packages went. Go by the name and the packaging day on the label, look in every store "
    "and fridge, and call whoever was given some. What bears no label counts as in doubt."
)
_BANNER = '<div class="banner" role="alert"><b>{{ title }}</b> {{ text }}{% if link %} {{ link }}{% endif %}</div>'


def first_screen_html(warnings: Sequence[LotWarning], say: Voice) -> Markup:
    """One banner for each lot that nobody has looked after yet."""
    return join(
        fill(
            _BANNER,
            title=_title(warning, say),
            text=" ".join(filter(None, (_DO, _others(warning)))),
            link=underlined("packaging", "What to do, and which lots", id=warning.record.batch_id),
        )
        for warning in warnings
        if not warning.looked_after
    )


def about_html(warning: LotWarning, record: BatchRecord, say: Voice) -> Markup:
    """On the pages of a batch: what happened to its own lot, or to one that shares its wort or yeast."""
    if warning.record.batch_id == record.batch_id:
        text = _DO
    else:
        shares = next((r.shares for r in warning.related if r.record.batch_id == record.batch_id), ())
        text = (
            f"This batch has the same {joined(list(shares))}, so its packages may do the same. Why is not known here: "
            "leave its bottles where they stand, let them get cold, and open one with care."
        )
        if record.ended_at is None:
            text = (
                f"This batch has the same {joined(list(shares))}, so what is packaged of it may do the same. Why is "
                "not known here: make a forced test before you package it."
            )
    link = underlined("packaging", "What to do", id=warning.record.batch_id)
    return fill(_BANNER, title=_title(warning, say), text=text, link=link)


def early_html(outlook: Outlook, say: Voice) -> Markup:
    """Of a batch that was packaged before it was seen to have ended, until its test bottle was opened: what to mind."""
    packaged = any(event.kind == "package" for event in outlook.batch.events)
    told = packaged_early(outlook.assessment, say) if packaged and follow_up_of(outlook.record) is None else None
    if told is None:
        return Markup()
    seen, do = told.split(": ", 1)
    return fill(_BANNER, title=f"{seen}:", text=do, link=None)


def in_doubt_html(warning: LotWarning, say: Voice) -> Markup:
    """The list of lots in doubt, and how to find their packages."""
    rows = []
    for related in warning.related:
        other = related.record
        ended = other.ended_at
        when = f"ended {say.dated(say.local(ended).date())}" if ended else "not packaged yet"
        pitched = say.dated(say.local(other.pitched_at).date())
        text = f"the same {joined(list(related.shares))}; pitched {pitched}, {when}"
        rows.append(
            fill(
                "<li>{{ link }}: {{ text }}</li>",
                link=underlined("packaging", other.name, id=other.batch_id),
                text=text,
            )
        )
    unsaid = [word for word, said in (("wort", warning.record.split_of), ("yeast", warning.record.yeast)) if not said]
    blind = f"Its {joined(unsaid)} is not entered, so lots that share it are not found here." if unsaid else ""
    return fill(
        '<section class="sheet"><h3>Also in doubt</h3>{% if rows %}<ul class="evidence">{{ rows }}</ul>{% else %}'
        "<p>No other batch with its wort or yeast is on record.</p>{% endif %}<p>{{ how }} {{ blind }}</p></section>",
        rows=join(rows),
        how=HOW_TO_FIND,
        blind=blind,
    )


def causes_html(causes: Sequence[Cause]) -> Markup:
    """What may be behind a result, each with how to tell it."""
    return fill(
        '<section class="sheet"><h3>What may be behind it, and how to tell</h3><ul class="evidence">'
        "{% for each in causes %}<li><b>{{ each.what }}:</b> {{ each.how_to_tell }}</li>{% endfor %}</ul></section>",
        causes=causes,
    )


def _title(warning: LotWarning, say: Voice) -> str:
    return f"{warning.sentence.removesuffix('.')} ({say.dated(warning.found.at)})."


def _others(warning: LotWarning) -> str:
    if not warning.related:
        return ""
    others = plural(len(warning.related), "other batch", "other batches")
    return f"In doubt too: {others} of the same wort or yeast."
