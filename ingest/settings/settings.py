"""Settings, from `tunroom.toml` and from ``TUNROOM_…`` environment variables, checked before anything starts.

A nested name is joined by two underscores in the environment: ``TUNROOM_BROKER__HOST`` is ``host`` of ``[broker]``.
The environment wins over the file. A password comes from a file or from the environment, never from the settings file,
and never shows in a `repr` or a log.
"""

from __future__ import annotations

import ipaddress
import os
import ssl
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import platformdirs

from ingest.decoding import Rule, rule_from
from ingest.errors import SettingsError, SettingsFaults
from ingest.logs import FORMS, LEVELS, Form, Level
from ingest.settings import source as settings_source
from ingest.settings import validators as reads
from ingest.settings.validators import Read

DATABASE: Final = "tunroom.duckdb"
"""The cellar's file in the data directory; its log stands beside it with ``.wal`` behind the name."""

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
    sites: tuple[str, ...] = ()
    """Other sites whose brokers hand on to this one what their devices send, below ``<prefix>/site/<site>/``."""
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
    gateways: tuple[str, ...] | None = None
    """The devices whose messages may name others as their source; None: any."""
    repeat_window_s: float = 30
    """A device without clock and counter that sends the same bytes again within this time counts once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Server:
    """Where the dashboard answers."""

    host: str = "127.0.0.1"
    port: int = DEFAULT_SERVER_PORT
    hosts: tuple[str, ...] = ()
    """Further names, in small letters, by which browsers may ask for it."""
    certificate: Path | None = None
    """With `key`: it answers by TLS alone."""
    key: Path | None = None
    trusted_proxy: tuple[str, ...] = ()
    """Addresses and networks whose word on who asks, from where and by which scheme is believed."""
    user_header: str | None = None
    """In which a trusted proxy names whom it has let in."""
    keepers: tuple[str, ...] = ()
    """Of those that a trusted proxy names: who may change things. The others look."""
    open_metrics: bool = False
    """Whether whoever may open the dashboard may read /metrics; otherwise only programs on this machine."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Backup:
    """Where the nightly backups go; without a directory none are made."""

    directory: Path | None = None
    hour: int = 3
    """Of the cellar's own clock."""
    keep: int = 14
    """Backups of so many days stay, besides the last of each month of a year."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Log:
    """What is written to standard error while we run."""

    level: Level = "info"
    format: Form = "text"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Everything that can be set from outside."""

    data_dir: Path
    broker: Broker = field(default_factory=Broker)
    server: Server = field(default_factory=Server)
    backup: Backup = field(default_factory=Backup)
    log: Log = field(default_factory=Log)
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
        With the file and line, or the variable, and how to mend it: of everything that is wrong.
    """
    faults = SettingsFaults()
    source = settings_source.read(
        config if config is not None else Path.cwd() / FILE_NAME, faults, needed=config is not None
    )
    values = source.values
    where: dict[tuple[str, ...], str] = {}
    for name, text in environ.items():
        if not name.startswith("TUNROOM_") or name in _NOT_SETTINGS:
            continue
        path = tuple(name.removeprefix("TUNROOM_").lower().split("__"))
        with faults.gathering():
            _put(values, path, text, name)
            where[path] = name

    def place(*path: str) -> str:
        return where.get(path) or source.place(*path)

    _refuse_unknown(values, ("data_dir", "broker", "server", "backup", "log", "rules"), place, (), faults)
    broker = _fill(Broker, values, _BROKER, "broker", place, source.folder, faults)
    server = _fill(Server, values, _SERVER, "server", place, source.folder, faults)
    backup = _fill(Backup, values, _BACKUP, "backup", place, source.folder, faults)
    log = _fill(Log, values, _LOG, "log", place, source.folder, faults)
    rules = _rules(values, place, faults)
    data_dir = data or _data_dir(values, place, source.folder, faults)
    try:
        data_dir = reads.at_home(str(data_dir)).absolute()
    except ValueError as error:
        raise SettingsError("--data", str(error), "Write the whole path") from None
    settings = Settings(data_dir=data_dir, broker=broker, server=server, backup=backup, log=log, rules=rules)
    faults.refuse()  # what contradicts what is only asked of values that can be used
    _check(settings, place, faults)
    faults.refuse()
    return settings


def _rules(values: Mapping[str, Any], place: Place, faults: SettingsFaults) -> tuple[Rule, ...]:
    rules = values.get("rules", [])
    built: list[Rule] = []
    with faults.gathering():
        if not isinstance(rules, list) or not all(isinstance(r, dict) for r in rules):
            raise SettingsError(place("rules"), "rules must be tables", "Begin each rule with a line [[rules]]")
        for at, rule in enumerate(rules):
            with faults.gathering():
                built.append(rule_from(rule, _within(place, "rules", str(at))))
    return tuple(built)


def _within(place: Place, *table: str) -> Callable[[str], str]:
    return lambda key: place(*table, key)


_NOT_SETTINGS: Final = frozenset({"TUNROOM_REQUIRE_ALL", "TUNROOM_FUZZ"})
"""Variables of the tests."""

Place = Callable[..., str]


_BROKER: Final[dict[str, tuple[str, Read]]] = {
    "host": ("host", reads.text),
    "port": ("port", reads.port),
    "listen": ("listen", reads.text),
    "user": ("user", reads.text),
    "password_file": ("password", reads.secret),
    "prefix": ("prefix", reads.prefix),
    "topics": ("topics", reads.topics),
    "sites": ("sites", reads.sites),
    "client_id": ("client_id", reads.text),
    "tls": ("tls", reads.flag),
    "tls_ca_file": ("tls_ca_file", reads.file),
    "tls_certificate_file": ("tls_certificate_file", reads.file),
    "tls_key_file": ("tls_key_file", reads.file),
    "keep_alive_s": ("keep_alive_s", reads.between(reads.whole, 5, 3600)),
    "session_expiry_days": ("session_expiry_days", reads.between(reads.number, 0.01, 3650)),
    "receive_maximum": ("receive_maximum", reads.between(reads.whole, 1, 65535)),
    "gateways": ("gateways", reads.device_ids),
    "repeat_window_s": ("repeat_window_s", reads.between(reads.number, 0, 3600)),
}
_SERVER: Final[dict[str, tuple[str, Read]]] = {
    "host": ("host", reads.text),
    "port": ("port", reads.port),
    "hosts": ("hosts", reads.host_names),
    "certificate": ("certificate", reads.file),
    "key": ("key", reads.file),
    "trusted_proxy": ("trusted_proxy", reads.networks),
    "user_header": ("user_header", reads.header_name),
    "keepers": ("keepers", reads.names),
    "open_metrics": ("open_metrics", reads.flag),
}
_BACKUP: Final[dict[str, tuple[str, Read]]] = {
    "directory": ("directory", reads.place),
    "hour": ("hour", reads.between(reads.whole, 0, 23)),
    "keep": ("keep", reads.between(reads.whole, 1, 3650)),
}
_LOG: Final[dict[str, tuple[str, Read]]] = {
    "level": ("level", reads.one_of(*LEVELS)),
    "format": ("format", reads.one_of(*FORMS)),
}

SETTINGS: Final = (
    "data_dir",
    *(f"broker.{name}" for name in _BROKER),
    *(f"server.{name}" for name in _SERVER),
    *(f"backup.{name}" for name in _BACKUP),
    *(f"log.{name}" for name in _LOG),
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


def _table(values: Mapping[str, Any], name: str, place: Place) -> dict[str, Any]:
    table = values.get(name, {})
    if not isinstance(table, dict):
        raise SettingsError(place(name), f"{name} must be a table", f"Begin it with a line [{name}]")
    return table


def _refuse_unknown(
    values: Mapping[str, Any], known: tuple[str, ...], place: Place, table: tuple[str, ...], faults: SettingsFaults
) -> None:
    for name in values:
        if name not in known:
            problem, remedy = f"there is no setting {name!r} here", f"Known are {', '.join(known)}"
            faults.found.append(SettingsError(place(*table, name), problem, remedy))


def _fill(
    cls: type[Any],
    values: Mapping[str, Any],
    readers: Mapping[str, tuple[str, Read]],
    table: str,
    place: Place,
    folder: Path,
    faults: SettingsFaults,
) -> Any:
    said: dict[str, Any] = {}
    with faults.gathering():
        said = dict(_table(values, table, place))
    given: dict[str, Any] = {}
    password = said.pop("password", None)
    if isinstance(password, _Secret):
        given["password"] = str(password)
    elif password is not None:
        problem = "a password does not belong in this file"
        remedy = 'Write it into a file of its own and say password_file = "…", or set TUNROOM_BROKER__PASSWORD'
        faults.found.append(SettingsError(place(table, "password"), problem, remedy))
    _refuse_unknown(said, tuple(readers), place, (table,), faults)
    for name, value in said.items():
        if name not in readers:
            continue
        attribute, read = readers[name]
        if attribute in given:  # a password from the environment wins over its file
            continue
        try:
            given[attribute] = read(value, folder)
        except ValueError as error:
            faults.found.append(SettingsError(place(table, name), str(error), "Mend this line and start again"))
    if cls is Broker and "port" not in given and _wants_tls(given):
        given["port"] = TLS_PORT
    if cls is Broker and _wants_tls(given):
        given["tls"] = True
    return cls(**given)


def _wants_tls(given: Mapping[str, Any]) -> bool:
    return bool(given.get("tls", any(name.startswith("tls_") for name in given)))


def _data_dir(values: Mapping[str, Any], place: Place, folder: Path, faults: SettingsFaults) -> Path:
    if "data_dir" in values:
        try:
            return folder / reads.at_home(reads.text(values["data_dir"], folder))
        except ValueError as error:
            faults.found.append(SettingsError(place("data_dir"), str(error), "Mend this line and start again"))
    return default_data_dir()


def default_data_dir() -> Path:
    """Where a cellar is kept whose settings do not say."""
    return Path(platformdirs.user_data_dir("tunroom", appauthor=False))


def is_loopback(host: str) -> bool:
    """Whether only programs on this machine can reach this address."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost"


