"""Which vessels the first screen shows, and in which order; asked only where there are many."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal, get_args

import streamlit as st

from analysis.wording import natural
from dashboard.queries import Standing
from ingest.model import BatchRecord

FEW: Final = 6
"""Up to so many vessels stand on one screen without being sorted."""

Order = Literal["By need", "By vessel", "By finish"]
Part = Literal["All", "Want you", "Fermenting", "Finished", "Without a float"]


@dataclass(frozen=True, slots=True)
class Arrangement:
    """What was chosen."""

    order: Order = "By need"
    part: Part = "All"


USUAL: Final = Arrangement()


def ask(batches: Sequence[BatchRecord]) -> Arrangement:
    """The two choices, kept in the address so that it can be bookmarked."""
    if len(batches) <= FEW:
        return USUAL
    with st.container(key="arrangement", horizontal=True, gap="small"):
        order = st.segmented_control(
            "Order",
            get_args(Order),
            default="By need",
            required=True,
            key="order",
            bind="query-params",
            label_visibility="collapsed",
        )
        part = st.segmented_control(
            "Show",
            get_args(Part),
            default="All",
            required=True,
            key="show",
            bind="query-params",
            label_visibility="collapsed",
        )
    return Arrangement(order or "By need", part or "All")


def arranged(found: Sequence[Standing], look: Arrangement) -> list[Standing]:
    """The vessels that are meant, in order; `found` comes by need."""
    seen = [s for s in found if _meant(s, look.part)]
    if look.order == "By vessel":
        return sorted(seen, key=lambda s: natural(s.vessel.name if s.vessel is not None else s.record.name))
    if look.order == "By finish":
        return sorted(seen, key=_finish)
    return seen


def _meant(s: Standing, part: Part) -> bool:
    match part:
        case "Want you":
            return bool(s.pressing)
        case "Fermenting":
            return s.outlook is not None and not s.outlook.assessment.finished
        case "Finished":
            return s.outlook is not None and s.outlook.assessment.finished
        case "Without a float":
            return all(device.kind != "float" for device in s.devices)
    return True


def _finish(s: Standing) -> tuple[int, float]:
    """Finished ones first, then by the likely day; those without a day last."""
    if s.outlook is None:
        return 3, 0.0
    a = s.outlook.assessment
    if a.finished:
        return 0, 0.0
    when: datetime | None = a.finish.p50 if a.finish is not None else None
    if when is None and s.beside.following is not None and s.beside.following.finish is not None:
        when = s.beside.following.finish[1]
    return (1, when.timestamp()) if when is not None else (2, 0.0)
