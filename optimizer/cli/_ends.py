"""How a run ends: its text reaches standard output, or it says that it could not."""

from __future__ import annotations

import contextlib
import io
import os
import sys
from typing import TYPE_CHECKING

from optimizer.errors import KitpaceError

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["UnheardError", "own_streams"]


class UnheardError(KitpaceError):
    """Standard output is closed or full."""

    def __init__(self, reason: str) -> None:
        super().__init__(f"standard output cannot be written: {reason}\n  what it should have "
                         "said is lost; the files of this run are whole")


class _Spoken(io.RawIOBase):
    """Standard output that raises UnheardError, once, where its text is lost."""

    def __init__(self, handle: int | None) -> None:
        self._handle, self._lost = handle, False

    def fileno(self) -> int:
        if self._handle is None:
            raise OSError("there is no standard output")
        return self._handle

    def isatty(self) -> bool:
        return self._handle is not None and os.isatty(self._handle)

    def writable(self) -> bool:
        return True

    def write(self, data: bytes) -> int:  # type: ignore[override] # bytes-like in the stub
        if self._lost:
            return len(data)
        self._lost = True  # until it is written
        if self._handle is None:
            raise UnheardError("it is closed")
        try:
            written = os.write(self._handle, data)
        except OSError as error:
            raise UnheardError(error.strerror or str(error)) from error
        self._lost = False
        return written


@contextlib.contextmanager
def own_streams() -> Iterator[None]:
    """Keep standard output to our own text, in UTF-8, and notice where it is lost.

    What libraries print below Python, as solvers do, goes nowhere; and a file that is opened can
    never get the number of a standard stream that was closed before the start.
    """
    for handle in (0, 1, 2):
        _hold(handle)
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115, PTH123 - to the end
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a code page of Windows has no minus sign
            stream.reconfigure(encoding="utf-8", errors="replace")
    own = _own_handle()
    if own is None and sys.stdout is not None:  # it is somebody's object: left alone
        yield
        return
    former = sys.stdout
    spoken = _Spoken(own)
    sys.stdout = io.TextIOWrapper(io.BufferedWriter(spoken), encoding="utf-8", errors="replace",
                                  line_buffering=spoken.isatty())
    try:
        yield
        sys.stdout.flush()
    finally:
        with contextlib.suppress(UnheardError):
            sys.stdout.flush()
        sys.stdout = former


def _hold(handle: int) -> None:
    """Occupy the number of a standard stream that is closed."""
    try:
        os.fstat(handle)
    except OSError:
        with contextlib.suppress(OSError):
            os.open(os.devnull, os.O_RDWR)  # gets the lowest number that is free: this one


def _own_handle() -> int | None:
    """Give standard output another number, known to us only, and its own to what is not ours."""
    try:
        if sys.stdout is None or sys.stdout.fileno() != 1:
            return None
        sys.stdout.flush()
        own = os.dup(1)
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.close(nowhere)
    except (OSError, ValueError):
        return None
    return own
