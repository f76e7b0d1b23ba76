"""Settings: file, environment, and what is wrong with them."""

from ingest.settings.settings import DATABASE, Broker, Server, Settings, default_data_dir, is_loopback, load
from ingest.settings.validators import is_host_name

__all__ = ["DATABASE", "Broker", "Server", "Settings", "default_data_dir", "is_host_name", "is_loopback", "load"]
