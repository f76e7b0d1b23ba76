"""The process in which the embedded broker runs; it ends when the parent's end of its standard input closes.

Started by path, not as a module, so that nothing but the broker is imported.
"""

from __future__ import annotations

import logging
import os
import sys
import threading

from iotcore import Broker


def _leave_with_parent() -> None:
    try:
        sys.stdin.buffer.read()
    finally:
        os._exit(0)


def main() -> None:
    """Run the broker whose configuration file is the only argument."""
    # rumqttd reports every packet as an error; only what comes from elsewhere is news.
    logging.basicConfig(level=logging.WARNING, format="embedded broker: %(levelname)s %(name)s: %(message)s")
    logging.getLogger("rumqttd").setLevel(logging.CRITICAL)
    threading.Thread(target=_leave_with_parent, daemon=True).start()
    Broker(config_path=sys.argv[1]).run_forever()


if __name__ == "__main__":
    main()
