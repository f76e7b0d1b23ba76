"""The pages at 200 vessels and ten million readings: script time, time in a real browser, and many viewers at once.

    python tests/benchmarks/dashboard.py [--vessels 200] [--readings 10000000]
                                         [--part scripts|browser|viewers] [--dir DIR] [--before TREE]

The readings go in by `Store.keep_frame`: one float a vessel, every 15 minutes, back to back batches, of which the
last one runs. Parts: "scripts" runs the pages in this process; "browser" opens them in Chromium; "viewers" holds
twenty sessions of the web socket open, each refreshing itself as a browser does, while 1,000 messages/s come in
through the embedded broker. Other work on the machine moves all figures: `--before` names another checkout, whose
server answers in the same run: in the part "browser" tap by tap, in "viewers" one after the other, each on a cellar
of its own that holds the same.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from ingest.model import BatchRecord, Device, Placement, Vessel  # noqa: E402 - runs from a clone, without installing
from ingest.store.store import Store  # noqa: E402

if TYPE_CHECKING:
    from playwright.sync_api import Page, ViewportSize

EVERY_S = 900
RUNNING_DAYS = 10.0


def fill(store: Store, vessels: int, readings: int) -> None:
    """Enter the cellar and keep its readings."""
    now = datetime.now(UTC).replace(microsecond=0)
    each = readings // vessels
    rng = np.random.default_rng(5)
    records = []
    for n in range(vessels):
        vessel = Vessel(vessel_id=f"vessel-{n}", name=f"Vessel {n + 1}", temperature_low_c=17, temperature_high_c=22)
        pitched = now - timedelta(days=float(rng.uniform(0.5, RUNNING_DAYS)))
        batch = BatchRecord(
            batch_id=f"batch-{n}",
            name=f"Batch {n + 1}",
            vessel_id=vessel.vessel_id,
            yeast="Marrow",
            original_gravity_sg=1.052,
            pitched_at=pitched,
        )
        device = Device(device_id=f"float-{n}", kind="float")
        place = Placement(device_id=device.device_id, vessel_id=vessel.vessel_id, from_at=now - timedelta(days=2000))
        records += [vessel, batch, device, place]
        batches_at = (now - pitched).total_seconds()
        back = np.arange(each)[::-1] * EVERY_S
        age_days = np.where(back <= batches_at, (batches_at - back) / 86_400, ((back - batches_at) / 86_400) % 12)
        gravity = 1.011 + 0.041 / (1 + np.exp((age_days - 1.8) / 0.45)) + rng.normal(0, 0.0005, each)
        end_us = int(now.timestamp() * 1e6) - int(rng.integers(0, 60)) * 1_000_000
        frame = pl.DataFrame(
            {
                "device_id": pl.Series([device.device_id]).new_from_index(0, each),
                "measured_at": pl.Series(end_us - back.astype(np.int64) * 1_000_000).cast(pl.Datetime("us", "UTC")),
                "gravity_sg": np.round(gravity, 4),
                "temperature_c": np.round(19 + rng.normal(0, 0.2, each), 2),
                "battery_v": np.round(4.0 + rng.normal(0, 0.005, each), 2),
                "signal_dbm": np.round(-70 + rng.normal(0, 3, each)),
            }
        ).with_columns(pl.col("measured_at").alias("received_at"))
        store.keep_frame(frame, topic="benchmark")
    store.save_many(records, "Entered the cellar of the benchmark")
    store.recall_words()


def timed(work: Callable[[], object], repeats: int = 9) -> str:
    """The first, the median and the slowest of some runs; and the processor's time, for a machine that is shared."""
    spent, worked = [], []
    for _ in range(repeats):
        began, busy = time.perf_counter(), time.process_time()
        work()
        spent.append(1e3 * (time.perf_counter() - began))
        worked.append(1e3 * (time.process_time() - busy))
    wall = f"first {spent[0]:5.0f} ms   median {statistics.median(spent):5.0f} ms   slowest {max(spent):5.0f} ms"
    return f"{wall}   processor, median {statistics.median(worked):5.0f} ms"


