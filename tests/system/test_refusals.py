"""A broker that says no, or that cannot be reached or trusted: one clear sentence each, and we go on trying."""

from __future__ import annotations

import json
import logging
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import trustme

from tests.system.mqtt import numbered, publish, running

Wait = Callable[..., None]


@pytest.mark.mosquitto
def test_a_wrong_password_is_one_clear_sentence_and_we_go_on_trying(
    tmp_path: Path, port: int, mosquitto: Any, wait_until: Wait, caplog: pytest.LogCaptureFixture
) -> None:
    (tmp_path / "passwords").write_text("")
    broker = mosquitto(port, f"allow_anonymous false\npassword_file {tmp_path / 'passwords'}")
    with (
        caplog.at_level(logging.DEBUG),
        running(tmp_path, host="127.0.0.1", port=port, user="anna", password="not this one") as parts,
    ):
        wait_until(lambda: parts.subscriber.status().problem, what="the sentence")
        problem = parts.subscriber.status().problem
        assert problem is not None
        assert "does not admit user 'anna'" in problem
        assert "password_file" in problem
        wait_until(lambda: broker.log.count("anna") + broker.log.count("not authorised") > 2, what="another attempt")
        assert not parts.subscriber.status().connected
    assert "not this one" not in caplog.text


@pytest.mark.parametrize(
    ("broker", "words"),
    [
        ({"host": "no-such-host.invalid"}, "There is no host 'no-such-host.invalid' to be found"),
        ({"host": "127.0.0.1"}, "Nothing listens at 127.0.0.1"),
    ],
)
def test_a_broker_that_cannot_be_reached_is_one_clear_sentence(
    tmp_path: Path, port: int, wait_until: Wait, broker: dict[str, str], words: str
) -> None:
    with running(tmp_path, port=port, **broker) as parts:
        wait_until(lambda: parts.subscriber.status().problem, 20, "the sentence")
        assert words in str(parts.subscriber.status().problem)


@pytest.fixture
def authority(tmp_path: Path) -> trustme.CA:
    """A certificate authority with certificates for the broker and for us, in files."""
    authority = trustme.CA()
    server, client = authority.issue_cert("127.0.0.1", "localhost"), authority.issue_cert(common_name="tunroom")
    authority.cert_pem.write_to_path(str(tmp_path / "ca.pem"))
    server.private_key_pem.write_to_path(str(tmp_path / "server.key"))
    client.private_key_pem.write_to_path(str(tmp_path / "client.key"))
    for name, cert in (("server.pem", server), ("client.pem", client)):
        (tmp_path / name).write_bytes(b"".join(blob.bytes() for blob in cert.cert_chain_pems))
    return authority


def tls(folder: Path, *, ask: bool = False) -> str:
    lines = [f"cafile {folder / 'ca.pem'}", f"certfile {folder / 'server.pem'}", f"keyfile {folder / 'server.key'}"]
    return "\n".join([*lines, f"require_certificate {str(ask).lower()}"])


@pytest.mark.mosquitto
@pytest.mark.usefixtures("authority")
def test_tls_with_our_own_authority_and_a_client_certificate(
    tmp_path: Path, port: int, mosquitto: Any, wait_until: Wait, other_port: int
) -> None:
    mosquitto(port, listener=tls(tmp_path, ask=True), extra=f"listener {other_port} 127.0.0.1")
    with running(
        tmp_path, host="127.0.0.1", port=port, tls=True, tls_ca_file=tmp_path / "ca.pem",
        tls_certificate_file=tmp_path / "client.pem", tls_key_file=tmp_path / "client.key",
    ) as parts:  # fmt: skip
        wait_until(lambda: parts.subscriber.status().connected, what="the connection")
        assert parts.subscriber.status().problem is None
        time.sleep(0.5)
        # A record of TLS holds many messages: what is decrypted but not read yet shows on no socket.
        buffered = [{"measured_at": 1772352000 + n, "gravity_sg": 1.05} for n in range(400)]
        publish(other_port, ("tunroom/report/b", json.dumps(buffered).encode()), *(numbered(n) for n in range(600)))
        wait_until(lambda: parts.store.counts()["readings"] == 1000, what="1000 readings")


# Paho does not close the socket of a failed handshake itself; it goes with the client.
@pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.mosquitto
@pytest.mark.usefixtures("authority")
@pytest.mark.parametrize(
    ("given", "ask", "words"),
    [
        ({}, False, "shows a certificate that cannot be trusted"),
        ({"tls_ca_file": "ca.pem"}, True, "or want a client certificate"),
        ({"tls": False}, False, "or want TLS"),
    ],
    ids=["unknown authority", "no client certificate", "no TLS on our side"],
)
def test_a_refused_certificate_is_one_clear_sentence(
    tmp_path: Path, port: int, mosquitto: Any, wait_until: Wait, given: dict[str, Any], ask: bool, words: str
) -> None:
    mosquitto(port, listener=tls(tmp_path, ask=ask))
    options: dict[str, Any] = {"host": "127.0.0.1", "tls": True, **given}
    if "tls_ca_file" in given:
        options["tls_ca_file"] = tmp_path / "ca.pem"
    with running(tmp_path, port=port, **options) as parts:
        wait_until(lambda: words in str(parts.subscriber.status().problem), 20, f"the sentence with {words!r}")
        assert not parts.subscriber.status().connected


@pytest.mark.mosquitto
def test_two_tunrooms_with_one_client_id_are_told_apart(
    tmp_path: Path, port: int, mosquitto: Any, wait_until: Wait
) -> None:
    mosquitto(port)
    with running(tmp_path / "a", host="127.0.0.1", port=port) as first:
        wait_until(lambda: first.subscriber.status().connected, what="the first connection")
        with running(tmp_path / "b", host="127.0.0.1", port=port):
            wait_until(lambda: "client id 'tunroom'" in str(first.subscriber.status().problem), 40, "the sentence")
