"""Settings of the whole process, made where it starts and never by importing a library."""

from __future__ import annotations

import os
from typing import Final

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
