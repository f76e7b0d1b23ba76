"""What do these words and verdicts mean?"""

from __future__ import annotations

import streamlit as st

from dashboard.screens.how_it_works import glossary
from dashboard.ui import components


def show() -> None:
    st.html('<h1 class="lead">What the words and verdicts mean, and how far to trust them.</h1>')
    components.markup(glossary.page_html(), key="explained")
