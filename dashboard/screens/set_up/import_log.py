"""Taking in a log in the browser, of an earlier batch or of a device that kept its own; and taking all along."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

import polars as pl
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from analysis.display_units import number
from analysis.model import DRINKS
from analysis.wording import Voice, capital, plural
from dashboard import access, context
from dashboard.queries import queries
from dashboard.screens.sensors import placement
from dashboard.screens.set_up import import_preview
from dashboard.templates import fill
from dashboard.ui import components, forms, plain
from dashboard.web import uploads
from ingest import transfer
from ingest.errors import EntryError, ImportFileError, IngestError
from ingest.model import BatchRecord, Device, Placement, Vessel, Yeast
from ingest.store import Store
from ingest.transfer import DATE_ORDERS, DateOrder

_KINDS: Final = ("csv", "tsv", "parquet", "jsonl", "ndjson", "zip")
_ROWS: Final = 5
_FILE: Final = "imported file"
_TARGETS: Final = {
    "ended": "an earlier batch, which I describe here",
    "known": "a batch that is in the cellar",
    "none": "no batch, the readings alone",
}


_ORDERS: Final[dict[DateOrder, str]] = {
    "day-first": "the day (9 January 2026)",
    "month-first": "the month (1 September 2026)",
}
_ENCODING: Final = "The file is not UTF-8; it is read as {}. Look whether the names in it are right."


@dataclass(frozen=True, slots=True)
class _Reading:
    """How the log is to be read: our names to the file's, whose readings they are, the order of its dates."""

    columns: dict[str, str]
    device_id: str | None
    dates: DateOrder | None


def show() -> None:
    st.subheader("Import a log")
    st.html(
        "<p>A table of times and gravities: CSV, Parquet or JSON lines. Earlier batches teach the cellar how your "
        "yeasts "
        "usually finish. Taking in the same log twice changes nothing. An export of a cellar (the zip of <i>Take "
        "everything along</i>) goes in here too.</p>"
    )
    path = _uploaded()
    if path is not None and path.suffix.lower() == ".zip":
        _cellar(path)
    elif path is not None:
        _log(path)
    _along()


def _uploaded() -> Path | None:
    """The file that was handed over, on disk."""
    given = st.file_uploader("The log", type=list(_KINDS), key=f"log {st.session_state.get('imports', 0)}")
    if given is None:
        return None
    kept: dict[str, str] = st.session_state.get(_FILE, {})
    if kept.get("id") != given.file_id:
        path = uploads.folder(context.service().settings.data_dir) / Path(given.name).name
        path.write_bytes(given.getbuffer())
        kept = {"id": given.file_id, "path": str(path)}
        st.session_state[_FILE] = kept
    return Path(kept["path"])


def _cellar(path: Path) -> None:
    """An export of a whole cellar."""
    form = forms.loose(f"import {path.parent.name}", queries.voice())
    st.html(
        "<p>This is taken for an export of a cellar. Entries that are in both are replaced by the export's, as one "
        "change that can be undone; readings are added.</p>"
    )
    forms.not_saved()
    taken = forms.tapped("Take the cellar in", form.key("take in"), type="primary")
    form.place(forms.WHOLE_FORM)
    if not taken:
        return
    before = components.newest_change()
    with st.status("Taking it in …") as status:
        try:
            done = transfer.import_zip(context.store(), path, progress=_says(status))
        except IngestError as error:
            status.update(label="It is not taken in.", state="error")
            form.wrong(EntryError(forms.WHOLE_FORM, str(error).rstrip(".")))
            return
    context.service().reload_rules()  # an export brings its own
    readings = f"{number(done.readings_new)} of {plural(done.readings, 'reading')}"
    _finish(path, f"{readings} and {plural(done.entries_new, 'entry', 'entries')} are new or changed.", before)


def _says(status: Any) -> Callable[[str], None]:
    """How an import or an export tells how far it is."""
    return lambda text: status.update(label=plain(capital(text)))


def _finish(path: Path, said: str, before: int | None) -> None:
    """Say what became of it, and make room for the next."""
    components.say_done(said, before)
    st.session_state["imports"] = st.session_state.get("imports", 0) + 1
    shutil.rmtree(path.parent, ignore_errors=True)
    st.session_state.pop(_FILE, None)
    st.rerun()


