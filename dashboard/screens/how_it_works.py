"""What do these words and verdicts mean?"""

from __future__ import annotations

import streamlit as st

from dashboard import components, explained


def show() -> None:
    st.html('<h1 class="lead">What the words and verdicts mean, and how far to trust them.</h1>')
    components.markup(explained.page_html(), key="explained")
