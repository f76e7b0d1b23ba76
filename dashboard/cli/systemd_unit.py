"""The command `tunroom systemd-unit`: how systemd is to start, watch and confine tunroom on this machine."""

from __future__ import annotations

import argparse
import re
import shutil
import sys
from pathlib import Path
from typing import Final

from dashboard.cli.options import AddCommand
from ingest.errors import SettingsError

ACCOUNT: Final = "tunroom"
_ACCOUNT: Final = re.compile(r"[a-z_][a-z0-9_-]{0,30}")
"""The names that systemd takes without a warning (systemd.io/USER_NAMES)."""

_UNIT: Final = """\
# Made by: tunroom systemd-unit > /etc/systemd/system/tunroom.service
[Unit]
Description=tunroom, which follows fermentations
Wants=network-online.target
After=network-online.target

[Service]
# It says itself when the dashboard can be opened, and again and again that it takes readings in; where that word
# fails to come for a minute, it is started again.
Type=notify
NotifyAccess=main
ExecStart={program} serve --data /var/lib/{account}
WatchdogSec=60
Restart=on-failure
RestartSec=5
TimeoutStartSec=10min
TimeoutStopSec=60
User={account}
Group={account}
# /etc/{account} holds tunroom.toml and its password files, /var/lib/{account} the cellar.
WorkingDirectory=/etc/{account}
ConfigurationDirectory={account}
ConfigurationDirectoryMode=0750
StateDirectory={account}
StateDirectoryMode=0700
UMask=0077
MemoryMax=80%
OOMPolicy=stop

# What it may not do. Backups elsewhere need a line such as: ReadWritePaths=/mnt/share/cellar
NoNewPrivileges=yes
CapabilityBoundingSet=
AmbientCapabilities=
ProtectSystem=strict
ProtectHome={home}
PrivateTmp=yes
PrivateDevices=yes
PrivateUsers=yes
ProtectKernelTunables=yes
ProtectKernelModules=yes
ProtectKernelLogs=yes
ProtectControlGroups=yes
ProtectClock=yes
ProtectHostname=yes
ProtectProc=invisible
RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX AF_NETLINK
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
LockPersonality=yes
RemoveIPC=yes
SystemCallArchitectures=native
SystemCallFilter=@system-service
SystemCallFilter=~@privileged @resources
SystemCallErrorNumber=EPERM

[Install]
WantedBy=multi-user.target
"""


def add_systemd_unit(command: AddCommand) -> None:
    sub = command(
        "systemd-unit",
        _systemd_unit,
        "print a unit with which systemd starts, watches and confines tunroom",
        "The account must exist. The manual's chapter on a small computer says what goes where.",
    )
    sub.add_argument("--account", default=ACCOUNT, metavar="NAME", help=f"the account it runs as ({ACCOUNT})")


def _systemd_unit(arguments: argparse.Namespace) -> int:
    print(unit(_program(), arguments.account), end="")
    return 0


def unit(program: Path, account: str = ACCOUNT) -> str:
    """The unit for the program at this path, run as this account.

    Raises
    ------
    SettingsError
        If systemd could not take the name, or not start a program at this path.
    """
    if _ACCOUNT.fullmatch(account) is None:
        problem = f"{account!r} is no name of an account"
        raise SettingsError("--account", problem, "Use small letters, digits, - and _, such as tunroom")
    if not re.fullmatch(r"/[\w./+@-]+", str(program)):  # a space or % means something else to systemd
        problem = f"systemd cannot start {program}: there is a space or a sign in its path"
        raise SettingsError("the program", problem, "Install tunroom at a path of letters and digits")
    home = "read-only" if program.is_relative_to("/home") or program.is_relative_to("/root") else "yes"
    return _UNIT.format(program=program, account=account, home=home)


def _program() -> Path:
    """Where this very tunroom is installed; the interpreter beside it knows its libraries."""
    beside = Path(sys.executable).parent / "tunroom"
    if beside.is_file():
        return beside
    found = shutil.which("tunroom")
    if found is None:
        problem = "tunroom is not installed as a program"
        raise SettingsError("the program", problem, "Install it (pip install .) and run the installed tunroom")
    return Path(found).absolute()
