"""The two ways to begin, ready to be copied: connect a device, or import a log."""

from __future__ import annotations

import socket
from typing import Final

from dashboard.templates import Markup, fill
from ingest.settings import Broker, Settings, is_loopback

EXAMPLE: Final = '{"gravity_sg": 1.048, "temperature_c": 19.5}'


def broker_address(broker: Broker) -> tuple[str, int]:
    """Where a device sends to, as far as this machine can tell."""
    if broker.host is not None:
        return broker.host, broker.port
    if is_loopback(broker.listen):
        return "localhost", broker.port
    if broker.listen in ("0.0.0.0", "::"):  # noqa: S104  only compared, not bound
        return socket.gethostname(), broker.port
    return broker.listen, broker.port


def publish_line(settings: Settings, device_id: str = "float-1") -> str:
    """A line for a terminal that sends one reading as a device would."""
    broker = settings.broker
    host, port = broker_address(broker)
    parts = ["mosquitto_pub", f"-h {host}", f"-p {port}", "-q 1"]
    if broker.user is not None:
        parts.append(f"-u {broker.user} -P PASSWORD")
    if broker.tls:
        parts.append(f"--cafile {broker.tls_ca_file}" if broker.tls_ca_file else "--tls-use-os-certs")
    parts += [f"-t {broker.prefix}/report/{device_id}", f"-m '{EXAMPLE}'"]
    return " ".join(parts)


def connect_html(settings: Settings) -> Markup:
    """How to connect a float or a probe, with this server's own address."""
    broker = settings.broker
    host, port = broker_address(broker)
    reach = Markup()
    if broker.host is None and is_loopback(broker.listen):
        reach = fill(
            "<p>The broker in here answers on this machine only. To let devices in the house reach it, set "
            "<code>listen</code>, <code>user</code> and <code>password_file</code> under <code>[broker]</code> in "
            "<code>tunroom.toml</code>, or name a broker of your own there with <code>host</code>.</p>"
        )
    return fill(
        "<p>Let it publish over MQTT to <b>{{ host }}</b>, port <b>{{ port }}</b>, topic "
        "<code>{{ prefix }}/report/</code> and its id. Try it from a terminal:</p>"
        '<pre class="copy"><code>{{ line }}</code></pre>'
        "<p>It may send <code>measured_at</code>, <code>gravity_sg</code>, <code>extract_plato</code>, "
        "<code>inclination_deg</code>, <code>temperature_c</code>, <code>battery_v</code>, <code>signal_dbm</code> and "
        "<code>sequence</code>, whichever it has. As soon as it speaks it stands under Sensors. A device that speaks "
        "otherwise is read by a rule: let it send, and build the rule there from its first rejected message.</p>"
        "{{ reach }}",
        host=host,
        port=port,
        prefix=broker.prefix,
        line=publish_line(settings),
        reach=reach,
    )
