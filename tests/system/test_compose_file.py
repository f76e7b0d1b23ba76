"""docker-compose.yml: as the Compose specification has it, as hard as it says, and each service's command as written.

There is no container engine here. A service's command is run by the programs of this machine, with the paths, names and
ports of the container replaced by those of the test.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.conftest import find_program, free_port, missing
from tests.system.conftest import reachable, wait_until
from tests.system.mqtt import numbered, publish
from tests.system.serving import ROOT, Server

_FILE = ROOT / "docker-compose.yml"
COMPOSE = yaml.safe_load(_FILE.read_text(encoding="utf-8"))
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]


def test_the_compose_file_follows_the_compose_specification() -> None:
    """The schema that the package check-jsonschema carries."""
    done = subprocess.run(
        [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec", str(_FILE)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("name", list(SERVICES))
def test_a_service_may_do_nothing_that_it_need_not(name: str) -> None:
    service = SERVICES[name]
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert all(re.search(r":size=\d+m\b", each) for each in service["tmpfs"])
    assert re.fullmatch(r"\d+[mg]", service["mem_limit"])
    assert service["healthcheck"]["test"]
    image = service.get("image") or re.search(r"^FROM (\S+)$", service["build"]["dockerfile_inline"], re.MULTILINE)[1]
    assert re.fullmatch(r"[\w/-]+:\d+\.\d+\.\d+[\w.-]*", image), "a tag that names one release"
    user = service.get("user") or re.search(r"^USER (\S+)$", service["build"]["dockerfile_inline"], re.MULTILINE)[1]
    assert user.partition(":")[0] not in ("root", "0")


def test_the_dashboard_is_published_on_this_machine_alone_unless_somebody_opens_it() -> None:
    assert SERVICES["tunroom"]["ports"] == ["${TUNROOM_ADDRESS:-127.0.0.1}:${TUNROOM_PORT:-8600}:8600"]


def test_no_password_stands_in_the_arguments_of_a_process() -> None:
    broker = SERVICES["broker"]
    for line in [*broker["command"][0].splitlines(), *broker["healthcheck"]["test"]]:
        for word in re.findall(r"(?:^|[;&|(]|exec |=\S+ )\s*(mosquitto\w*) ([^;|&]*)", line):
            assert not re.search(r"password(?!s\b)", word[1], re.IGNORECASE), line
            assert not {"-P", "-b"} & set(shlex.split(word[1]))
    assert not any(name.endswith("PASSWORD") for name in SERVICES["tunroom"]["environment"])


class Containers:
    """Both services' commands as written, in one folder."""

    def __init__(self, folder: Path, uid: int | None) -> None:
        self.folder, self._uid = folder, uid
        self.broker_port = free_port()
        self.server = Server(folder)
        self._broker: subprocess.Popen[bytes] | None = None
        for name in ("data", "logins", "tmp", "config"):
            (folder / name).mkdir()
        for config, file in (("mosquitto", "tunroom.conf"), ("access", "access.acl")):
            (folder / "config" / file).write_text(self.here(COMPOSE["configs"][config]["content"]))
        if uid is not None:
            for path in (folder, *folder.rglob("*")):
                os.chown(path, uid, uid)

    def here(self, text: str) -> str:
        """What is written for a container, for this machine."""
        ours = {
            "$$": "$",
            "/mosquitto/data": f"{self.folder}/data",
            "/mosquitto/log": f"{self.folder}/logins",
            "/mosquitto/config": f"{self.folder}/config",
            "/logins/": f"{self.folder}/logins/",
            "/tmp/": f"{self.folder}/tmp/",  # noqa: S108
            "1883": str(self.broker_port),
            "8600": str(self.server.port),
        }
        return re.sub("|".join(map(re.escape, ours)), lambda found: ours[found[0]], text)

    def run(self, command: list[str], uid: int | None, **environ: str) -> subprocess.Popen[bytes]:
        path = f"{Path(sys.executable).parent}:{os.environ['PATH']}:/usr/sbin"
        with (self.folder / "log").open("ab") as log:
            return subprocess.Popen(
                command, env={"PATH": path, **environ}, cwd=self.folder, stdout=log, stderr=log, user=uid
            )

    def start_broker(self, password: str = "") -> None:
        service = SERVICES["broker"]
        assert list(service["environment"]) == ["TUNROOM_PASSWORD"]
        command = [*service["entrypoint"], *(self.here(each) for each in service["command"])]
        self._broker = self.run(command, self._uid, TUNROOM_PASSWORD=password)
        wait_until(lambda: reachable(self.broker_port), what="the broker's listener")

    def healthy(self, name: str) -> bool:
        kind, *command = SERVICES[name]["healthcheck"]["test"]
        words = ["/bin/sh", "-c", *command] if kind == "CMD-SHELL" else command
        uid = self._uid if name == "broker" else None  # Python may lie where another user cannot go
        return self.run([self.here(word) for word in words], uid).wait(20) == 0

    def start_tunroom(self) -> None:
        service = SERVICES["tunroom"]
        program, *arguments = json.loads(re.search(r"^CMD (.+)$", service["build"]["dockerfile_inline"], re.M)[1])
        assert program == "tunroom"
        arguments = [str(self.folder / "cellar") if word == "/data" else word for word in arguments]
        environ = {name: self.here(value) for name, value in service["environment"].items()}
        environ |= {"TUNROOM_BROKER__HOST": "127.0.0.1", "TUNROOM_SERVER__HOST": "127.0.0.1"}
        environ["TUNROOM_SERVER__HOSTS"] = ""
        self.tunroom = subprocess.Popen(
            [sys.executable, "-m", "dashboard", *arguments], cwd=ROOT, env={**os.environ, **environ},
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip

    def password(self, user: str) -> str:
        return (self.folder / "logins" / f"{user}.password").read_text().rstrip("\n")

    def stop(self) -> None:
        for process in (getattr(self, "tunroom", None), self._broker):
            if process is not None:
                process.terminate()
                process.wait(40)
        self._broker = None


@pytest.fixture
def containers(mosquitto_program: str) -> Iterator[Containers]:
    for program in ("mosquitto_passwd", "mosquitto_sub"):
        if find_program(program) is None:
            missing(program, "apt install mosquitto mosquitto-clients (Debian, Ubuntu)")
    folder = Path(tempfile.mkdtemp(prefix="tunroom-compose-"))
    # Mosquitto as root would become another user and find its files closed; in the container it is none from the start.
    made = Containers(folder, 65534 if os.geteuid() == 0 else None)
    yield made
    made.stop()
    shutil.rmtree(folder)


@pytest.mark.mosquitto
def test_each_service_starts_with_its_command_as_written_and_is_healthy(containers: Containers) -> None:
    containers.start_broker()
    assert containers.healthy("broker")
    containers.start_tunroom()
    server = containers.server
    wait_until(lambda: server.health().get("status") == "ok", 60, what="tunroom's health")
    assert containers.healthy("tunroom")
    devices = {"user": "cellar", "password": containers.password("cellar")}
    publish(containers.broker_port, numbered(1), **devices)
    for forged in (("tunroom/verdict/Vessel 1", b'{"finished": true}'), ("tunroom/status", b"offline")):
        with contextlib.suppress(RuntimeError):  # Mosquitto hangs up on who publishes what he may not
            publish(containers.broker_port, forged, retain=True, **devices)
    wait_until(lambda: server.health()["readings"] == 1, what="the reading")
    assert server.health()["status"] == "ok"
    heard = containers.folder / "heard"
    with heard.open("wb") as out:  # what a device hears when it asks for verdicts and status: tunroom's own words
        subprocess.run(
            ["mosquitto_sub", "-p", str(containers.broker_port), "-t", "tunroom/#", "-F", "%t %p", "-W", "2"],
            env={"PATH": os.environ["PATH"], "XDG_CONFIG_HOME": str(containers.folder / "tmp" / "health")},
            stdout=out, check=False, timeout=20,
        )  # fmt: skip
    assert heard.read_text().splitlines() == ["tunroom/status online"]


@pytest.mark.mosquitto
def test_the_passwords_are_made_once_or_given_and_hard_to_guess(containers: Containers) -> None:
    containers.start_broker()
    made = {user: containers.password(user) for user in ("cellar", "tunroom")}
    assert all(re.fullmatch(r"[\w-]{32}", password) for password in made.values())  # 24 random bytes
    assert made["cellar"] != made["tunroom"]
    containers.stop()
    containers.start_broker(password="correct horse: 100 % battery")
    assert containers.password("cellar") == "correct horse: 100 % battery"
    assert containers.password("tunroom") == made["tunroom"]
    assert containers.healthy("broker")
