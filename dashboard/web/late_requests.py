"""What a browser asks of the page before is let go once the next page has begun.

It asks for its page's live parts every few seconds, and for another part with a tap, also while it has not yet heard
of the page to which a link led. Streamlit would draw such a part as one of the page before; the browser then takes the
next page away, and as soon as a part of that comes it shows nothing any more ("Cannot set a node at a delta path").
"""

from __future__ import annotations

from streamlit.proto.ClientState_pb2 import ClientState
from streamlit.runtime.app_session import AppSession


def let_go() -> None:
    """From now on, in this process. Streamlit has no other place to say so; a test in a browser sees that it works."""
    request = AppSession.request_rerun

    def unless_late(session: AppSession, asked: ClientState | None) -> None:
        if asked is not None and asked.fragment_id and asked.page_script_hash not in ("", session.page_script_hash):
            return
        request(session, asked)

    AppSession.request_rerun = unless_late  # type: ignore[method-assign, assignment]
