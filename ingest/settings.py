"""Settings, from `tunroom.toml` and from ``TUNROOM_…`` environment variables, checked before anything starts.

A nested name is joined by two underscores in the environment: ``TUNROOM_BROKER__HOST`` is ``host`` of ``[broker]``.
The environment wins over the file. A password comes from a file or from the environment, never from the settings file,
and never shows in a `repr` or a log.
"""

from __future__ import annotations

import ipaddress
import os
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import platformdirs

from ingest import settings_source
from ingest.errors import SettingsError
from ingest.rules import Rule, rule_from

FILE_NAME: Final = "tunroom.toml"
DEFAULT_SERVER_PORT: Final = 8600
PLAIN_PORT: Final = 1883
TLS_PORT: Final = 8883


@dataclass(frozen=True, slots=True, kw_only=True)
class Broker:
    """Where readings come from. Without a `host` tunroom runs its own broker at `listen` and `port`."""

    host: str | None = None
    port: int = PLAIN_PORT
    listen: str = "127.0.0.1"
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    prefix: str = "tunroom"
    topics: tuple[str, ...] = ()
    """Further topics to listen to, with + and #; what no rule understands is kept as rejected."""
    client_id: str = "tunroom"
    """The name of the session that the broker keeps for us; two tunrooms on one broker need two."""
    tls: bool = False
    tls_ca_file: Path | None = None
    tls_certificate_file: Path | None = None
    tls_key_file: Path | None = None
    keep_alive_s: int = 30
    session_expiry_days: float = 30
    """How long an MQTT 5 broker keeps our session, and with it what we missed."""
    receive_maximum: int = 4000
    """How many messages may be under way to us, unacknowledged; also the bound of the queue in memory."""
    repeat_window_s: float = 30
    """A device without clock and counter that sends the same bytes again within this time counts once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Server:
    """Where the dashboard answers."""

    host: str = "127.0.0.1"
    port: int = DEFAULT_SERVER_PORT


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Everything that can be set from outside."""

    data_dir: Path
    broker: Broker = field(default_factory=Broker)
    server: Server = field(default_factory=Server)
    rules: tuple[Rule, ...] = ()

    @property
    def embedded(self) -> bool:
        """Whether we run a broker of our own."""
        return self.broker.host is None


def load(config: Path | None, data: Path | None, environ: Mapping[str, str] = os.environ) -> Settings:
    """Read the settings.

    Parameters
    ----------
    config
        The settings file; None: `tunroom.toml` in the working directory, if there is one.
    data
        The data directory; None: what the file or the environment says, else the platform's usual place.
    environ
        The environment.

    Raises
    ------
    SettingsError
        With the file and line, or the variable, and how to mend it.
    """
    source = settings_source.read(config if config is not None else Path.cwd() / FILE_NAME, needed=config is not None)
    values = source.values
    where: dict[tuple[str, ...], str] = {}
    for name, text in environ.items():
        if not name.startswith("TUNROOM_") or name in _NOT_SETTINGS:
            continue
        path = tuple(name.removeprefix("TUNROOM_").lower().split("__"))
        _put(values, path, text, name)
        where[path] = name

    def place(*path: str) -> str:
        return where.get(path) or source.place(*path)

    _refuse_unknown(values, ("data_dir", "broker", "server", "rules"), place, ())
    tables = {name: _table(values, name, place) for name in ("broker", "server")}
    broker = _fill(Broker, tables["broker"], _BROKER, "broker", place, source.folder)
    server = _fill(Server, tables["server"], _SERVER, "server", place, source.folder)
    rules = values.get("rules", [])
    if not isinstance(rules, list) or not all(isinstance(r, dict) for r in rules):
        raise SettingsError(place("rules"), "rules must be tables", "Begin each rule with a line [[rules]]")
    built = tuple(rule_from(rule, _within(place, "rules", str(at))) for at, rule in enumerate(rules))
    data_dir = data or _data_dir(values, place, source.folder)
    settings = Settings(data_dir=data_dir.expanduser().absolute(), broker=broker, server=server, rules=built)
    _check(settings, place)
    return settings


def _within(place: Place, *table: str) -> Callable[[str], str]:
    return lambda key: place(*table, key)


