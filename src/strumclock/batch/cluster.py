"""The same batch on several machines: a Dask cluster's executor."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from typing import Any

from strumclock.errors import UsageError

ANSWER_WITHIN_S = 20


@contextmanager
def cluster_executor(address: str) -> Iterator[tuple[Executor, int]]:
    """An executor that hands takes to a Dask cluster, and how many it measures at a time.

    When a worker is lost, the scheduler gives its takes to another. Each worker needs strumclock installed and must
    reach the recordings under the same paths, or the folder is a URL that fsspec reads.

    Parameters
    ----------
    address : str
        The scheduler's, such as ``tcp://10.0.0.5:8786``.

    Raises
    ------
    UsageError
        If dask.distributed is not installed, or no scheduler answers.
    """
    try:
        import distributed
    except ImportError:
        raise UsageError(
            "a cluster needs the package dask.distributed, which is not installed; pip install 'strumclock[cluster]'"
        ) from None
    try:
        connect: Any = distributed.Client
        client = connect(address, timeout=ANSWER_WITHIN_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise UsageError(
            f"a Dask scheduler must answer at {address}, but: {error or type(error).__name__}; start it or correct this"
        ) from None
    try:
        threads = sum(client.nthreads().values())
        if not threads:
            raise UsageError(f"the cluster at {address} must have workers, but it has none; start some")
        yield client.get_executor(pure=False), threads
    finally:
        client.close()
