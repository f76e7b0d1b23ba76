from __future__ import annotations

import pytest

from ingest.store.store import Store


@pytest.fixture
def store():
    with Store.in_memory() as opened:
        yield opened
