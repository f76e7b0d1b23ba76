"""How often a password may be tried: the more it failed, the longer the wait, for one address and for all together."""

from __future__ import annotations

import ipaddress
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

_FREE: Final = 4
"""Tries of one address without a wait: what mistyping takes."""
_LONGEST_S: Final = 900.0
"""Seconds; the wait doubles from 2 s up to this."""
_FORGET_S: Final = 86_400.0
"""Seconds since its last try, after which an address is as any other."""
_MOST_ADDRESSES: Final = 1024
_ALL_AT_ONCE: Final = 30.0
"""Tries of all addresses together without a wait, and then one in each `_ALL_EVERY_S`."""
_ALL_EVERY_S: Final = 6.0
"""Seconds; 14,400 tries a day. NIST SP 800-63B: not more than 100 in a row for one account; ours are no accounts, and
locking the one there is would lock out its owner."""
_MOST_KNOWN: Final = 256
_V6_NETWORK: Final = 64
"""Bits: whoever has one address of IPv6 usually has all with these first bits (RFC 6177)."""


@dataclass(slots=True)
class _Past:
    failed: int
    at: float


class Attempts:
    """Counts tries in bounded memory.

    Parameters
    ----------
    clock
        Seconds that only go forward.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._alone = threading.Lock()
        self._past: OrderedDict[str, _Past] = OrderedDict()
        self._known: OrderedDict[str, None] = OrderedDict()
        """Addresses from which somebody has signed in: strangers who try do not make these wait."""
        self._left, self._filled_at = _ALL_AT_ONCE, clock()

    def begin(self, address: str) -> float:
        """Ask to try. 0: go ahead, and it counts as failed until `succeeded`; else the seconds to wait first."""
        key = _key(address)
        with self._alone:
            now = self._clock()
            past = self._past.get(key)
            if past is not None and now - past.at > _FORGET_S:
                past = None
            wait = 0.0 if past is None else past.at + _pause(past.failed) - now
            self._left = min(_ALL_AT_ONCE, self._left + (now - self._filled_at) / _ALL_EVERY_S)
            self._filled_at = now
            if key not in self._known:
                wait = max(wait, (1 - self._left) * _ALL_EVERY_S)
            if wait > 0:
                return wait
            if key not in self._known:
                self._left -= 1
            self._past[key] = _Past(1 if past is None else past.failed + 1, now)
            self._past.move_to_end(key)
            while len(self._past) > _MOST_ADDRESSES:
                self._past.popitem(last=False)
            return 0.0

    def succeeded(self, address: str) -> None:
        """It was the right one: nothing is held against this address."""
        key = _key(address)
        with self._alone:
            if self._past.pop(key, None) is not None and key not in self._known:
                self._left = min(_ALL_AT_ONCE, self._left + 1)
            self._known[key] = None
            self._known.move_to_end(key)
            while len(self._known) > _MOST_KNOWN:
                self._known.popitem(last=False)


def _pause(failed: int) -> float:
    return 0.0 if failed < _FREE else min(_LONGEST_S, 2.0 ** min(failed - _FREE + 1, 30))


def _key(address: str) -> str:
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return ""  # a peer without an address, such as a local socket: one for all of these
    if found.version == 4:
        return str(found)
    if found.ipv4_mapped is not None:
        return str(found.ipv4_mapped)
    return str(ipaddress.ip_network((found, _V6_NETWORK), strict=False))