def _check(settings: Settings, place: Place, faults: SettingsFaults) -> None:
    """What contradicts what."""
    _check_server(settings.server, place, faults)
    broker = settings.broker

    def refuse(key: str, problem: str, remedy: str) -> None:
        faults.found.append(SettingsError(place("broker", *([key] if key else [])), problem, remedy))

    if (broker.tls_certificate_file is None) != (broker.tls_key_file is None):
        refuse("", "a client certificate needs its key", "Give both tls_certificate_file and tls_key_file")
    certificates = any((broker.tls_ca_file, broker.tls_certificate_file, broker.tls_key_file))
    # The environment may well turn off for once what the file has.
    if certificates and not broker.tls and not place("broker", "tls").startswith("TUNROOM_"):
        refuse("tls", "tls is off, and certificates are named", "Say tls = true, or remove the tls_… settings")
    if broker.password is not None and broker.user is None:
        refuse("", "there is a password but no user", 'Add user = "…"')
    if not settings.embedded:
        if broker.listen != Broker().listen:
            remedy = "Remove one of the two: listen is where tunroom's own broker answers, host names another"
            refuse("listen", "host names a broker, so that tunroom runs none that could listen", remedy)
        return
    if broker.port == settings.server.port:
        problem = f"port {broker.port} is meant for the broker and for the dashboard"
        faults.found.append(SettingsError(place("server", "port"), problem, "Give one of them another port"))
    if broker.tls:
        remedy = 'Name a broker of your own with host = "…", or remove the tls settings'
        refuse("", "the embedded broker does not speak TLS", remedy)
    if not is_loopback(broker.listen) and (broker.user is None or broker.password is None):
        refuse(
            "listen",
            f"at {broker.listen} anybody on the network could send readings",
            "Set user and password_file (or TUNROOM_BROKER__PASSWORD) in [broker] as well",
        )


