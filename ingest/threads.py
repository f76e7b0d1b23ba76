"""Settings of the whole process, made where it starts and never by importing a library."""

from __future__ import annotations


def one_for_linear_algebra() -> None:
    """Let linear algebra run in one thread from now on.

    The matrices of the analysis have a hundred rows: more threads cost more than they save, many times over when
    several batches are assessed at once.
    """
    import numpy  # noqa: F401 - the limit counts for the libraries that are loaded by then
    import scipy.linalg  # noqa: F401
    from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

    threadpool_limits(limits=1, user_api="blas")
