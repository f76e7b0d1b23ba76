"""The entry that Streamlit runs for every visit; everything is in `pages`."""

from __future__ import annotations

from dashboard import navigation

navigation.run()
