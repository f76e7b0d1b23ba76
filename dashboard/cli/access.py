"""Commands about who may come in: the dashboard's passwords, and the logins of devices at a broker."""

from __future__ import annotations

import argparse
import getpass
import sys
from pathlib import Path

from dashboard.cli.options import AddCommand, settings_of
from ingest.errors import EntryError

_ROLES = ("keep", "look")


def add_password(command: AddCommand) -> None:
    sub = command(
        "password",
        _password,
        "set the dashboard's password, without which it answers on this machine only",
        "It is asked for, or read from standard input; as an argument others could see it. Whoever is signed in must "
        "sign in again. Works while the server runs.",
    )
    sub.add_argument(
        "--role",
        choices=_ROLES,
        default="keep",
        help="keep may do everything (the usual), look sees everything and changes nothing",
    )


def _password(arguments: argparse.Namespace) -> int:
    from dashboard.access.passwords import Passwords
    from ingest import control
    from ingest.settings.settings import is_loopback

    settings = settings_of(arguments)
    passwords = Passwords(settings.data_dir)
    first = passwords.kept() is None
    passwords.set(arguments.role, _typed(arguments.role))
    print(f"The password of {arguments.role} is set, for the cellar in {settings.data_dir}.")
    if not first:
        print("Whoever was signed in must sign in again.")
    elif control.owner(settings.data_dir) is not None and not is_loopback(settings.server.host):
        print(
            f"The dashboard asks for it from now on. Start tunroom again, so that it listens at {settings.server.host}."
        )
    return 0


def _typed(role: str) -> str:
    if not sys.stdin.isatty():
        line = sys.stdin.readline().rstrip("\r\n")
        if not line:
            raise EntryError("password", "standard input holds no password", "Put it on the first line.")
        return line
    typed = getpass.getpass(f"Password of {role}: ")
    if getpass.getpass("Once more: ") != typed:
        raise EntryError("password", "the two differ", "Nothing was changed; try again.")
    return typed


def add_broker_settings(command: AddCommand) -> None:
    sub = command(
        "broker-settings",
        _broker_settings,
        "write settings for a Mosquitto broker with a login for each device",
        "A device may then write its own readings only, and read nothing. Devices that the cellar knows get a login, "
        "and those named here; one that is there stays. The passwords stand in DIR/logins.txt, for you alone to read.",
    )
    sub.add_argument("path", type=Path, metavar="DIR")
    sub.add_argument("--device", action="append", default=[], metavar="ID", help="one more device; may be given again")


def _broker_settings(arguments: argparse.Namespace) -> int:
    from ingest import commands, control
    from ingest.mqtt import broker_logins
    from ingest.settings.settings import DATABASE

    settings = settings_of(arguments)
    devices, rules = list(arguments.device), settings.rules
    if control.owner(settings.data_dir) is not None or (settings.data_dir / DATABASE).exists():
        devices += commands.carry_out(settings, "devices", {}, lambda _: None)
        rules = (*rules, *commands.rules_made_on_screen(settings))
    written = broker_logins.write(arguments.path, settings.broker, dict.fromkeys(devices), rules)
    print(f"Written to {arguments.path}, for nobody else to read: {', '.join(written.files)}.")
    if written.new:
        print(f"New logins, with their passwords in {arguments.path / broker_logins.LOGINS}: {', '.join(written.new)}.")
    print("How they are put to use stands in the manual, under Keep it safe.")
    return 0
