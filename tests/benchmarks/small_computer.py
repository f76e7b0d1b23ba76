"""Whether a small computer is enough: time until the dashboard can be opened, and memory under a limit.

One command: ``python tests/benchmarks/small_computer.py``. It fills a cellar of 30 vessels with ten million readings,
starts the server as systemd does, under a limit of 1 GiB of memory where this machine lets us set one (control groups,
as root), and prints when it said that it is ready. Then two viewers look at the first screen and at a batch for a
minute while each float sends every two seconds; at last it prints the most memory that was taken.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import re
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))


from ingest.store.store import Store  # noqa: E402
from tests.benchmarks.dashboard import Viewer, _publish, fill, health, processor_s  # noqa: E402
from tests.conftest import free_port  # noqa: E402

GROUPS = {
    Path("/sys/fs/cgroup/memory"): ("memory.limit_in_bytes", "memory.failcnt", "memory.max_usage_in_bytes"),
    Path("/sys/fs/cgroup"): ("memory.max", "memory.events", "memory.peak"),
}
"""Where control groups of the first and of the second version are: files of the limit, of refusals and of the most."""


@contextmanager
def limited(to_bytes: int) -> Iterator[tuple[Path, tuple[str, str, str]] | None]:
    """A control group with this limit; None where we cannot make one."""
    for root, files in GROUPS.items():
        group = root / f"tunroom-{os.getpid()}"
        try:
            group.mkdir()
            (group / files[0]).write_text(str(to_bytes))
        except OSError:
            with suppress(OSError):
                group.rmdir()
            continue
        try:
            yield group, files
        finally:
            with suppress(OSError):
                group.rmdir()
        return
    yield None


def peaks(pid: int) -> dict[int, float]:
    """The most memory, in MB, that this process and its children ever had in RAM each (VmHWM of proc(5))."""
    pids = [pid]
    with suppress(OSError):
        pids += map(int, Path(f"/proc/{pid}/task/{pid}/children").read_text().split())
    found = {}
    for each in pids:
        with suppress(OSError):
            status = Path(f"/proc/{each}/status").read_text()
            if peak := re.search(r"VmHWM:\s+(\d+)", status):
                found[each] = int(peak[1]) * 1024 / 1e6
    return found


def measure(data: Path, vessels: int, limit: int) -> None:
    """Start, look, and print."""
    port, broker_port = free_port(), free_port()
    manager = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    manager.bind(str(data / "notify"))
    manager.settimeout(300)
    with limited(limit) as group, (data / "server.log").open("wb") as log:
        into = f"echo $$ > {group[0] / 'cgroup.procs'}; " if group else ""
        command = f'{into}exec "$0" -m dashboard serve --data "$1" --port {port} --broker-port {broker_port}'
        began = time.monotonic()
        process = subprocess.Popen(
            ["/bin/sh", "-c", command, sys.executable, str(data)], cwd=ROOT, stdout=log, stderr=log,
            env={**os.environ, "NOTIFY_SOCKET": str(data / "notify")},
        )  # fmt: skip
        try:
            assert manager.recv(100) == b"READY=1"
            ready, used = time.monotonic() - began, processor_s(process.pid)
            print(
                f"ready after {ready:.2f} s ({used:.2f} s of processor; load of the machine {os.getloadavg()[0]:.1f})"
            )
            stop, sent = threading.Event(), [0]
            sender = threading.Thread(target=_publish, args=(broker_port, max(1, vessels // 2), vessels, stop, sent))
            sender.start()
            looking = [Viewer(port, "today?"), Viewer(port, "batch?id=batch-3")]

            async def look() -> None:
                await asyncio.gather(*(viewer.look(60) for viewer in looking))

            asyncio.run(look())
            stop.set()
            sender.join()
            print(
                f"first screen {looking[0].first_s:.2f} s, a batch {looking[1].first_s:.2f} s; sent {sent[0]} readings"
            )
            told = health(port)
            print(f"health: {told['status']}, {told['readings']:,} readings, {told['problems'] or 'no problem'}")
            print(f"most memory in RAM: {', '.join(f'{each:.0f} MB' for each in peaks(process.pid).values())}")
            if group:
                most = int((group[0] / group[1][2]).read_text()) / 1e6
                print(f"with its cache of files: {most:.0f} MB of {limit / 1e6:.0f} MB that it was let have")
                print(
                    f"stopped at the limit: {(group[0] / group[1][1]).read_text().split()} (cached files were let go)"
                )
            else:
                print("no limit could be set here")
        finally:
            process.terminate()
            try:
                process.wait(180)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait(60)
            manager.close()


def main() -> None:
    """Fill a cellar, and measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--vessels", type=int, default=30)
    parser.add_argument("--readings", type=int, default=10_000_000)
    parser.add_argument("--limit-mib", type=int, default=1024)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        data = Path(made)
        with Store.open(data / "tunroom.duckdb") as store:
            fill(store, given.vessels, given.readings)
            print(f"{store.counts()['readings']:,} readings, {given.vessels} vessels", flush=True)
        measure(data, given.vessels, given.limit_mib * 2**20)


if __name__ == "__main__":
    main()
