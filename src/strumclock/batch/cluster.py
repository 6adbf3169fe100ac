"""The same batch on several machines: a Dask cluster's executor."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from typing import Any
from urllib.parse import urlsplit

from strumclock.batch.files import shown_url
from strumclock.errors import UsageError

ANSWER_WITHIN_S = 20  # by hand: as long as somebody waits before looking for the mistake
REACH_WITHIN_S = 5  # by hand: to connect to a machine that is there takes far less
SCHEMES = ("tcp", "tls", "ws", "wss")


def _reach(address: str) -> None:
    """Refuse an address that is none, or where nobody listens, before a client tries for a long time."""
    where = f"a Dask scheduler must answer at {shown_url(address)}"
    try:
        parts = urlsplit(address)
        host, port, scheme = parts.hostname, parts.port, parts.scheme
    except ValueError:
        host, port, scheme = None, None, ""
    if host is None or port is None or scheme not in SCHEMES:
        raise UsageError(f"{where}, but that is no address such as tcp://10.0.0.5:8786; correct it")
    try:
        socket.create_connection((host, port), REACH_WITHIN_S).close()
    except (OSError, UnicodeError) as error:
        said = getattr(error, "strerror", None) or str(error) or "no answer"
        raise UsageError(f"{where}, but: {said}; start it or correct this") from None


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
    _reach(address)
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
        said = error or type(error).__name__
        raise UsageError(
            f"a Dask scheduler must answer at {shown_url(address)}, but: {said}; start it or correct this"
        ) from None
    try:
        threads = sum(client.nthreads().values())
        if not threads:
            raise UsageError(f"the cluster at {shown_url(address)} must have workers, but it has none; start some")
        yield client.get_executor(pure=False), threads
    finally:
        client.close()
