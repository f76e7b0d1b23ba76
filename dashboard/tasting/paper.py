"""A tasting on paper: ballots for whoever has no phone, and what to pour for whom.

The ballots are one HTML file that needs nothing else and prints on A4 and on Letter.
"""

from __future__ import annotations

from collections.abc import Callable

import segno

from dashboard.queries import tastings
from dashboard.templates import render
from ingest.store import Store
from ingest.tastings import Taster, Tasting


def qr_data_uri(address: str) -> str:
    """A QR code (ISO/IEC 18004) of an address, as a picture that stands in the page itself."""
    return str(segno.make(address, error="m", micro=False).svg_data_uri(scale=5, border=4, dark="#000", light="#fff"))


def ballots(store: Store, tasting: Tasting, address_of: Callable[[Taster], str]) -> str:
    """A sheet for each taster: codes in the order of serving, cautions, room for answers, and their own QR code.

    It names no drink, also not in its title.
    """
    sheets = [
        {
            "name": taster.name,
            "codes": tastings.codes_of(tasting, taster),
            "qr": qr_data_uri(address_of(taster)),
        }
        for taster in tastings.tasters_of(store, tasting)
    ]
    return str(render("tasting/ballots.html", tasting=tasting, sheets=sheets))


def pouring_rows(store: Store, tasting: Tasting) -> tuple[list[list[str]], list[list[str]]]:
    """What is in which glass, by code; and for each taster the codes in the order of serving."""
    key = sorted([code, tasting.arms[arm][0]] for code, arm in tasting.glasses)
    order = [[t.name, *tastings.codes_of(tasting, t)] for t in tastings.tasters_of(store, tasting)]
    return key, order