def _check_server(server: Server, place: Place, faults: SettingsFaults) -> None:
    def refuse(key: str, problem: str, remedy: str) -> None:
        faults.found.append(SettingsError(place("server", key), problem, remedy))

    if server.certificate is None or server.key is None:
        if server.certificate is not server.key:
            given = "key" if server.certificate is None else "certificate"
            refuse(given, "a certificate needs its key, and a key its certificate", "Give both certificate and key")
    elif (problem := _no_pair(server.certificate, server.key)) is not None:
        refuse("certificate", problem, "Give a certificate (PEM) and the private key it was made for, without password")
    if server.user_header is not None and not server.trusted_proxy:
        problem = "anybody could send this header, so somebody must be named whose word on it is believed"
        refuse("user_header", problem, 'Add trusted_proxy = ["127.0.0.1"], with the address of your proxy')
    if server.keepers and server.user_header is None:
        refuse("keepers", "names are only known from a proxy's header", 'Add user_header = "…", or remove keepers')


def _no_pair(certificate: Path, key: Path) -> str | None:
    """Why these two files cannot serve TLS."""
    try:
        ssl.create_default_context(ssl.Purpose.CLIENT_AUTH).load_cert_chain(certificate, key, password=lambda: "")
    except (OSError, ValueError) as error:  # SSLError is an OSError
        return f"{certificate} and {key} cannot be used for TLS ({error})"
    return None
