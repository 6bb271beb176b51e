"""Where the cases are computed: processes on this machine, or a Dask cluster by its address."""

from __future__ import annotations

import asyncio
import contextlib
import importlib
import logging
import multiprocessing
import os
import re
import signal
import threading
import time
from concurrent.futures import CancelledError, ProcessPoolExecutor, wait
from typing import TYPE_CHECKING, Any

from optimizer import __version__
from optimizer.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from concurrent.futures import Executor, Future

__all__ = ["Cluster", "LocalPool", "cluster", "cores", "end_with_parent", "processes"]

_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "BLIS_NUM_THREADS")
_ADDRESS = re.compile(r"(?:tcp|tls|ws|wss|ucx|ucxx)://[^\s/]+:\d{1,5}/?")
_ANSWER = 10.0  # s in which a scheduler has to answer
_PATIENCE = 60.0  # s without a worker, or without an answer, after which nobody will come
_VERSION = "__import__('optimizer').__version__"


def cores() -> int:
    """Count the cores that this process may use."""
    with contextlib.suppress(AttributeError):  # not on every system
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _begin() -> None:
    """Keep numpy, imported only after this, to one thread; let a stop end the worker quietly.

    A worker ends with the process that started it, however that ended.
    """
    os.environ.update(dict.fromkeys(_THREADS, "1"))
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    threading.Thread(target=end_with_parent, daemon=True).start()


def end_with_parent() -> None:
    """Wait for the process that started this one to end, and end at once then."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


class LocalPool(ProcessPoolExecutor):
    """Pool of fresh processes on this machine, one thread each."""

    def stop(self) -> None:
        """End the processes at once; what was under way is broken."""
        for process in list(self._processes.values()):
            process.kill()


def processes(count: int) -> LocalPool:
    """Give a pool of so many processes on this machine."""
    return LocalPool(count, mp_context=multiprocessing.get_context("spawn"), initializer=_begin)


class Cluster:
    """What a batch needs of a cluster: to hand over work, and to hear of trouble."""

    def __init__(self, executor: Executor, threads: Callable[[], int],
                 patience: float = _PATIENCE) -> None:
        self._executor, self._threads, self._patience = executor, threads, patience
        self._well = time.monotonic()

    def submit(self, work: Callable[..., Any], *arguments: Any) -> Future[Any]:
        """Hand a call over. Raises CancelledError where the cluster takes none any more."""
        try:
            return self._executor.submit(work, *arguments)
        except Exception as error:  # of many kinds, by the moment at which the scheduler went
            raise CancelledError from error

    def trouble(self) -> str:
        """Say why no more results will come; empty while some may."""
        try:
            threads, why = self._threads(), "the cluster has no workers any more"
        except (OSError, TimeoutError):
            threads, why = 0, "the scheduler does not answer any more"
        now = time.monotonic()
        if threads:
            self._well = now
        return why if now - self._well > self._patience else ""


@contextlib.contextmanager
def cluster(address: str, timeout: float = _ANSWER,
            patience: float = _PATIENCE) -> Iterator[tuple[Cluster, int]]:
    """Cluster of a Dask scheduler that runs already, with the number of its worker threads.

    The workers need kitpace, of the same version, but none of the files. Raises InputError where
    no scheduler answers within `timeout` [s], where its workers cannot compute a case, or where
    Dask is not installed. Without workers or an answer for `patience` [s] it tells of trouble.
    """
    if not _ADDRESS.fullmatch(address):
        raise InputError("--cluster", "", f'"{address[:200]}" is not the address of a scheduler',
                         "write it as tcp://host:8786")
    try:
        distributed: Any = importlib.import_module("distributed")
    except ImportError as error:
        raise InputError("--cluster", "", "needs Dask, which is not installed",
                         'install it with: pip install "kitpace[cluster]"') from error
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # we say it in our own words
    try:  # before there is a client, which would wait for much longer
        threads = _threads_of(address, timeout)
    except (OSError, TimeoutError) as error:
        raise InputError("--cluster", "", f'no scheduler answers at "{address}"',
                         "start one with: dask scheduler, and name it as tcp://host:8786"
                         ) from error
    if not threads:
        raise InputError("--cluster", "", f'the scheduler at "{address}" has no workers',
                         f"start one with: dask worker {address}")
    try:
        client = distributed.Client(address, timeout=timeout, set_as_default=False)
    except (OSError, TimeoutError) as error:
        raise InputError("--cluster", "", f'the scheduler at "{address}" refuses the connection',
                         "read the scheduler's own messages") from error
    try:
        _check_workers(client, timeout)
        yield Cluster(client.get_executor(pure=False), lambda: _threads_of(address, timeout),
                      patience), threads
    finally:
        # Where the scheduler is gone there is nobody to take leave of.
        with contextlib.suppress(OSError, TimeoutError, RuntimeError):
            client.close(timeout=min(timeout, 2.0))


def _threads_of(address: str, timeout: float) -> int:
    """Ask a scheduler for the number of its worker threads.

    Raises OSError or TimeoutError where none answers in time, whatever else may listen there.
    """
    core: Any = importlib.import_module("distributed.core")

    async def ask() -> int:
        async with core.rpc(address, timeout=timeout) as scheduler:
            found: dict[str, int] = await scheduler.ncores()
            return sum(found.values())

    try:
        return asyncio.run(asyncio.wait_for(ask(), timeout))
    except (OSError, TimeoutError):
        raise
    except Exception as error:  # whatever a stranger's answer may break
        raise OSError(f"no scheduler: {type(error).__name__}") from error


def _check_workers(client: Any, timeout: float) -> None:
    """Refuse workers without kitpace, or with another one, before anything is handed over.

    One that does not answer in time may be at other work; it is not refused.
    """
    asked = {client.get_executor(pure=False, workers=[worker], allow_other_workers=False)
             .submit(eval, _VERSION): worker for worker in client.nthreads()}
    for answer in wait(asked, timeout=timeout).done:
        worker = asked[answer]
        if answer.exception() is not None:
            raise InputError("--cluster", "", f"the worker at {worker} has no kitpace",
                             "install it there, in the environment that starts dask worker")
        if answer.result() != __version__:
            raise InputError("--cluster", "", f"the worker at {worker} runs kitpace "
                             f"{answer.result()}, this computer {__version__}",
                             "install the same version on both")