def scripts(data: Path) -> None:
    """The pages' scripts, from the run's beginning to its last element, without a browser."""
    from streamlit.testing.v1 import AppTest

    from dashboard import context
    from ingest.monitoring.notifier import Notifier
    from ingest.monitoring.outlook import Outlooks
    from ingest.mqtt.session import Subscriber
    from ingest.pipeline import Pipeline
    from ingest.service import Service
    from ingest.settings.settings import load

    settings = load(None, data, {})
    with Store.open(data / "tunroom.duckdb") as store:
        outlooks = Outlooks(store)
        began = time.perf_counter()
        for record in store.active_batches():
            outlooks.of(record.batch_id)
        spent = time.perf_counter() - began
        print(f"all {len(store.active_batches())} batches assessed once, in the background: {spent:.1f} s")
        pipeline = Pipeline(store)
        subscriber = Subscriber(settings.broker, pipeline)
        service = Service(settings, store, pipeline, subscriber, outlooks, Notifier(store))
        context.set_service(service)
        main = str(ROOT / "dashboard" / "main.py")
        print("first screen, whole script  ", timed(lambda: AppTest.from_file(main, default_timeout=60).run()))
        for page in ("calendar", "sensors"):
            run = f"from dashboard import navigation as n\n[e] = [e for e in n.PAGES if e.path == {page!r}]\ne.show()\n"
            print(f"{page:<28}", timed(lambda r=run: AppTest.from_string(r, default_timeout=60).run()))
        page = "from dashboard.screens.batch import page as batch\nbatch.show()\n"

        def one(batch_id: str) -> None:
            app = AppTest.from_string(page, default_timeout=60)
            app.query_params["id"] = batch_id
            app.run()

        numbers = iter(range(1000))
        print("batch page, never seen      ", timed(lambda: one(f"batch-{next(numbers) % 200}")))
        print("batch page, seen            ", timed(lambda: one("batch-1")))
        context.set_service(None)


def serving(data: Path, port: int, broker_port: int, tree: Path = ROOT) -> subprocess.Popen[bytes]:
    """The real server of a checkout on these data, in a process of its own."""
    command = [sys.executable, "-m", "dashboard", "serve", "--data", str(data)]
    command += ["--port", str(port), "--broker-port", str(broker_port)]
    log = (data / "server.log").open("wb")
    process = subprocess.Popen(command, cwd=tree, stdout=log, stderr=log, env={**os.environ, "PYTHONPATH": str(tree)})
    wait_until_judged(port, process)
    return process


def wait_until_judged(port: int, process: subprocess.Popen[bytes], most_s: float = 300) -> None:
    """Until the server answers and its watcher has been round once (it keeps one core busy until then)."""
    began = time.monotonic()
    while time.monotonic() - began < most_s:
        if process.poll() is not None:
            raise SystemExit("the server ended; see server.log")
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=2):
                return
        except OSError:
            time.sleep(0.3)
    raise SystemExit("the server did not answer")


def health(port: int) -> dict[str, Any]:
    """What the server says of itself."""
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=30) as answer:
        return dict(json.load(answer))


def browser(cellars: dict[str, Path], trees: dict[str, Path], vessels: int, taps: int = 9) -> None:
    """From the address typed to the page usable, in Chromium with a filled cache; every checkout in turn, tap by tap.

    One of two servers that are measured one after the other profits from whatever the machine did meanwhile.
    """
    from playwright.sync_api import sync_playwright

    from tests.conftest import find_program, free_port
    from tests.system.serving import CHROMIUM_OPTIONS

    ports = {name: free_port() for name in trees}
    processes = [serving(cellars[name], ports[name], free_port(), tree) for name, tree in trees.items()]
    every_row = f"document.querySelectorAll('ul.rows svg.spark').length >= {vessels}"
    ready = f"{every_row} && !document.body.innerText.includes('Being worked out')"

    def first_screen(page: Page, name: str, most_ms: float = 60_000) -> float:
        began = time.perf_counter()
        page.goto(f"http://127.0.0.1:{ports[name]}/")
        page.wait_for_function(ready, timeout=most_ms)
        return time.perf_counter() - began

    def batch(page: Page, nth: int) -> float:
        began = time.perf_counter()
        page.locator("ul.rows a[href*='batch?id=']").nth(nth).click()  # others lead to their sheet
        # Asked at every frame; `wait_for_selector` asks ever more seldom, at last twice a second.
        page.wait_for_function("document.querySelector('.js-plotly-plot .main-svg')", timeout=60_000)
        return time.perf_counter() - began

    try:
        with sync_playwright() as p:
            chromium = p.chromium.launch(executable_path=find_program("chromium"), args=CHROMIUM_OPTIONS)
            for size, width, height in (("desktop", 1440, 900), ("phone", 390, 844)):
                viewport: ViewportSize = {"width": width, "height": height}
                pages = {name: chromium.new_context(viewport=viewport).new_page() for name in trees}
                for name, page in pages.items():  # fills the cache, and waits for the watcher's first round
                    first_screen(page, name, most_ms=240_000)
                    batch(page, 0)
                firsts: dict[str, list[float]] = {name: [] for name in trees}
                batches: dict[str, list[float]] = {name: [] for name in trees}
                for turn in range(taps):
                    for name in trees if turn % 2 else reversed(trees):
                        firsts[name].append(first_screen(pages[name], name))
                        batches[name].append(batch(pages[name], 20 + turn))
                for what, spent in (("first screen", firsts), ("a batch after a tap on its row", batches)):
                    for name, each in spent.items():
                        middle = f"median {statistics.median(each):.2f} s, {min(each):.2f} to {max(each):.2f}"
                        ratio = statistics.median(m / b for m, b in zip(each, spent[list(trees)[-1]], strict=True))
                        print(f"{what}, {size:<8} {name:<7} {middle}   ratio by turns {ratio:.2f}")
            chromium.close()
    finally:
        for process in processes:
            process.terminate()
        for process in processes:
            process.wait(60)


