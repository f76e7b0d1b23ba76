"""Single values of the settings: each reader checks one value, or says what was expected of it (`ValueError`)."""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ingest.decoding import is_good_id, is_good_site

Read = Callable[[Any, Path], Any]
"""A value as it stands in the file (or a text from the environment) and the file's folder: the value to use."""


def text(value: Any, _folder: Path) -> str:
    """A text that says something."""
    if not isinstance(value, str) or not value.strip():
        raise ValueError('expected a text in quotes, such as "tunroom"')
    return value


def port(value: Any, _folder: Path) -> int:
    """A port number."""
    number = whole(value, _folder)
    if not 1 <= number <= 65535:
        raise ValueError("a port is a whole number from 1 to 65535")
    return number


def whole(value: Any, _folder: Path) -> int:
    """A whole number, from the environment too."""
    if isinstance(value, str) and re.fullmatch(r"-?\d{1,9}", value):  # from the environment
        value = int(value)
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError("expected a whole number without quotes, such as 60")
    return value


def number(value: Any, _folder: Path) -> float:
    """A number, from the environment too."""
    if isinstance(value, str):  # from the environment
        try:
            value = float(value)
        except ValueError:
            value = None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError("expected a number without quotes, such as 30")
    return float(value)


def one_of(*choices: str) -> Read:
    """One of these words."""

    def check(value: Any, _folder: Path) -> str:
        if value not in choices:
            raise ValueError(f"expected one of {', '.join(choices)}")
        return str(value)

    return check


def between(read: Callable[[Any, Path], Any], low: float, high: float) -> Read:
    """Read by `read`, and refused outside `low` to `high`."""

    def check(value: Any, folder: Path) -> Any:
        number = read(value, folder)
        if not low <= number <= high:
            raise ValueError(f"{number:g} is out of range; it may be {low:g} to {high:g}")
        return number

    return check


def flag(value: Any, _folder: Path) -> bool:
    """True or false, from the environment too."""
    if isinstance(value, str) and value.lower() in {"true", "false"}:  # from the environment
        return value.lower() == "true"
    if not isinstance(value, bool):
        raise ValueError("expected true or false, without quotes")
    return value


def at_home(text: str) -> Path:
    """The path, with ``~`` or ``~name`` at its beginning as that user's directory."""
    try:
        return Path(text).expanduser()
    except RuntimeError:
        raise ValueError(f"{text!r} begins with a user who has no home directory here") from None


def file(value: Any, folder: Path) -> Path:
    """A file that is there; a relative path is beside the settings file."""
    path = folder / at_home(text(value, folder))
    if not path.is_file():
        raise ValueError(f"there is no file {path}")
    return path


def place(value: Any, folder: Path) -> Path:
    """A directory that need not be there yet, such as a share that is mounted later; relative to the settings file."""
    return (folder / at_home(text(value, folder))).absolute()


def secret(value: Any, folder: Path) -> str:
    """The password in a file of its own."""
    path = file(value, folder)
    try:
        text = path.read_text(encoding="utf-8").rstrip("\r\n")
    except (OSError, UnicodeDecodeError) as error:
        raise ValueError(f"{path} cannot be read ({error})") from None
    if not text:
        raise ValueError(f"{path} is empty; put the password on its first line")
    return text


def topics(value: Any, _folder: Path) -> tuple[str, ...]:
    """Topic filters: a list, or in the environment separated by commas."""
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


def sites(value: Any, _folder: Path) -> tuple[str, ...]:
    """Names of sites: a list, or in the environment separated by commas."""
    if isinstance(value, str):  # from the environment
        value = [name.strip() for name in value.split(",") if name.strip()]
    if not isinstance(value, list) or not all(isinstance(name, str) for name in value):
        raise ValueError('expected a list of names, such as ["barn"]')
    for name in value:
        if not is_good_site(name):
            raise ValueError(f"{name!r} is no name of a site; it is one topic level without spaces, colon, +, # and /")
    return tuple(dict.fromkeys(value))


