"""Settings of the whole process, made where it starts and never by importing a library."""

from __future__ import annotations

import ctypes
import os
import sys
from contextlib import suppress
from typing import Final

_ARENAS: Final = 2
_MAPPED_FROM_BYTES: Final = 2**20
_M_ARENA_MAX, _M_MMAP_THRESHOLD = -8, -3  # mallopt(3)

_LIBRARIES_ASK: Final = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "BLIS_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")


def one_for_linear_algebra() -> None:
    """Let linear algebra run in one thread from now on.

    The matrices of the analysis have a hundred rows: more threads cost more than they save, many times over when
    several batches are assessed at once. It loads no library for it: a service takes readings in before it needs one.
    """
    from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

    for name in _LIBRARIES_ASK:  # by those that are loaded from now on
        os.environ[name] = "1"
    threadpool_limits(limits=1, user_api="blas")  # of those that are loaded


def give_memory_back() -> None:
    """Let the C library hold on to little of what is freed, from now on; before other threads are started.

    A page is made and a batch judged in threads that come and go. By itself glibc gives each of up to eight a processor
    a heap of its own, and takes large arrays from these once one was freed: what is free in them stays ours, and in
    months it is a hundred megabytes. Two heaps are enough where one thread computes at a time. Other C libraries are
    left as they are, and whoever set glibc's own variables (`MALLOC_ARENA_MAX`, …) has chosen.
    """
    if not sys.platform.startswith("linux") or any(name.startswith("MALLOC_") for name in os.environ):
        return
    with suppress(OSError, AttributeError):
        mallopt = ctypes.CDLL(None).mallopt
        mallopt(_M_ARENA_MAX, _ARENAS)
        mallopt(_M_MMAP_THRESHOLD, _MAPPED_FROM_BYTES)
