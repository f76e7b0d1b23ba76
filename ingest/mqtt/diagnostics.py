"""What is wrong between us and the broker: one sentence each, with what to do about it."""

from __future__ import annotations

import socket
import ssl
from collections.abc import Sequence

from ingest.settings import Broker

Address = tuple[str, int]


def _where(address: Address) -> str:
    return f"The broker at {address[0]}:{address[1]}"


def _who(broker: Broker) -> str:
    return f"user {broker.user!r}" if broker.user else "a client without user and password"


def refused(reason: str, broker: Broker, address: Address) -> str:
    """The broker answered, and said no; `reason` is the standard's name for why."""
    if reason in {"Bad user name or password", "Not authorized"}:
        return f"{_where(address)} does not admit {_who(broker)}. Check user and password_file in [broker]."
    if reason == "Client identifier not valid":
        return f"{_where(address)} refuses the client id {broker.client_id!r}. Set another client_id in [broker]."
    return f"{_where(address)} refused the connection ({reason}). Trying again."


def hung_up(broker: Broker, address: Address) -> str:
    """The broker closed the connection instead of answering."""
    lacking = "TLS" if not broker.tls else "a client certificate" if not broker.tls_certificate_file else "another one"
    return (
        f"{_where(address)} hung up before it answered: it may not admit {_who(broker)}, or want {lacking}. "
        "Check user, password_file and the tls settings in [broker], and that the port is the right one."
    )


def taken_over(broker: Broker, address: Address) -> str:
    """The broker said that another client took the session."""
    return (
        f"{_where(address)} hung up, since another program uses the client id {broker.client_id!r}. "
        "Stop it, or give one of them another client_id in [broker]."
    )


def keeps_hanging_up(broker: Broker, address: Address) -> str:
    """Connections are lost again and again soon after they were made; the broker does not say why."""
    return (
        f"{_where(address)} keeps hanging up soon after it has answered, and does not say why. Another program may use "
        f"the client id {broker.client_id!r}: stop it, or give one of them another client_id in [broker]. Or the "
        "broker is in trouble itself: its log says more. Trying again."
    )


def no_mqtt(address: Address) -> str:
    """What came over the connection is no MQTT."""
    return (
        f"{_where(address)} sent what is no MQTT. Check that host and port in [broker] are those of a broker, and what "
        "stands between; its log may say more. Trying again."
    )


def gone(address: Address) -> str:
    """A connection that had been made was lost."""
    return f"{_where(address)} is gone. Connecting again."


def subscription_refused(topics: Sequence[str], address: Address) -> str:
    """We are admitted, but may not read."""
    return f"{_where(address)} refuses a subscription. Let the user read {', '.join(topics)}."


def unreachable(error: Exception, address: Address) -> str:
    """The connection could not be made."""
    host, port = address
    if isinstance(error, ssl.SSLCertVerificationError):
        return (
            f"{_where(address)} shows a certificate that cannot be trusted ({error.verify_message}). "
            "Set tls_ca_file in [broker] to the authority that signed it, and host to the name it was made out for."
        )
    if isinstance(error, ssl.SSLError):
        reason = (error.reason or str(error)).replace("_", " ").lower()
        return (
            f"{_where(address)} and we could not agree on TLS ({reason}). "
            "Check that this is its TLS port, and tls_certificate_file and tls_key_file if it asks for a certificate."
        )
    if isinstance(error, socket.gaierror):
        return f"There is no host {host!r} to be found. Check host in [broker], and the network."
    if isinstance(error, ConnectionRefusedError):
        return f"Nothing listens at {host}:{port}. Start the broker, or check host and port in [broker]."
    if isinstance(error, TimeoutError):
        return (
            f"{_where(address)} does not answer. "
            "Check host and port in [broker], and whether a firewall stands between."
        )
    if isinstance(error, OSError):
        return f"{_where(address)} cannot be reached ({error.strerror or error}). Check the network; trying again."
    return f"{_where(address)} could not be used ({error}). Trying again."
