"""A cellar of many vessels in every state that the demo lacks: for `pictures.py`, written into the store directly."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np

from ingest.model import BatchRecord, EventRecord, HandSample, Preferences, Report, Vessel, Yeast
from ingest.store import Store
from tests.dashboard.conftest import NOW, put_batch

LOT = "Tuesday wort"


def ago(hours: float) -> Any:
    """So many hours before the cellar is filled."""
    return NOW - timedelta(hours=hours)


def fill(folder: Path) -> dict[str, str]:
    """Fill a new cellar; the ids of its batches by what is happening to them."""
    folder.mkdir(parents=True, exist_ok=True)
    store = Store.open(folder / "tunroom.duckdb")
    try:
        store.save(Preferences(cellar_name="The long shelf", time_zone="Europe/Lisbon"))
        for name, low, high in (("Marrow", 0.74, 0.80), ("Dune", 0.78, 0.84), ("Plover", 0.97, 1.06)):
            store.save(Yeast(name=name, attenuation_low=low, attenuation_high=high))
        store.keep([Report(device_id="float-new", measured_at=ago(0.1), received_at=ago(0.1), gravity_sg=1.050)])
        found = {**_ended(store), **_by_themselves(store), **_of_one_wort(store)}
        return {what: record.batch_id for what, record in found.items()}
    finally:
        store.close()


def _ended(store: Store) -> dict[str, BatchRecord]:
    ended, found = ago(24 * 20), {}
    for n, (yeast, end) in enumerate((("Marrow", 1.011), ("Dune", 1.009), ("Marrow", 1.012)), start=30):
        record = put_batch(store, n, f"Earlier {yeast} {n}", 32, end=end, yeast=yeast, ended_at=ended)
        store.save(EventRecord(batch_id=record.batch_id, kind="package", at=ended - timedelta(hours=1)))
        found["packaged"] = record
    return found


def _by_themselves(store: Store) -> dict[str, BatchRecord]:
    chilled = {"temperature_c": 3.0, "end": 1.011}
    found = {
        "fresh": put_batch(store, 1, "Kitchen Bitter", 0.2),
        "active": put_batch(store, 2, "Harbour Pale", 1.7),
        "held": put_batch(store, 3, "Old Gate Ale with a name that is rather long for a row", 9),
        "stalled": put_batch(store, 4, "Mill Porter", 9, end=1.026, middle=1.3),
        "hopped": put_batch(store, 5, "Lantern Pale", 10),
        "silent": put_batch(store, 6, "Orchard Still", 3, silent_h=14, drink="cider", yeast="Plover", end=1.000),
        "cold": put_batch(store, 7, "Stone Lager", 12, drink="lager", **chilled),
        "fed": put_batch(store, 8, "Thyme Mead", 7, drink="mead", yeast="Plover", original_gravity_sg=1.090,
                         end=1.020, middle=3.0, shape=_fed),
        "swinging": put_batch(store, 9, "Ferry Ale", 10, shape=_swinging),
    }  # fmt: skip
    hopped = found["hopped"].batch_id
    store.save(EventRecord(batch_id=hopped, kind="dry hop", at=ago(6), amount_g=60, hop_variety="Osprey"))
    store.save(HandSample(batch_id=hopped, at=ago(2), value=1.012, temperature_c=20.0))
    store.save(EventRecord(batch_id=found["cold"].batch_id, kind="crash", at=ago(40)))
    store.save(EventRecord(batch_id=found["fed"].batch_id, kind="feed", at=ago(96), amount_g=300, note="honey"))
    found |= _to_package(store)
    vessel = store.save(Vessel(name="Demijohn 10"))
    found["unwatched"] = store.save(
        BatchRecord(name="Plain Perry", vessel_id=vessel.vessel_id, drink="cider", pitched_at=ago(60))
    )
    return found


def _to_package(store: Store) -> dict[str, BatchRecord]:
    """Three that have ended, whose sheets say go, caution and stop; one packaged amid its fall; one without a fall."""
    kegs = {"package": "keg", "carbonation_volumes": 2.4, "serving_c": 6.0, "keg_rating_kpa": 900.0}
    bottles = {"package": "bottle", "carbonation_volumes": 2.4, "bottle_rating_kpa": 1000.0}
    found = {}
    for number, what, sheet in (
        (20, "go", kegs),
        (21, "caution", bottles),
        (22, "stop", {**bottles, "carbonation_volumes": 4.5, "bottle_rating_kpa": 600.0}),
    ):
        record = put_batch(store, number, f"Cellar {what}", 9, end=1.012, plan={})
        if what == "go":
            store.save(HandSample(batch_id=record.batch_id, at=ago(2), value=1.012, temperature_c=20.0))
        store.change_note(f"sheet of {record.batch_id}", json.dumps(sheet), "Changed the sheet")
        found[what] = record
    ended = ago(24 * 15)
    found["abandoned"] = put_batch(store, 33, "Short Walk", 17, ended_at=ended)
    store.save(EventRecord(batch_id=found["abandoned"].batch_id, kind="package", at=ended - timedelta(hours=1)))
    found["still"] = put_batch(store, 23, "Slow Start", 1.1, shape=lambda days: np.full(days.size, 1.052))
    return found


def _of_one_wort(store: Store) -> dict[str, BatchRecord]:
    """Eight vessels of one wort: three with a float, the others follow them."""
    found, pitched = {}, ago(24 * 4)
    for n in range(11, 19):
        facts: dict[str, Any] = {"split_of": LOT, "yeast": "Marrow" if n % 2 else "Dune", "volume_l": 5.0}
        if n in (11, 12, 13):
            record = put_batch(store, n, LOT, 4, end=1.010 + n % 2 / 1000, middle=1.4, **facts)
            found["sibling"] = record
            continue
        vessel = store.save(Vessel(name=f"Vessel {n}"))
        found["follows"] = store.save(
            BatchRecord(name=LOT, vessel_id=vessel.vessel_id, drink="ale", original_gravity_sg=1.052,
                        pitched_at=pitched, plan={"dry_hops": 1}, **facts)
        )  # fmt: skip
    store.save(HandSample(batch_id=found["follows"].batch_id, at=ago(26), value=1.014, temperature_c=20.0))
    return found


def _fed(days: np.ndarray) -> np.ndarray:
    first = 1.030 + 0.060 / (1 + np.exp((days - 1.8) / 0.5))
    return np.where(days < 3.0, first, 1.020 + 0.022 * np.exp(-(days - 3.0) / 2.0))


def _swinging(days: np.ndarray) -> np.ndarray:
    course = 1.012 + 0.040 / (1 + np.exp((days - 1.5) / 0.4))
    return course + 0.004 * np.sin(2 * np.pi * days / 1.4) * (days > 3)