class Viewer:
    """One session of the web socket that behaves as a browser's page does: a run, then its fragments at their pace."""

    def __init__(self, port: int, query: str) -> None:
        self.url, self.query = f"ws://127.0.0.1:{port}/_stcore/stream", query
        self.first_s = 0.0
        self.pace_s = 5.0
        self.spent: list[float] = []
        self.bytes = 0

    async def look(self, for_s: float) -> None:
        from streamlit.proto.BackMsg_pb2 import BackMsg
        from websockets.asyncio.client import connect

        page, _, query = self.query.partition("?")
        async with connect(
            self.url, max_size=None, subprotocols=["streamlit"], origin=self.url.replace("ws", "http").rsplit("/", 2)[0]
        ) as socket:  # type: ignore[arg-type, list-item]
            message = BackMsg()
            message.rerun_script.query_string = query
            message.rerun_script.page_name = page
            self.first_s, fragments = await self._run(socket, message)
            until = time.monotonic() + for_s
            # The page's timer strikes for the first time after one pace (setInterval), not at once.
            await asyncio.sleep(min(self.pace_s, max(0.0, for_s)))
            while time.monotonic() < until:
                turn = time.monotonic()
                for fragment in fragments:
                    message = BackMsg()
                    message.rerun_script.query_string = query
                    message.rerun_script.fragment_id = fragment
                    message.rerun_script.is_auto_rerun = True
                    spent, _ = await self._run(socket, message)
                    self.spent.append(spent)
                await asyncio.sleep(max(0.0, self.pace_s - (time.monotonic() - turn)))

    async def _run(self, socket: object, message: object) -> tuple[float, list[str]]:
        from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

        began = time.perf_counter()
        await socket.send(message.SerializeToString())  # type: ignore[attr-defined]
        fragments: list[str] = []
        while True:
            raw = await asyncio.wait_for(socket.recv(), 60)  # type: ignore[attr-defined]
            self.bytes += len(raw)
            answer = ForwardMsg.FromString(raw)
            kind = answer.WhichOneof("type")
            if kind == "auto_rerun":
                fragments.append(answer.auto_rerun.fragment_id)
                self.pace_s = answer.auto_rerun.interval
            elif kind == "script_finished":
                return time.perf_counter() - began, fragments


def processor_s(pid: int) -> float:
    """Seconds of processor that a process has used so far (Linux; else 0)."""
    try:
        facts = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    except OSError:
        return 0.0
    return (int(facts[11]) + int(facts[12])) / os.sysconf("SC_CLK_TCK")


