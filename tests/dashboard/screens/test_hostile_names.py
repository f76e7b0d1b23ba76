"""Names that are HTML, Markdown, templates or very long: every screen, the printed sheet and mails show them as text."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from datetime import timedelta
from html.parser import HTMLParser
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from analysis.packaging.sheet import sheet
from dashboard import context, navigation
from dashboard.sheet.html import sheet_html
from dashboard.ui import components
from ingest.model import BatchRecord, Device, EventRecord, Preferences, Vessel, Yeast
from tests.dashboard.conftest import NOW, Cellar, put_batch  # type: ignore[import-not-found,unused-ignore]

NAMES = (
    "<img src=x onerror=alert(1)>",
    "\"'&<b onmouseover='x'>",
    "{{7*7}}{% raw %}<i>",
    "</script></style><script>alert(2)</script>",
    "<svg onload=x> " + "very long " * 12,
)
MARKDOWN = ("**bold**", "[a](javascript:x)", ":red[x]", "$x$", "`code`")
EVIL_TAGS = {"img", "script", "i"}
EVIL_ATTRIBUTES = re.compile(r"on\w+")
