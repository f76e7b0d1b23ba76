"""Linear algebra runs in one thread where a process of ours starts; importing a library changes nothing."""

from __future__ import annotations

import json
import os
import platform
import subprocess
import sys
from pathlib import Path

import pytest

BEFORE = 3
"""Threads that the process has set for itself: a number that nobody here would choose."""

START = f"""
import sys
from pathlib import Path
import numpy, scipy.linalg
from threadpoolctl import threadpool_info, threadpool_limits
threadpool_limits(limits={BEFORE}, user_api="blas")
def count():
    return [pool["num_threads"] for pool in threadpool_info() if pool["user_api"] == "blas"]
"""
IMPORT = """
from analysis import assess, compare, learn
import ingest.service
print(count())
"""
HEAPS = """
import ctypes, sys, threading
if "give back" in sys.argv:
    from ingest import threads
    threads.give_memory_back()
libc = ctypes.CDLL(None)
together = threading.Barrier(12)
def hold():
    held = bytearray(100_000)
    together.wait()
all_of_them = [threading.Thread(target=hold) for _ in range(12)]
for each in all_of_them:
    each.start()
for each in all_of_them:
    each.join()
out = ctypes.c_void_p.in_dll(libc, "stdout")
libc.malloc_info(0, out)
libc.fflush(out)
"""
LATER = """
import json, sys
from ingest import threads
threads.one_for_linear_algebra()
assert "scipy" not in sys.modules
import numpy, scipy.linalg
from threadpoolctl import threadpool_info
print(json.dumps([pool["num_threads"] for pool in threadpool_info() if pool["user_api"] == "blas"]))
"""
SERVE = """
from ingest.service import running
from ingest.settings import Broker, Settings
with running(Settings(data_dir=Path(sys.argv[1]), broker=Broker(port=int(sys.argv[2]))), watch=False):
    print(count())
"""


def threads_of(script: str, *arguments: str) -> set[int]:
    """How many threads the libraries of linear algebra use in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-c", script, *arguments], capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )  # fmt: skip
    counts: list[int] = json.loads(done.stdout)
    if not counts:
        pytest.skip("numpy and scipy are built on a library that threadpoolctl does not know")
    return set(counts)


def test_importing_the_analysis_leaves_the_threads_of_the_process_as_they_are():
    assert threads_of(START + IMPORT) == {BEFORE}


def test_a_running_service_does_linear_algebra_in_one_thread(tmp_path, port):
    assert threads_of(START + SERVE, str(tmp_path), str(port)) == {1}


@pytest.mark.skipif(os.cpu_count() == 1, reason="there is but one thread to have")
def test_libraries_that_are_loaded_only_later_do_it_in_one_thread_as_well():
    assert threads_of(LATER) == {1}


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="a setting of glibc's")
def test_threads_that_come_and_go_share_two_heaps():
    def heaps(*how: str) -> int:
        env = {name: value for name, value in os.environ.items() if not name.startswith("MALLOC_")}
        env["PYTHONPATH"] = str(Path(__file__).parents[2])
        done = subprocess.run([sys.executable, "-c", HEAPS, *how], capture_output=True, text=True, check=True, env=env)
        return done.stdout.count("<heap nr=")

    assert heaps() > 2  # by itself glibc gives them more
    assert heaps("give back") == 2
