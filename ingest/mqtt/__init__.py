"""The broker, ours or another, and the session with it."""

from ingest.mqtt.embedded_broker import EmbeddedBroker
from ingest.mqtt.session import Subscriber

__all__ = ["EmbeddedBroker", "Subscriber"]
