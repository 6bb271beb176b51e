"""Independent stages of a long computation, shared out between this process and one beside it.

The second process is forked where that is cheap and safe: on Linux, with a second core that may be
used, from a process that no pool started, and with no thread alive. Elsewhere the stages run one
after another. Who does a stage changes nothing: each starts from the same memory, none sees what
another does, and whatever does not come back from the second process, because the stage failed
there or the system ended it, is done again here. So results are the same to the last bit, an error
is the one that would have come anyway, and its traceback is whole.
"""

from __future__ import annotations

import contextlib
import gc
import os
import pickle
import signal
import sys
import threading
from typing import TYPE_CHECKING, Any, Final, NoReturn

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

__all__ = ["resting_at_forks", "side_by_side"]

_WAITING: Final = "waiting for the second process"
_MOST: Final = 255  # stages; each is one byte of a pipe
_resting: list[tuple[Callable[[], None], Callable[[], None]]] = []
_shared_out = threading.Lock()


def side_by_side(stages: Mapping[str, Callable[[], Any]],
                 progress: Callable[[str], None] = lambda _words: None) -> list[Any]:
    """Call stages that do not depend on each other, on two cores where that is possible.

    Parameters
    ----------
    stages : name in words -> what to call; best the longest first. What it returns has to survive
        being pickled, and what it changes elsewhere may be lost.
    progress : called with the name of each stage that this process begins

    Returns
    -------
    what each stage returned, in their order

    Raises
    ------
    Exception
        of the first stage, in their order, that fails
    """
    names, calls = list(stages), list(stages.values())
    found: dict[int, Any] = {}
    if 1 < len(calls) <= _MOST and _may_fork() and _shared_out.acquire(blocking=False):
        try:
            found = _on_two_cores(names, calls, progress)
        finally:
            _shared_out.release()
    for k, call in enumerate(calls):
        if k not in found:
            progress(names[k])
            found[k] = call()
    return [found[k] for k in range(len(calls))]


@contextlib.contextmanager
def resting_at_forks(stop: Callable[[], None], start: Callable[[], None]) -> Iterator[None]:
    """Within this, a thread that only shows progress is ended before a fork and begun after it."""
    _resting.append((stop, start))
    try:
        yield
    finally:
        _resting.remove((stop, start))


def _may_fork() -> bool:
    pools = sys.modules.get("multiprocessing.process")  # is there in whatever a pool started
    return (sys.platform == "linux" and len(os.sched_getaffinity(0)) > 1
            and (pools is None or pools.parent_process() is None)
            and threading.current_thread() is threading.main_thread())


def _on_two_cores(names: list[str], calls: list[Callable[[], Any]],
                  progress: Callable[[str], None]) -> dict[int, Any]:
    """Results of the stages that both processes finished."""
    todo, answers, lifeline = pipes = _Pipe(), _Pipe(), _Pipe()
    os.write(todo.into, bytes(range(len(calls))))
    todo.shut_into()  # both take from what is there, one byte at a time
    found: dict[int, Any] = {}
    child = _forked()
    if child == 0:
        _work_beside(calls, todo, answers, lifeline)
    try:
        if child is not None:
            answers.shut_into()
            for k in _taken(todo.out):
                progress(names[k])
                try:
                    found[k] = calls[k]()
                except Exception:  # noqa: BLE001 - comes again when it is this stage's turn
                    list(_taken(todo.out))
                    break
            progress(_WAITING)
            told, ended = _read_all(answers.out), os.waitpid(child, 0)[1]
            child = None
            if ended == 0:
                found.update(pickle.loads(told))  # noqa: S301 - from our own process
    finally:
        if child is not None:  # stopped on the way, at worst just after it was waited for
            with contextlib.suppress(ProcessLookupError, ChildProcessError):
                os.kill(child, signal.SIGKILL)
                os.waitpid(child, 0)
        for pipe in pipes:
            pipe.shut()
    return found


def _forked() -> int | None:
    """Fork with no thread alive and no interrupt on the way; None where threads do not rest."""
    resting = list(_resting)
    for stop, _ in resting:
        stop()
    child = None
    if threading.active_count() == 1:
        # An interrupt between the fork and `_work_beside` would send the child through our code.
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        with contextlib.suppress(OSError):  # no memory, or no more processes
            child = os.fork()
        if child == 0:
            signal.signal(signal.SIGINT, signal.SIG_DFL)
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
    if child != 0:
        for _, start in resting:
            start()
    return child


def _work_beside(calls: list[Callable[[], Any]], todo: _Pipe, answers: _Pipe,
                 lifeline: _Pipe) -> NoReturn:
    """Do stages in the second process, answer, and end; end at once when the first one does."""
    failed = 1
    try:
        gc.freeze()  # memory that nobody writes to stays shared
        lifeline.shut_into()
        threading.Thread(target=_end_with, args=(lifeline.out,), daemon=True).start()
        found = {}
        with contextlib.suppress(Exception):  # done again, and told, by the first process
            for k in _taken(todo.out):
                found[k] = calls[k]()
        answer = pickle.dumps(found, pickle.HIGHEST_PROTOCOL)
        while answer:
            answer = answer[os.write(answers.into, answer):]
        failed = 0
    finally:
        os._exit(failed)


def _end_with(lifeline: int) -> None:
    """Wait until the other end of a pipe is gone, and end the process."""
    os.read(lifeline, 1)
    os._exit(1)


def _taken(todo: int) -> Iterator[int]:
    while one := os.read(todo, 1):
        yield one[0]


def _read_all(out: int) -> bytes:
    parts = []
    while part := os.read(out, 1 << 20):
        parts.append(part)
    return b"".join(parts)


class _Pipe:
    """Both ends of a pipe; what both processes hold each of them has to shut."""

    def __init__(self) -> None:
        self.out, self.into = os.pipe()
        self._open = {self.out, self.into}

    def shut_into(self) -> None:
        self._shut(self.into)

    def shut(self) -> None:
        for end in (self.out, self.into):
            self._shut(end)

    def _shut(self, end: int) -> None:
        if end in self._open:
            self._open.remove(end)
            os.close(end)