_NOT_SETTINGS: Final = frozenset({"TUNROOM_REQUIRE_ALL", "TUNROOM_FUZZ"})
"""Variables of the tests."""

Place = Callable[..., str]
Read = Callable[[Any, Path], Any]


def _text(value: Any, _folder: Path) -> str:
    if not isinstance(value, str) or not value.strip():
        raise ValueError('expected a text in quotes, such as "tunroom"')
    return value


def _port(value: Any, _folder: Path) -> int:
    number = _whole(value, _folder)
    if not 1 <= number <= 65535:
        raise ValueError("a port is a whole number from 1 to 65535")
    return number


def _whole(value: Any, _folder: Path) -> int:
    if isinstance(value, str) and re.fullmatch(r"-?\d{1,9}", value):  # from the environment
        value = int(value)
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError("expected a whole number without quotes, such as 60")
    return value


def _number(value: Any, _folder: Path) -> float:
    if isinstance(value, str):  # from the environment
        try:
            value = float(value)
        except ValueError:
            value = None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError("expected a number without quotes, such as 30")
    return float(value)


def _between(read: Callable[[Any, Path], Any], low: float, high: float) -> Read:
    def check(value: Any, folder: Path) -> Any:
        number = read(value, folder)
        if not low <= number <= high:
            raise ValueError(f"{number:g} is out of range; it may be {low:g} to {high:g}")
        return number

    return check


def _flag(value: Any, _folder: Path) -> bool:
    if isinstance(value, str) and value.lower() in {"true", "false"}:  # from the environment
        return value.lower() == "true"
    if not isinstance(value, bool):
        raise ValueError("expected true or false, without quotes")
    return value


def _file(value: Any, folder: Path) -> Path:
    path = folder / Path(_text(value, folder)).expanduser()
    if not path.is_file():
        raise ValueError(f"there is no file {path}")
    return path


def _secret(value: Any, folder: Path) -> str:
    path = _file(value, folder)
    try:
        text = path.read_text(encoding="utf-8").rstrip("\r\n")
    except (OSError, UnicodeDecodeError) as error:
        raise ValueError(f"{path} cannot be read ({error})") from None
    if not text:
        raise ValueError(f"{path} is empty; put the password on its first line")
    return text


def _topics(value: Any, _folder: Path) -> tuple[str, ...]:
    if isinstance(value, str):  # from the environment
        value = [topic.strip() for topic in value.split(",") if topic.strip()]
    if not isinstance(value, list) or not all(isinstance(topic, str) for topic in value):
        raise ValueError('expected a list of topics, such as ["shed/#"]')
    for topic in value:
        levels = topic.split("/")
        misplaced = any(
            ("#" in level and (level != "#" or at != len(levels) - 1)) or ("+" in level and level != "+")
            for at, level in enumerate(levels)
        )
        if not topic or misplaced or "\0" in topic:
            raise ValueError(f"{topic!r} is no topic filter; + stands for one whole level, # for all that follow")
    return tuple(value)


def _prefix(value: Any, folder: Path) -> str:
    prefix = _text(value, folder).strip("/")
    if not prefix or any(letter in prefix for letter in "+#\0") or " " in prefix:
        raise ValueError('a prefix is plain topic levels without spaces, + or #, such as "tunroom" or "home/tunroom"')
    return prefix


_BROKER: Final[dict[str, tuple[str, Read]]] = {
    "host": ("host", _text),
    "port": ("port", _port),
    "listen": ("listen", _text),
    "user": ("user", _text),
    "password_file": ("password", _secret),
    "prefix": ("prefix", _prefix),
    "topics": ("topics", _topics),
    "client_id": ("client_id", _text),
    "tls": ("tls", _flag),
    "tls_ca_file": ("tls_ca_file", _file),
    "tls_certificate_file": ("tls_certificate_file", _file),
    "tls_key_file": ("tls_key_file", _file),
    "keep_alive_s": ("keep_alive_s", _between(_whole, 5, 3600)),
    "session_expiry_days": ("session_expiry_days", _between(_number, 0.01, 3650)),
    "receive_maximum": ("receive_maximum", _between(_whole, 1, 65535)),
    "repeat_window_s": ("repeat_window_s", _between(_number, 0, 3600)),
}
_SERVER: Final[dict[str, tuple[str, Read]]] = {"host": ("host", _text), "port": ("port", _port)}