_HOST_LABEL = re.compile(r"(?!-)[a-z0-9_-]{1,63}(?<!-)", re.IGNORECASE)


def is_host_name(name: str) -> bool:
    """Whether this is a name of a host, without port (RFC 1123, section 2.1; an underscore is met in the wild)."""
    return len(name) <= 253 and all(_HOST_LABEL.fullmatch(label) for label in name.split("."))


def host_names(value: Any, _folder: Path) -> tuple[str, ...]:
    """Names of a host in small letters: a list, or in the environment separated by commas."""
    if isinstance(value, str):  # from the environment
        value = [name.strip() for name in value.split(",") if name.strip()]
    if not isinstance(value, list) or not all(isinstance(name, str) for name in value):
        raise ValueError('expected a list of names, such as ["tun.example"]')
    names = [name.removesuffix(".") for name in value]
    for name in names:
        if not name.isascii():
            raise ValueError(f"{name!r} has letters beyond a to z; write it as browsers send it, beginning with xn--")
        if not is_host_name(name):
            raise ValueError(
                f"{name!r} is no name of a host; write the name alone, without http://, port and *, such as "
                '"tun.example" (addresses in numbers need not be listed)'
            )
    return tuple(dict.fromkeys(name.lower() for name in names))


def prefix(value: Any, folder: Path) -> str:
    """The first levels of our own topics."""
    prefix = text(value, folder).strip("/")
    if not prefix or any(letter in prefix for letter in "+#\0") or " " in prefix:
        raise ValueError('a prefix is plain topic levels without spaces, + or #, such as "tunroom" or "home/tunroom"')
    return prefix


def _texts(value: Any, example: str) -> list[str]:
    """A list of texts, or in the environment separated by commas."""
    if isinstance(value, str):  # from the environment
        value = [each.strip() for each in value.split(",") if each.strip()]
    if not isinstance(value, list) or not all(isinstance(each, str) and each.strip() for each in value):
        raise ValueError(f"expected a list, such as {example}")
    return list(dict.fromkeys(value))


def networks(value: Any, _folder: Path) -> tuple[str, ...]:
    """Addresses in numbers, and networks of such (RFC 4632, RFC 4291 section 2.3)."""
    found = _texts(value, '["127.0.0.1"]')
    for each in found:
        try:
            network = ipaddress.ip_network(each)
        except ValueError as error:
            raise ValueError(f"{each!r} is no address in numbers and no network ({error})") from None
        if network.prefixlen == 0:
            raise ValueError(f"{each!r} is everybody; name the proxy's own address, such as 127.0.0.1")
    return tuple(found)


_HEADER_NAME = re.compile(r"[A-Za-z0-9-]{1,64}")
_TAKEN_HEADERS = frozenset({"host", "origin", "cookie", "accept", "connection", "upgrade", "content-type"})


def header_name(value: Any, folder: Path) -> str:
    """The name of a request's header that a proxy may add."""
    name = text(value, folder)
    if not _HEADER_NAME.fullmatch(name):
        raise ValueError('the name of a header has letters, digits and -, such as "X-Remote-User"')
    if name.lower() in _TAKEN_HEADERS or name.lower().startswith(("sec-", "x-forwarded-")):
        raise ValueError(f"{name!r} is a header that browsers or proxies send for another purpose; choose another")
    return name


def names(value: Any, _folder: Path) -> tuple[str, ...]:
    """Names of people, as a proxy says them."""
    return tuple(_texts(value, '["ann"]'))


def device_ids(value: Any, _folder: Path) -> tuple[str, ...]:
    """Ids of devices; the list may be empty."""
    found = [] if value in ([], "") else _texts(value, '["gateway-1"]')
    for each in found:
        if not is_good_id(each):
            raise ValueError(f"{each!r} is no id of a device; it is one level of a topic")
    return tuple(found)
