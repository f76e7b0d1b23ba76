"""Settings for a Mosquitto broker: a login for each device, and lists of who may write and read what.

A device may publish its own readings and read nothing, so that no device can speak for another or forge a verdict. The
broker takes a client's login for its client id as well, so that no device can end the session of another, or ours.
"""

from __future__ import annotations

import base64
import hashlib
import re
import secrets
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from ingest import file_modes
from ingest.decoding import Rule, is_good_id
from ingest.errors import EntryError
from ingest.settings import Broker

HASHES: Final = "passwords"
ACCESS: Final = "access"
CONFIG: Final = "tunroom.conf"
LOGINS: Final = "logins.txt"
OURS: Final = "tunroom.toml"
OURS_FILE: Final = "broker.password"

_PASSWORD_BYTES: Final = 16
"""128 random bits, as 26 letters and digits that can be typed into a device's own settings."""
_ROUNDS: Final = 101
"""Mosquitto's usual number; for random passwords of 128 bits rounds add nothing."""
_SALT_BYTES: Final = 12
_HASH_BYTES: Final = 64
_PLACE: Final = "/etc/mosquitto/tunroom"

_HEAD: Final = "# Written by tunroom broker-settings; the next run writes it anew.\n"


@dataclass(frozen=True, slots=True)
class Written:
    """What was written: the files, and the devices' logins that are new."""

    files: tuple[str, ...]
    new: tuple[str, ...]


def write(directory: Path, broker: Broker, devices: Iterable[str], rules: Sequence[Rule]) -> Written:
    """Write the settings into a directory; logins that stand there keep their passwords.

    Parameters
    ----------
    directory
        Made where it is not there.
    broker
        Whose prefix, topics and user are ours.
    devices
        The ids of the devices that get a login.
    rules
        For devices that send to topics of their own.

    Raises
    ------
    EntryError
        If the directory cannot be written, or an id is none.
    """
    ours = broker.user or "tunroom"
    if not _IS_LOGIN.fullmatch(ours):
        raise EntryError("user", f"a file of logins cannot hold {ours!r}", "Choose another user in [broker].")
    logins = logins_of([*devices, *(rule.device for rule in rules if rule.device is not None)], ours)
    try:
        file_modes.make_directory(directory)
        kept = _kept(directory / HASHES)
        new = {login: _password() for login in (ours, *logins) if login not in kept}
        hashes = {login: kept.get(login) or hashed(new[login]) for login in (ours, *logins)}
        texts = {
            HASHES: "".join(f"{login}:{kept_hash}\n" for login, kept_hash in hashes.items()),
            ACCESS: access_list(broker, ours, logins, rules),
            CONFIG: _HEAD + _CONFIG.format(place=_PLACE),
            OURS: _toml(broker, ours),
        }
        if ours in new:
            texts[OURS_FILE] = new[ours] + "\n"
        if devices_new := {login: word for login, word in new.items() if login != ours}:
            earlier = directory / LOGINS
            said = earlier.read_text(encoding="utf-8") if earlier.exists() else _LOGINS
            texts[LOGINS] = said + "".join(f"{login}  {word}\n" for login, word in devices_new.items())
        for name, text in texts.items():
            file_modes.write_whole(directory / name, text)
    except OSError as error:
        raise EntryError("path", f"{directory} cannot be written ({error.strerror})", "Choose another place.") from None
    return Written(tuple(texts), tuple(login for login in new if login != ours))


def logins_of(devices: Iterable[str], ours: str) -> dict[str, str]:
    """A login for each device: its id, but for what a file of logins cannot hold; two devices never share one.

    Raises
    ------
    EntryError
        If an id is none.
    """
    logins: dict[str, str] = {}
    for device in dict.fromkeys(devices):
        if not is_good_id(device):
            raise EntryError("device", f"{device!r} is no id of a device", "It is one level of a topic.")
        plain = device.replace(":", "_")
        login, number = plain, 2
        while login == ours or login in logins:
            login, number = f"{plain}-{number}", number + 1
        logins[login] = device
    return logins


def access_list(broker: Broker, ours: str, logins: Mapping[str, str], rules: Sequence[Rule]) -> str:
    """Who may write and read what, as Mosquitto reads it (mosquitto.conf, acl_file)."""
    read = dict.fromkeys([f"{broker.prefix}/report/+", *broker.topics, *(rule.filter for rule in rules)])
    lines = [f"user {ours}", *(f"topic read {topic}" for topic in read)]
    lines += [f"topic write {broker.prefix}/status", f"topic write {broker.prefix}/verdict/#"]
    for login, device in logins.items():
        topics = [f"{broker.prefix}/report/{device}", *(_topic(rule, device) for rule in rules)]
        lines += ["", f"user {login}", *(f"topic write {topic}" for topic in dict.fromkeys(topics) if topic)]
    if any(not line.isprintable() for line in lines):  # one line more would let somebody in
        raise EntryError("topics", "a topic holds characters that cannot be seen", "Look at [broker] and the rules.")
    return _HEAD + "\n".join(lines) + "\n"


def _topic(rule: Rule, device: str) -> str:
    """The topic that a rule reads this device from; empty where it reads another."""
    if rule.device is not None:
        return rule.topic if rule.device == device else ""
    return rule.topic.replace("{device}", device)


def hashed(password: str) -> str:
    """A password as Mosquitto 2 keeps it: PBKDF2 with SHA-512 (RFC 8018), rounds, salt and hash in base64."""
    salt = secrets.token_bytes(_SALT_BYTES)
    digest = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, _ROUNDS, _HASH_BYTES)
    return f"$7${_ROUNDS}${base64.b64encode(salt).decode()}${base64.b64encode(digest).decode()}"


def _password() -> str:
    return base64.b32encode(secrets.token_bytes(_PASSWORD_BYTES)).decode().rstrip("=").lower()


_IS_LOGIN: Final = re.compile(r"[^:\s\x00-\x1f\x7f]+")
_KEPT: Final = re.compile(r"([^:\s]+):(\$[67]\$\S+)")


def _kept(path: Path) -> dict[str, str]:
    if not path.exists():
        return {}
    found = (_KEPT.fullmatch(line.strip()) for line in path.read_text(encoding="utf-8").splitlines())
    return {each[1]: each[2] for each in found if each is not None}


def _toml(broker: Broker, ours: str) -> str:
    host = broker.host or "localhost"
    return (
        "# For tunroom's own settings file: put this beside what stands there under [broker].\n"
        f'[broker]\nhost = "{host}"\nuser = "{ours}"\npassword_file = "{OURS_FILE}"\n'
        "gateways = []   # no device may speak for another; name those that may\n"
    )


_LOGINS: Final = (
    "# Give each device its login, then delete this file. Of a device that was lost, delete the line in the file\n"
    "# passwords, and run the command again.\n"
)

_CONFIG: Final = """\
listener 1883
use_username_as_clientid true
allow_anonymous false
password_file {place}/passwords
acl_file {place}/access
persistence true
persistence_location /var/lib/mosquitto/
autosave_interval 60
max_queued_messages 0
max_inflight_messages 0
"""