def _log(path: Path) -> None:
    store, say = context.store(), queries.voice()
    try:
        head = import_preview.head(path)
    except IngestError as error:
        st.html(fill('<p class="wrong" role="alert">{{ error }}</p>', error=capital(str(error))))
        return
    assumed = transfer.encoding_assumed(path)
    if assumed is not None:
        st.html(fill('<p class="figures" role="status">{{ says }}</p>', says=_ENCODING.format(assumed)))
    rows = [["" if v is None else str(v) for v in row] for row in head.head(_ROWS).iter_rows()]
    st.html(components.table(head.columns, rows, "the first rows of the log"))
    form = forms.loose(f"import {path.parent.name}", say)
    columns = _columns(form, head)
    device_id = None
    if "device_id" not in columns:
        device_id = form.text(
            "device", "The device that measured", import_preview.device_id(path), help="Any id will do."
        )
    dates = _dates(form, path, columns)
    target, facts = _target(form, store)
    forms.not_saved()
    taken = forms.tapped("Take it in", form.key("take in"), type="primary")
    form.place(forms.WHOLE_FORM)
    if taken:
        _take_in(form, path, _Reading(columns, device_id, dates), target, facts)


def _dates(form: forms.Form, path: Path, columns: dict[str, str]) -> DateOrder | None:
    """The order of dates that may mean two days, which only who wrote them knows; asked for only then."""
    if not import_preview.dates_to_ask_for(path, columns):
        return None
    label = "Dates such as 9/1/2026 begin with"
    return form.choice("dates", label, DATE_ORDERS, None, _ORDERS.__getitem__, placeholder="Choose one")


def _columns(form: forms.Form, head: pl.DataFrame) -> dict[str, str]:
    """Our name to the file's name, as the person says."""
    guessed = import_preview.columns(head)
    st.html("<p><b>Which column is what?</b></p>")
    found: dict[str, str] = {}
    places: list[DeltaGenerator] = []
    for n, (ours, label) in enumerate(import_preview.labels(form.voice.units).items()):
        # A row at a time: on a phone they stand below one another in the same order, the most needed first.
        places = list(st.columns(3)) if n % 3 == 0 else places
        with places[n % 3]:
            theirs = form.choice(ours, label, head.columns, guessed.get(ours), placeholder="not in this log")
        if theirs is not None:
            found[ours] = theirs
    read_as = import_preview.read_as(head, found, form.voice.units)
    if read_as:
        st.html(fill('<p class="figures" role="status">{{ says }}</p>', says=read_as))
    return found


def _target(form: forms.Form, store: Store) -> tuple[str, dict[str, Any]]:
    """Into which batch it goes."""
    target = form.choice("target", "It belongs to", list(_TARGETS), "ended", lambda t: _TARGETS[t]) or "none"
    facts: dict[str, Any] = {}
    if target == "known":
        known = [*store.active_batches(), *store.finished_batches()]
        facts["batch"] = form.choice("batch", "Batch", known, None, lambda b: b.name, placeholder="Choose one")
    elif target == "ended":
        facts |= _earlier(form, store)
    return target, facts


def _earlier(form: forms.Form, store: Store) -> dict[str, Any]:
    got: dict[str, Any] = {}
    left, middle, right = st.columns(3)
    with left:
        got["name"] = form.text("name", "Name of the batch", "", placeholder="such as Gatepost bitter, spring")
        got["drink"] = form.choice("drink", "Drink", DRINKS, "ale", str.capitalize)
    with middle:
        names = sorted({y.name for y in store.all(Yeast)})
        got["yeast"] = form.choice(
            "yeast", "Yeast", names, None, accept_new_options=True, placeholder="Choose one, or type a new name"
        )
        got["original_gravity_sg"] = form.number(
            "original_gravity_sg", "Gravity before pitching", None, "gravity", placeholder="not measured"
        )
    with right:
        got["pitched_at"] = form.moment("pitched_at", "Yeast pitched (empty: the first row)", None)
        got["ended_at"] = form.moment("ended_at", "Ended (empty: the last row)", None)
        got["vessel"] = form.choice(
            "vessel_id", "Vessel", placement.vessels(store), None, lambda v: v.name, placeholder="one of its own"
        )
    return got


def _take_in(form: forms.Form, path: Path, how: _Reading, target: str, facts: dict[str, Any]) -> None:
    store, before = context.store(), components.newest_change()
    known: BatchRecord | None = facts.get("batch")
    if target == "known" and known is None:
        form.missing("batch", "no batch is chosen", "Choose one, or take in the readings alone.")
        return
    if target == "ended" and not facts["name"]:
        form.missing("name", "the name is empty", "Give the batch one that you will recognise.")
        return
    with st.status("Taking it in …") as status:
        try:
            done = transfer.import_log(
                store,
                path,
                device_id=how.device_id or None,
                columns=how.columns,
                dates=how.dates,
                batch_id=known.batch_id if known is not None else None,
                progress=_says(status),
            )
            if target == "ended":
                _save_earlier(store, done.devices, _instant(done.first_at), _instant(done.last_at), facts, how.columns)
        except EntryError as error:
            status.update(label="It is not taken in yet.", state="error")
            form.wrong(error)
            return
        except ImportFileError as error:
            status.update(label="Nothing of it was kept.", state="error")
            form.wrong(error.for_screen())
            return
        except IngestError as error:
            status.update(label="Nothing of it was kept.", state="error")
            form.wrong(EntryError(forms.WHOLE_FORM, str(error).rstrip(".")))
            return
    _finish(path, _said(done, form.voice), before)


