"""What `tunroom check` and `tunroom decode` print: whether the settings are right, and what a message becomes."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from ingest.decoding import QUANTITIES, Decoded, Rule, topics_of
from ingest.decoding import decode as decode_message
from ingest.errors import SettingsError
from ingest.model import CLOCK_AHEAD, CLOCK_UNSET, GUESSED_UNIT, NO_CLOCK, RELATIVE, Report
from ingest.settings import Settings
from ingest.settings import settings as settings_file


@dataclass(frozen=True, slots=True)
class Explanation:
    """A text for the terminal, and whether all is well."""

    text: str
    good: bool

    def __str__(self) -> str:
        return self.text


WHY_THIS_TIME: Final[Mapping[str | None, str]] = {
    None: "the device's own time",
    NO_CLOCK: "the time of receipt, as the message has no time",
    RELATIVE: "counted back from the time of receipt, as the message says",
    CLOCK_UNSET: "from the time of receipt, as the device's clock was never set (it is before 2020)",
    CLOCK_AHEAD: "from the time of receipt, as the device's clock is ahead of ours",
    GUESSED_UNIT: "the device's own time; whether it is in seconds or milliseconds had to be guessed",
}
"""A time flag in words."""


def check(config: Path | None, data: Path | None = None, environ: Mapping[str, str] | None = None) -> Explanation:
    """Read the settings as a server would, and say what they amount to or which line is wrong."""
    environment = os.environ if environ is None else environ
    try:
        settings = settings_file.load(config, data, environment)
    except SettingsError as error:
        return Explanation(str(error), good=False)
    found = config or Path.cwd() / settings_file.FILE_NAME
    origin = str(found) if found.is_file() else f"no {settings_file.FILE_NAME} here: defaults and environment"
    return Explanation("\n".join((f"Settings: {origin}", *_summary(settings), "All settings can be used.")), good=True)


def _summary(settings: Settings) -> list[str]:
    broker = settings.broker
    where = (
        f"embedded, listening at {broker.listen}:{broker.port}" if settings.embedded else f"{broker.host}:{broker.port}"
    )
    login = f"user {broker.user}, {'with' if broker.password else 'without'} a password" if broker.user else "no login"
    sites = topics_of(broker.sites, broker.prefix)
    heard = ", ".join((f"{broker.prefix}/report/+", *sites, *broker.topics, *(rule.filter for rule in settings.rules)))
    if settings.embedded and not broker.topics:
        heard = "everything that is sent to it"
    lines = [
        f"Data: {settings.data_dir}",
        f"Broker: {where}, {'TLS' if broker.tls else 'no TLS'}, {login}",
        f"Listens to: {heard}",
        f"Dashboard: {settings.server.host}:{settings.server.port}{_named(settings.server.hosts)}",
    ]
    lines += [f"Rule {rule.name!r}: {_rule(rule)}" for rule in settings.rules]
    return lines


def _named(hosts: Sequence[str]) -> str:
    return f", also by the name {' or '.join(hosts)}" if hosts else ""


def _rule(rule: Rule) -> str:
    takes = ", ".join(f"{take.quantity} in {take.unit} from {take.expression}" for take in rule.takes)
    device = f"device {rule.device}" if rule.device else "the device's id is in the topic"
    return f"{rule.topic} ({device}): {takes}"


def decode(
    settings: Settings,
    topic: str,
    payload: bytes,
    received_at: datetime | None = None,
    made_on_screen: Sequence[Rule] = (),
) -> Explanation:
    """What a message becomes under these settings and the cellar's own rules, and why."""
    rules = (*settings.rules, *made_on_screen)
    decoded = decode_message(
        topic,
        payload,
        received_at=received_at or datetime.now(UTC),
        prefix=settings.broker.prefix,
        rules=rules,
        gateways=settings.broker.gateways,
        sites=settings.broker.sites,
    )
    lines = sentences(decoded)
    for rule in rules:
        if rule.device_of(topic) is not None:
            origin = "made on screen" if any(rule is own for own in made_on_screen) else "of the settings"
            lines.insert(1, f"Rule {rule.name!r} ({origin}) fits this topic: {_rule(rule)}")
    return Explanation("\n".join(lines), good=bool(decoded.reports) and not decoded.faults)


def sentences(decoded: Decoded) -> list[str]:
    """The explanation line by line."""
    lines = [f"Understood as: {decoded.how}"]
    for at, report in enumerate(decoded.reports, start=1):
        lines.append(f"Reading {at} of device {report.device_id}")
        lines += [f"  {line}" for line in _reading(report)]
    if decoded.faults:
        rest = "the rest is taken in, and the message" if decoded.reports else "nothing is taken in, and the message"
        lines.append(f"{len(decoded.faults)} fault{'s' if decoded.faults[1:] else ''}; {rest} is kept as rejected:")
        lines += [f"  {fault}" for fault in decoded.faults]
    return lines


def _reading(report: Report) -> list[str]:
    why = WHY_THIS_TIME[report.time_flag]
    lines = [f"measured at {report.measured_at.isoformat(timespec='milliseconds').replace('+00:00', 'Z')} ({why})"]
    for quantity in QUANTITIES:
        value = getattr(report, quantity.field)
        if value is not None:
            lines.append(f"{quantity.field} = {value:.6g} {quantity.shown_unit}")
    if report.sequence is not None:
        lines.append(f"sequence = {report.sequence}")
    if report.extra:
        lines.append(f"kept beside it: {', '.join(f'{k} = {v!r}' for k, v in report.extra.items())}")
    if not report.own_instant:
        lines.append(
            "counted once by its sequence number"
            if report.sequence is not None
            else "it has no clock and no counter: the same bytes within a short time count once, else each time"
        )
    return lines