SETTINGS: Final = (
    "data_dir",
    *(f"broker.{name}" for name in _BROKER),
    *(f"server.{name}" for name in _SERVER),
)
"""Every setting by its dotted name, besides the rules."""


def _put(values: dict[str, Any], path: tuple[str, ...], text: str, variable: str) -> None:
    if path == ("broker", "password"):
        if not text:
            raise SettingsError(variable, "the password is empty", "Give it a value, or unset the variable")
        values.setdefault("broker", {})["password"] = _Secret(text)
        return
    known = {tuple(name.split(".")) for name in SETTINGS}
    if path not in known:
        names = ", ".join(sorted("TUNROOM_" + "__".join(p).upper() for p in known))
        raise SettingsError(variable, "there is no such setting", f"Known are {names} and TUNROOM_BROKER__PASSWORD")
    table = values
    for part in path[:-1]:
        table = table.setdefault(part, {})
        if not isinstance(table, dict):
            return  # the file's own fault is reported by its line
    table[path[-1]] = text


class _Secret(str):
    """A password from the environment, told from one in the file."""


def _table(values: dict[str, Any], name: str, place: Place) -> dict[str, Any]:
    table = values.get(name, {})
    if not isinstance(table, dict):
        raise SettingsError(place(name), f"{name} must be a table", f"Begin it with a line [{name}]")
    return table


def _refuse_unknown(values: Mapping[str, Any], known: tuple[str, ...], place: Place, table: tuple[str, ...]) -> None:
    for name in values:
        if name not in known:
            raise SettingsError(
                place(*table, name), f"there is no setting {name!r} here", f"Known are {', '.join(known)}"
            )


def _fill(
    cls: type[Any],
    values: dict[str, Any],
    readers: Mapping[str, tuple[str, Read]],
    table: str,
    place: Place,
    folder: Path,
) -> Any:
    password = values.pop("password", None)
    if password is not None and not isinstance(password, _Secret):
        raise SettingsError(
            place(table, "password"),
            "a password does not belong in this file",
            'Write it into a file of its own and say password_file = "…", or set TUNROOM_BROKER__PASSWORD',
        )
    _refuse_unknown(values, tuple(readers), place, (table,))
    given: dict[str, Any] = {}
    for name, value in values.items():
        attribute, read = readers[name]
        try:
            given[attribute] = read(value, folder)
        except ValueError as error:
            raise SettingsError(place(table, name), str(error), "Mend this line and start again") from None
    if password is not None:
        given["password"] = str(password)
    if cls is Broker and "port" not in given and _wants_tls(given):
        given["port"] = TLS_PORT
    if cls is Broker and _wants_tls(given):
        given["tls"] = True
    return cls(**given)


def _wants_tls(given: Mapping[str, Any]) -> bool:
    return bool(given.get("tls", any(name.startswith("tls_") for name in given)))


def _data_dir(values: Mapping[str, Any], place: Place, folder: Path) -> Path:
    if "data_dir" not in values:
        return Path(platformdirs.user_data_dir("tunroom", appauthor=False))
    try:
        return folder / Path(_text(values["data_dir"], folder)).expanduser()
    except ValueError as error:
        raise SettingsError(place("data_dir"), str(error), "Mend this line and start again") from None


def is_loopback(host: str) -> bool:
    """Whether only programs on this machine can reach this address."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost"


def _check(settings: Settings, place: Place) -> None:
    broker = settings.broker
    if (broker.tls_certificate_file is None) != (broker.tls_key_file is None):
        raise SettingsError(
            place("broker"), "a client certificate needs its key", "Give both tls_certificate_file and tls_key_file"
        )
    if broker.password is not None and broker.user is None:
        raise SettingsError(place("broker"), "there is a password but no user", 'Add user = "…"')
    if not settings.embedded:
        return
    if broker.tls:
        raise SettingsError(
            place("broker"),
            "the embedded broker does not speak TLS",
            'Name a broker of your own with host = "…", or remove the tls settings',
        )
    if not is_loopback(broker.listen) and (broker.user is None or broker.password is None):
        raise SettingsError(
            place("broker", "listen"),
            f"at {broker.listen} anybody on the network could send readings",
            "Set user and password_file (or TUNROOM_BROKER__PASSWORD) in [broker] as well",
        )