def _instant(text: str) -> datetime:
    return datetime.fromisoformat(text)


def _save_earlier(
    store: Store,
    devices: Sequence[str],
    first: datetime,
    last: datetime,
    facts: dict[str, Any],
    columns: dict[str, str],
) -> None:
    """The earlier batch with its vessel and its devices, as one change."""
    after = last + timedelta(seconds=1)  # the last row belongs to the batch
    vessel: Vessel = facts["vessel"] or Vessel(name=_free_name(store, facts["name"]))
    yeast = (facts["yeast"] or "").strip() or None
    record = BatchRecord(
        name=facts["name"],
        vessel_id=vessel.vessel_id,
        drink=facts["drink"] or "other",
        yeast=yeast,
        original_gravity_sg=facts["original_gravity_sg"],
        pitched_at=facts["pitched_at"] or first,
        ended_at=facts["ended_at"] or after,
    )
    records: list[Any] = [] if facts["vessel"] else [vessel]
    if yeast is not None and all(y.name != yeast for y in store.all(Yeast)):
        records.append(Yeast(name=yeast))
    records.append(record)
    measures_gravity = bool(columns.keys() & import_preview.GRAVITIES)
    for device_id in devices:
        if store.get(Device, device_id) is None:
            kind = "float" if measures_gravity else "probe"
            records.append(Device(device_id=device_id, kind=kind, first_seen_at=first))  # type: ignore[arg-type]
        records.append(
            Placement(
                device_id=device_id,
                vessel_id=vessel.vessel_id,
                from_at=min(first, record.pitched_at),
                to_at=max(after, record.ended_at or after),
            )
        )
    store.save_many(records, f"Imported {record.name}")


def _free_name(store: Store, name: str) -> str:
    taken = {v.name.casefold() for v in store.all(Vessel)}
    wanted = f"Log: {name}"
    n = 2
    while wanted.casefold() in taken:
        wanted, n = f"Log: {name} {n}", n + 1
    return wanted


def _said(done: transfer.ImportedLog, say: Voice) -> str:
    rows = f"{number(done.rows)} row{'s' if done.rows != 1 else ''}"
    parts = [f"{number(done.new)} of {rows} {'is' if done.new == 1 else 'are'} new readings"]
    if done.repeated:
        parts.append(f"{number(done.repeated)} were there already")
    if done.conflicts:
        parts.append(f"{number(done.conflicts)} contradict what is kept and stand under Sensors as rejected")
    if done.without_values:
        parts.append(f"{number(done.without_values)} had no value")
    zone = f" Times without a zone were read as {done.time_zone_assumed}." if done.time_zone_assumed else ""
    zone += f" Its text was read as {done.encoding_assumed}." if done.encoding_assumed else ""
    first, last = _instant(done.first_at), _instant(done.last_at)
    return f"{'; '.join(parts)}. From {say.exact(first)} to {say.exact(last)}.{zone}"


def _along() -> None:
    """Everything to take along: an export, zipped."""
    st.subheader("Take everything along")
    st.html(
        "<p>All readings, entries and verdicts as Parquet and CSV. <code>tunroom export DIR</code> does the same "
        "from a "
        "terminal, and <code>tunroom import DIR</code> makes the same cellar of it.</p>"
    )
    key = "export file"
    if st.button("Prepare the export", key="prepare export", disabled=access.only_looks()):
        access.refuse_unless_keeper()  # it holds the secrets of the calendar and of the addresses for messages
        with st.status("Writing it …") as status, tempfile.TemporaryDirectory(prefix="tunroom-export-") as folder:
            target = Path(folder) / "cellar"
            transfer.export_cellar(context.store(), target, progress=_says(status))
            made = shutil.make_archive(str(Path(folder) / "export"), "zip", target)
            st.session_state[key] = Path(made).read_bytes()
            status.update(label="The export is ready.", state="complete")
    if key in st.session_state:
        st.download_button(
            "Download the export",
            st.session_state[key],
            file_name="cellar.zip",
            mime="application/zip",
            key="export download",
            on_click="ignore",
        )
