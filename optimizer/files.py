"""The doors for files: what is read is a regular file of bounded size, what is written is whole.

Nothing else in kitpace opens a file that a person names.
"""

from __future__ import annotations

import contextlib
import difflib
import os
import stat
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from optimizer.errors import InputError

if TYPE_CHECKING:
    from io import BufferedReader

__all__ = ["is_file", "open_input", "read_input", "write_atomic"]

_KINDS = ((stat.S_ISFIFO, "a pipe"), (stat.S_ISSOCK, "a socket"), (stat.S_ISCHR, "a device"),
          (stat.S_ISBLK, "a device"))


# --- in ---------------------------------------------------------------------------------------


def open_input(path: Path | str, largest: int) -> BufferedReader:
    """Open a file that a person named, for reading in binary.

    Raises InputError for what is no regular file (a folder, pipe, terminal, device or socket,
    which may never end or never begin), is larger than `largest` bytes, or cannot be read.
    """
    file = Path(path)
    try:
        _refuse_kind(str(path), os.stat(file).st_mode)  # noqa: PTH116 - takes any name
        # Without waiting: the file may have become a pipe since, or be one of the system's own.
        handle = os.open(file, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0)
                         | getattr(os, "O_BINARY", 0))
        stream = os.fdopen(handle, "rb")
    except OSError as error:
        raise _unreadable(file, error) from error
    except ValueError as error:  # a NUL in the name
        raise InputError(repr(str(path)), "", "is not a file name", "check the name") from error
    try:
        known = os.fstat(stream.fileno())
        _refuse_kind(str(path), known.st_mode)
        _refuse_size(str(path), known.st_size, largest)
    except BaseException:
        stream.close()
        raise
    return stream


def read_input(path: Path | str, largest: int) -> bytes:
    """Read a file that a person named, as `open_input` opens it. Raises InputError."""
    with open_input(path, largest) as stream:
        try:
            data = stream.read(largest + 1)
        except OSError as error:
            raise _unreadable(Path(path), error) from error
    _refuse_size(str(path), len(data), largest)  # it grew, or does not tell its size
    return data


def is_file(path: Path | str) -> bool:
    """Tell whether there is a regular file; a name that can be none, or not be seen, is not."""
    try:
        return stat.S_ISREG(os.stat(path).st_mode)  # noqa: PTH116
    except (OSError, ValueError):
        return False


def _refuse_kind(name: str, mode: int) -> None:
    if stat.S_ISREG(mode):
        return
    if stat.S_ISDIR(mode):
        raise InputError(name, "", "is a folder", "name a file in it")
    kind = next((words for test, words in _KINDS if test(mode)), "something else")
    raise InputError(name, "", f"is {kind}, no file", "save what it gives in a file, and name that")


def _refuse_size(name: str, size: int, largest: int) -> None:
    if size > largest:
        raise InputError(name, "", f"is larger than {largest / 1e6:.0f} MB",
                         "is it the right file?")


def _unreadable(file: Path, error: OSError) -> InputError:
    if isinstance(error, FileNotFoundError):
        return InputError(str(file), "", "there is no such file", _near_file(file))
    return InputError(str(file), "", f"cannot be read: {error.strerror or error}",
                      "check the name and the permissions")


def _near_file(file: Path) -> str:
    try:
        names = os.listdir(file.parent)  # noqa: PTH208 - a folder may be unreadable
    except FileNotFoundError:
        return f"the folder {file.parent} is not there either"
    except OSError:
        return "check the name and the folder"
    near = difflib.get_close_matches(file.name, names, 1)
    return f"did you mean {near[0]}?" if near else "check the name and the folder"


# --- out --------------------------------------------------------------------------------------


def write_atomic(path: Path | str, content: str | bytes) -> Path:
    """Write `content` (text as UTF-8) to `path` by way of a temporary file beside it.

    Raises InputError where the place cannot be written.
    """
    target = Path(path)
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
    except OSError as error:
        raise InputError(str(target), "", f"cannot be written: {error.strerror}",
                         "name a folder that you may write to") from error
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        Path(name).chmod(0o644)
        Path(name).replace(target)
    except OSError as error:
        with contextlib.suppress(OSError):
            Path(name).unlink()
        raise InputError(str(target), "", f"cannot be written: {error.strerror}",
                         "check the disk and the permissions") from error
    except BaseException:
        with contextlib.suppress(OSError):
            Path(name).unlink()
        raise
    return target
