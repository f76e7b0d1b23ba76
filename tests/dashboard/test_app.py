"""What a start waits for: the web server, the store and the broker; nothing that pages and verdicts are made with."""

from __future__ import annotations

import importlib.metadata
import json
import subprocess
import sys
from pathlib import Path

from streamlit.components.v2 import manifest_scanner
from streamlit.components.v2.component_manager import BidiComponentManager

from dashboard import app

HEAVY = ("scipy", "apprise", "icalendar", "prometheus_client", "analysis.assessment", "dashboard.navigation", "pandas")


def test_a_start_loads_nothing_that_only_pages_and_verdicts_need():
    said = "import json, sys; from dashboard import app; print(json.dumps(sorted(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", said], cwd=Path(__file__).parents[2], capture_output=True, text=True, check=True
    )
    loaded = set(json.loads(done.stdout))
    assert "ingest.service" in loaded
    assert loaded.isdisjoint(HEAVY)


def test_no_installed_package_is_asked_for_components(monkeypatch):
    asked: list[str] = []
    monkeypatch.setattr(importlib.metadata, "distributions", lambda **_: asked.append("all of them") or [])
    monkeypatch.setattr(manifest_scanner, "scan_component_manifests", app._no_components)
    BidiComponentManager().discover_and_register_components(start_file_watching=False)
    assert asked == []
