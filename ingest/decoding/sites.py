"""Readings of other sites: what their brokers hand on, and whose device it then is.

A site is another place with a broker of its own, which hands its messages on to ours below ``<prefix>/site/<site>/``.
There a device ``float-1`` is the device ``<site>:float-1`` of this cellar, so that two sites may have one each. Only
sites that the settings name are heard, and no device of ours may bear the name of one of theirs.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

from ingest.decoding.device_id import is_good_id
from ingest.decoding.draft import shown
from ingest.errors import Fault

_BETWEEN: Final = ":"
"""Between site and device; a site's own name has none, so that the first one ends it."""


class Origin(NamedTuple):
    """Where a message was sent first: the site (None: here), and the topic it had there."""

    site: str | None
    topic: str

    def named(self, device_id: str) -> str:
        """The device's id in this cellar."""
        return device_id if self.site is None else f"{self.site}{_BETWEEN}{device_id}"


def is_good_site(name: str) -> bool:
    """Whether a site may have this name: that of a device, without a colon."""
    return is_good_id(name) and _BETWEEN not in name


def topics_of(sites: Iterable[str], prefix: str) -> tuple[str, ...]:
    """What to listen to for these sites."""
    return tuple(f"{prefix}/site/{site}/#" for site in sites)


def origin_of(topic: str, prefix: str, sites: Sequence[str]) -> Origin:
    """Whose message this is; one that no named site handed on is taken as sent here, as it stands."""
    head = f"{prefix}/site/"
    if sites and topic.startswith(head):
        site, _, there = topic[len(head) :].partition("/")
        if site in sites and there:
            return Origin(site, f"{prefix}/{there}" if there.startswith("report/") else there)
    return Origin(None, topic)


def unknown_site(topic: str, prefix: str) -> Fault | None:
    """The fault of a message that a site handed on which the settings do not name."""
    head = f"{prefix}/site/"
    if not topic.startswith(head):
        return None
    site = topic[len(head) :].partition("/")[0]
    return Fault("topic", f"no site {shown(site)} is named in the settings", "Add it to sites in [broker]")


def usurped(origin: Origin, device_id: str, sites: Sequence[str]) -> Fault | None:
    """The fault of a device here that bears the name of a site's device."""
    site, colon, _ = device_id.partition(_BETWEEN)
    if origin.site is not None or not colon or site not in sites:
        return None
    problem = f"{shown(device_id)} is the name of a device of the site {shown(site)}"
    return Fault("topic", problem, "Give this device another id, without the site's name and a colon")