def viewers(
    data: Path, vessels: int, tree: Path = ROOT, number: int = 20, rate: int = 1000, for_s: float = 60.0
) -> None:
    """Twenty viewers, half of them on the first screen and half on batches, while messages come in."""
    # What viewers need is loaded before anything is timed: it would hold up the sender, which then sends all at once.
    from streamlit.proto import BackMsg_pb2, ForwardMsg_pb2  # noqa: F401
    from websockets.asyncio import client  # noqa: F401

    from tests.conftest import free_port

    port, broker_port = free_port(), free_port()
    process = serving(data, port, broker_port, tree)
    try:
        time.sleep(60)  # the watcher's first round
        stop = threading.Event()
        sent = [0]
        before = int(health(port)["readings"])
        sender = threading.Thread(target=_publish, args=(broker_port, rate, vessels, stop, sent))
        began, worked, served = time.monotonic(), time.process_time(), processor_s(process.pid)
        sender.start()
        time.sleep(5)  # by now messages come in steadily and the watcher is at work on them
        looking = [Viewer(port, "today?" if n % 2 else f"batch?id=batch-{n * 7 % vessels}") for n in range(number)]
        behind: list[int] = []

        def watch() -> None:
            while not stop.is_set():
                behind.append(sent[0] - int(health(port)["readings"]) + before)
                stop.wait(5)

        watcher = threading.Thread(target=watch)
        watcher.start()

        async def all_of_them() -> None:
            await asyncio.gather(*(v.look(for_s) for v in looking))

        asyncio.run(all_of_them())
        stop.set()
        sender.join()
        lasted, ended = time.monotonic() - began, time.monotonic()
        worked, served = time.process_time() - worked, processor_s(process.pid) - served
        watcher.join()
        while int(health(port)["readings"]) - before < sent[0] and time.monotonic() - ended < 120:
            time.sleep(0.1)
        late = time.monotonic() - ended
        firsts = sorted(v.first_s for v in looking)
        later = sorted(s for v in looking for s in v.spent)
        p95 = later[int(0.95 * (len(later) - 1))]
        print(f"{number} viewers for {lasted:.0f} s, {sent[0] / lasted:.0f} messages/s sent")
        shares = f"sender and viewers {100 * worked / lasted:.0f} %, the server {100 * served / lasted:.0f} %"
        print(f"load of the machine {os.getloadavg()[0]:.1f}; of one core used by {shares}")
        print(f"first run:  median {statistics.median(firsts):.2f} s  slowest {firsts[-1]:.2f} s (all at once)")
        print(f"refreshes:  median {statistics.median(later):.3f} s  95 % {p95:.3f} s  slowest {later[-1]:.2f} s")
        print(f"sent and not yet kept, every 5 s: {behind}")
        kept = int(health(port)["readings"]) - before
        print(f"kept {kept:,} of {sent[0]:,}, the last {late:.1f} s after it was sent")
        print(f"sent to a viewer: {statistics.median(v.bytes for v in looking) / lasted / 1e3:.1f} kB/s")
    finally:
        process.terminate()
        process.wait(60)


def _publish(broker_port: int, rate: int, vessels: int, stop: threading.Event, sent: list[int]) -> None:
    import paho.mqtt.client as mqtt
    from paho.mqtt.enums import CallbackAPIVersion

    client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="benchmark")
    client.max_inflight_messages_set(2000)
    client.connect("127.0.0.1", broker_port)
    client.loop_start()
    began = time.monotonic()
    base = datetime.now(UTC)
    while not stop.is_set():
        due = int((time.monotonic() - began) * rate)
        for n in range(sent[0], due):
            at = base + timedelta(milliseconds=n * 1000 / rate)
            body = {"measured_at": at.isoformat(), "gravity_sg": 1.012, "temperature_c": 19.0, "battery_v": 3.98}
            client.publish(f"tunroom/report/float-{n % vessels}", json.dumps(body), qos=1)
        sent[0] = max(sent[0], due)
        time.sleep(0.02)
    client.loop_stop()
    client.disconnect()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--vessels", type=int, default=200)
    parser.add_argument("--readings", type=int, default=10_000_000)
    parser.add_argument("--part", choices=("scripts", "browser", "viewers"))
    parser.add_argument("--dir", type=Path)
    parser.add_argument("--before", type=Path, metavar="TREE", help="another checkout, measured in turn with this one")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        trees = {"now": ROOT, **({"before": given.before.resolve()} if given.before else {})}
        cellars = {name: (given.dir or Path(made)) / name for name in trees}
        for name, data in cellars.items():
            filled(data, trees[name], given.vessels, given.readings)
        if given.part in (None, "scripts"):
            print("\nscripts")
            scripts(cellars["now"])
        if given.part in (None, "browser"):
            print("\nbrowser")
            browser(cellars, trees, given.vessels)
        for name, tree in trees.items() if given.part in (None, "viewers") else ():
            print(f"\nviewers, {name}")
            viewers(cellars[name], given.vessels, tree)


def filled(data: Path, tree: Path, vessels: int, readings: int) -> None:
    """Make the cellar by the code of the checkout that will open it, unless it is there."""
    data.mkdir(parents=True, exist_ok=True)
    if (data / "tunroom.duckdb").exists():
        return
    began = time.perf_counter()
    make = (
        "from pathlib import Path; from ingest.store import Store; from tests.benchmarks.dashboard import fill\n"
        f"with Store.open(Path({str(data)!r}) / 'tunroom.duckdb') as store: fill(store, {vessels}, {readings})"
    )
    environment = {**os.environ, "PYTHONPATH": str(tree)}
    subprocess.run([sys.executable, "-c", make], cwd=tree, env=environment, check=True)
    print(f"{readings:,} readings kept in {time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
