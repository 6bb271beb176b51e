"""Work that takes seconds, in a process of its own: with progress, to be stopped, files whole."""

from __future__ import annotations

import multiprocessing
import signal
import threading
import time
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from optimizer.errors import InputError, KitpaceError

if TYPE_CHECKING:
    from collections.abc import Callable
    from multiprocessing.connection import Connection
    from multiprocessing.process import BaseProcess

__all__ = ["State", "Work"]


@dataclass(frozen=True)
class State:
    """What is running, or how the last work ended.

    Attributes
    ----------
    kind : "idle", "running", "done", "failed" or "stopped"
    task, race : what is worked on
    words : what is running, or what came out
    page : the page that was written, as a name in the folder
    number : grows with every change
    """

    kind: str = "idle"
    task: str = ""
    race: str = ""
    words: str = ""
    page: str = ""
    begun: float = 0.0
    number: int = 0

    def seen(self) -> dict[str, Any]:
        """Give it to a page."""
        return {"kind": self.kind, "task": self.task, "race": self.race, "words": self.words,
                "page": self.page, "number": self.number}


@dataclass
class Work:
    """One piece of work at a time."""

    state: State = field(default_factory=State)
    _process: BaseProcess | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def begin(self, task: str, race: str, call: Callable[..., tuple[str, str]],
              *arguments: Any) -> None:
        """Run `call(progress, *arguments)` in a process; it gives a sentence and the page it wrote.

        Raises InputError while other work is running.
        """
        with self._lock:
            if self.state.kind == "running":
                raise InputError(self.state.race, "", f"{self.state.task} is running",
                                 "wait for its end, or stop it")
            context = multiprocessing.get_context("spawn")
            here, there = context.Pipe(duplex=False)
            self._process = context.Process(target=_run, args=(there, call, arguments),
                                            daemon=True)
            self._process.start()
            there.close()
            self.state = State("running", task, race, "starting", begun=time.monotonic(),
                               number=self.state.number + 1)
            threading.Thread(target=self._listen, args=(here, self._process),
                             daemon=True).start()

    def stop(self) -> None:
        """End what is running; files that it would have written stay as they were."""
        with self._lock:
            process = self._process
            if process is None or self.state.kind != "running":
                return
            self._say("stopped", "stopped; no file was changed")
        process.terminate()
        process.join(5.0)
        if process.is_alive():
            process.kill()

    def _listen(self, pipe: Connection, process: BaseProcess) -> None:
        try:
            while True:
                kind, words, page = pipe.recv()
                with self._lock:
                    if self._process is process and self.state.kind == "running":
                        self._say(kind, words, page)
        except (EOFError, OSError):
            with self._lock:
                if self._process is process and self.state.kind == "running":
                    self._say("failed", "the work ended before its time; no file was changed")
        finally:
            pipe.close()
            process.join()

    def _say(self, kind: str, words: str, page: str = "") -> None:
        self.state = replace(self.state, kind=kind, words=words, page=page,
                             number=self.state.number + 1)


def _run(pipe: Connection, call: Callable[..., tuple[str, str]],
         arguments: tuple[Any, ...]) -> None:
    """Do the work in its own process, which ends with the one that started it."""
    from optimizer.batch.workers import end_with_parent

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the server, which stops this
    threading.Thread(target=end_with_parent, daemon=True).start()
    try:
        words, page = call(lambda said: pipe.send(("running", said, "")), *arguments)
        pipe.send(("done", words, page))
    except KitpaceError as error:
        pipe.send(("failed", str(error), ""))
    except MemoryError:
        pipe.send(("failed", "there is not enough memory for this", ""))
