"""Who may ask this server for anything: the names it answers to, who has signed in, and who may change something."""

from __future__ import annotations

from dashboard.access.attempts import Attempts
from dashboard.access.door import can_sign_out, notice, only_looks, refuse_unless_keeper, set_gate
from dashboard.access.gate import Gate
from dashboard.access.hosts import OwnNamesOnly, names_of
from dashboard.access.local import asks_for_itself
from dashboard.access.passwords import ROLES, Passwords
from dashboard.access.sign_in import METRICS, SIGN_IN, SIGN_OUT, SignedInOnly

__all__ = [
    "METRICS",
    "ROLES",
    "SIGN_IN",
    "SIGN_OUT",
    "Attempts",
    "Gate",
    "OwnNamesOnly",
    "Passwords",
    "SignedInOnly",
    "asks_for_itself",
    "can_sign_out",
    "names_of",
    "notice",
    "only_looks",
    "refuse_unless_keeper",
    "set_gate",
]
