"""Where the cases are computed: processes on this machine, or a Dask cluster by its address."""

from __future__ import annotations

import contextlib
import importlib
import multiprocessing
import os
import signal
from concurrent.futures import ProcessPoolExecutor
from typing import TYPE_CHECKING, Any

from optimizer.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from concurrent.futures import Executor

__all__ = ["cluster", "cores", "processes"]

_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "BLIS_NUM_THREADS")


def cores() -> int:
    """Count the cores that this process may use."""
    with contextlib.suppress(AttributeError):  # not on every system
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _begin() -> None:
    """Keep numpy, imported only after this, to one thread; let a stop end the worker quietly."""
    os.environ.update(dict.fromkeys(_THREADS, "1"))
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def processes(count: int) -> ProcessPoolExecutor:
    """Pool of fresh processes on this machine, one thread each."""
    return ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn"),
                               initializer=_begin)


@contextlib.contextmanager
def cluster(address: str, timeout: float = 10.0) -> Iterator[tuple[Executor, int]]:
    """Executor on a Dask scheduler that runs already, with the number of its worker threads.

    The workers need kitpace, of the same version, but none of the files. Raises InputError where
    nobody answers within `timeout` [s] or Dask is not installed.
    """
    try:
        distributed: Any = importlib.import_module("distributed")
    except ImportError as error:
        raise InputError("--cluster", "", "needs Dask, which is not installed",
                         'install it with: pip install "kitpace[cluster]"') from error
    try:
        client = distributed.Client(address, timeout=timeout, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError("--cluster", "", f'no scheduler answers at "{address}"',
                         "start one with: dask scheduler, and name it as tcp://host:8786"
                         ) from error
    with client:
        threads = sum(client.nthreads().values())
        if not threads:
            raise InputError("--cluster", "", f'the scheduler at "{address}" has no workers',
                             f"start one with: dask worker {address}")
        yield client.get_executor(pure=False), threads
