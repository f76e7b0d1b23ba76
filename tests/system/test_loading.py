"""What a start loads, while the first page is made and the batches are judged."""

from __future__ import annotations

import itertools
import time

from tests.system.serving import Server, put_casks
from tests.system.slowly_loaded import SAID


def test_no_two_threads_load_parts_of_the_program_at_once(tmp_path, wait_until):
    put_casks(tmp_path / "data", 3)
    server = Server(tmp_path, "serve", module="tests.system.slowly_loaded")
    try:
        server.start()
        wait_until(lambda: all(f" {each}" in server.log for each in ("dashboard.navigation", "scipy")), 120, "both")
        sizes: list[int] = []
        while len(sizes) < 6 or len(set(sizes[-6:])) > 1:  # until nothing has been loaded for three seconds
            time.sleep(0.5)
            sizes.append(server.log.count(SAID))
    finally:
        server.kill()
    log = server.log
    assert "cannot be judged" not in log
    assert "Traceback" not in log
    spans: dict[str, list[float]] = {}
    for line in log.splitlines():
        if line.startswith(SAID):
            at, thread, _ = line.removeprefix(SAID).split()
            spans.setdefault(thread, []).append(float(at))
    in_turn = sorted((min(span), max(span)) for span in spans.values())
    assert in_turn, "nothing was loaded after the start: what is this test for?"
    for (_, ended), (began, _) in itertools.pairwise(in_turn):
        assert began > ended
