from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from dashboard import app
from dashboard.queries import milestones
from ingest.monitoring import Outlook


def judged(cellar: Any) -> Outlook:
    outlook: Outlook = cellar.service.outlooks.of(cellar.batches["held"].batch_id)
    return outlook


def test_a_batchs_page_finds_its_milestones_weighed_once_the_watcher_has_looked_at_it_twice(
    cellar: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    outlook = judged(cellar)
    for _ in range(2):
        app._prepare(outlook)
    monkeypatch.setattr(milestones, "batch_milestones", lambda *_: pytest.fail("weighed while a reader waits"))
    assert milestones.of(outlook).terminal_gravity_sg is not None


def test_the_first_look_at_all_batches_does_not_wait_for_milestones(
    cellar: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(milestones, "batch_milestones", lambda *_: pytest.fail("others are not judged yet"))
    app._prepare(judged(cellar))


def test_milestones_that_cannot_be_weighed_do_not_stop_who_judges(
    cellar: Any, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    outlook = judged(cellar)
    later = replace(outlook, assessment=replace(outlook.assessment, now=outlook.assessment.now + timedelta(hours=2)))
    monkeypatch.setattr(milestones, "batch_milestones", lambda *_: 1 / 0)
    for _ in range(2):
        app._prepare(later)
    assert "could not be weighed" in caplog.text
