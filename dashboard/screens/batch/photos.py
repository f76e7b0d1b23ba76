"""Photos and longer notes of a batch, for oneself."""

from __future__ import annotations

import functools
from dataclasses import replace
from datetime import UTC, datetime
from typing import Final

import streamlit as st

from dashboard import context
from dashboard.queries import queries
from dashboard.ui import forms, plain
from ingest.errors import EntryError
from ingest.model import BatchRecord, Photo
from ingest.photos import MOST_PHOTOS, MOST_UPLOAD_BYTES, re_encoded

LONGEST_NOTE: Final = 20_000
"""Letters of a note: ten printed pages."""


def show(record: BatchRecord) -> None:
    """The notes, then the photos, the newest first."""
    store, say = context.store(), queries.voice()
    name = f"notes {record.batch_id}"
    shown = forms.opened(name, record)
    with forms.entry(name, say, save="Save the notes", shows=shown, border=False) as form:
        text = form.area("notes", "Notes", shown.notes, height=220, max_chars=LONGEST_NOTE)
    if form.sent:
        form.keep(lambda: store.save(replace(shown, notes=text), forms.based(name)), "The notes are saved.")
    _add(record)
    photos = sorted(store.all(Photo, batch_id=record.batch_id), key=lambda p: p.at, reverse=True)
    columns = st.columns(2) if photos else []
    for n, photo in enumerate(photos):
        with columns[n % 2]:
            _one(photo)


def _one(photo: Photo) -> None:
    store, say = context.store(), queries.voice()
    data = store.picture_of(photo.photo_id)
    about = f"{photo.caption or 'Photo'}, {say.exact(photo.at)}"
    if data is not None:
        st.image(data, caption=plain(about), width="stretch", alt=photo.caption or about)
    forms.remove_button(
        f"Remove the photo of {say.exact(photo.at)}",
        f"remove {photo.photo_id}",
        functools.partial(store.remove, photo),
        "The photo is removed.",
    )


def _add(record: BatchRecord) -> None:
    """The file picker; a telephone offers its camera there."""
    turn = st.session_state.setdefault("photo turn", 0)
    say = queries.voice()
    with forms.entry(f"photo {record.batch_id} {turn}", say, save="Add the photo", border=False) as form:
        file = st.file_uploader(
            "A photo",
            type=["jpg", "jpeg", "png", "webp"],
            key=form.key("photo"),
            max_upload_size=MOST_UPLOAD_BYTES // 1_000_000,
            help="It is made smaller, and where and when it was taken is left out.",
        )
        form.place("photo")
        caption = form.text("caption", "What it shows", "", max_chars=200)
    if not form.sent:
        return
    if file is None:
        form.missing("photo", "no photo is chosen", "Choose one first.")
        return
    data = file.getvalue()
    form.keep(lambda: add(record, data, caption), "The photo is added.", then=_next_turn)


def _next_turn() -> None:
    st.session_state["photo turn"] += 1


def add(record: BatchRecord, data: bytes, caption: str) -> Photo:
    """Re-encode a photo and keep it.

    Raises
    ------
    EntryError
        If the batch has as many as it may, or it cannot be read.
    """
    store = context.store()
    if len(store.all(Photo, batch_id=record.batch_id)) >= MOST_PHOTOS:
        raise EntryError("photo", f"this batch has {MOST_PHOTOS} photos", "Remove one first.")
    picture, width, height = re_encoded(data)
    photo = Photo(batch_id=record.batch_id, at=datetime.now(UTC), caption=caption, width_px=width, height_px=height)
    store.keep_photo(photo, picture)
    return photo
