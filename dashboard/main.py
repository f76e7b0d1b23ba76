"""The entry that Streamlit runs for every visit; everything is in `pages`."""

from __future__ import annotations

from dashboard.web import warm_up

warm_up.load()

from dashboard import navigation  # noqa: E402 - not before all of it is loaded, so that no two threads load it

navigation.run()
