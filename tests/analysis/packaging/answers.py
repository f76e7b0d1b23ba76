"""The packaging sheet as its scripts get it, for tests that ask for answers by key and for sentences."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis import packaging
from analysis.display_units import DisplayUnits
from analysis.wording.sheet_json import as_json


def sheet(inputs: Mapping[str, Any], *, say: DisplayUnits | None = None) -> dict[str, Any]:
    return as_json(packaging.sheet(inputs), say or DisplayUnits())
