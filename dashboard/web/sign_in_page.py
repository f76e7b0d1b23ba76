"""The page that asks for the password: plain HTML without a script, since nothing else is shown to strangers."""

from __future__ import annotations

from dashboard.charts import variables
from dashboard.templates import Markup, render


def html(trouble: str, towards: str) -> str:
    """The page; `trouble` is what went wrong, `towards` the page to go to afterwards."""
    return str(
        render(
            "sign_in/page.html",
            trouble=trouble,
            towards=towards,
            light=Markup(variables("light")),
            dark=Markup(variables("dark")),
        )
    )
