"""Access to files: what is read is a regular file of bounded size, what is written is whole.

Nothing else in kitpace opens a file that a person names.
"""

from __future__ import annotations

import contextlib
import difflib
import io
import os
import signal
import stat
import sys
import threading
import unicodedata
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from optimizer.errors import InputError, InputErrors

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from io import BufferedReader

__all__ = ["Output", "as_if", "check_outputs", "is_file", "is_folder", "is_there", "near_file",
           "open_input", "read_input", "write_all", "write_atomic"]

_KINDS = ((stat.S_ISFIFO, "a pipe"), (stat.S_ISSOCK, "a socket"), (stat.S_ISCHR, "a device"),
          (stat.S_ISBLK, "a device"))


# --- in ---------------------------------------------------------------------------------------

_TRIED: ContextVar[Mapping[str, bytes] | None] = ContextVar("tried", default=None)


@contextlib.contextmanager
def as_if(contents: Mapping[Path, bytes]) -> Iterator[None]:
    """Let every reader in the block find these contents under these names, not those on the disk.

    A change is tried so before it is written: whoever reads it says of it what they would say
    of the file.
    """
    known = _TRIED.get() or {}
    reset = _TRIED.set({**known, **{os.path.realpath(path): data
                                    for path, data in contents.items()}})
    try:
        yield
    finally:
        _TRIED.reset(reset)


def _tried(path: Path | str) -> bytes | None:
    """Contents that replace a file, None where the disk is read."""
    contents = _TRIED.get()
    if not contents:
        return None
    try:
        return contents.get(os.path.realpath(path))
    except ValueError:  # a NUL in the name
        return None


def damaged(name: str) -> InputError:
    """Return the error of a file a part of which cannot be read, for the caller to raise."""
    return InputError(name, "", "is damaged: a part of it cannot be read",
                      "download it again; it may have been cut short")


def open_input(path: Path | str, largest: int) -> BufferedReader:
    """Open a file that a person named, for reading in binary.

    Raises InputError for what is no regular file (a folder, pipe, terminal, device or socket,
    which may never end or never begin), is larger than `largest` bytes, or cannot be read.
    """
    file = Path(path)
    if (tried := _tried(path)) is not None:
        _refuse_size(str(path), len(tried), largest)
        return io.BufferedReader(io.BytesIO(tried))
    try:
        _refuse_kind(str(path), os.stat(file).st_mode)  # noqa: PTH116 - takes any name
        # Without waiting: the file may have become a pipe since, or be one of the system's own.
        handle = os.open(file, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0)
                         | getattr(os, "O_BINARY", 0))
        stream = open(handle, "rb")  # noqa: PTH123, SIM115 - handed over
    except OSError as error:
        raise _unreadable(file, error) from error
    except ValueError as error:  # a NUL in the name
        raise InputError(repr(str(path)), "", "is not a file name", "check the name") from error
    try:
        known = os.fstat(stream.fileno())
        _refuse_kind(str(path), known.st_mode)
        _refuse_size(str(path), known.st_size, largest)
    except BaseException as error:
        stream.close()
        if isinstance(error, OSError):
            raise _unreadable(file, error) from error
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
    """Tell whether it is a regular file; a name that cannot be one, or cannot be seen, is not."""
    found = _status(Path(path))
    return _tried(path) is not None or (found is not None and stat.S_ISREG(found.st_mode))


def is_folder(path: Path | str) -> bool:
    """Tell whether there is a folder, as `is_file` does."""
    found = _status(Path(path))
    return found is not None and stat.S_ISDIR(found.st_mode)


def is_there(path: Path | str) -> bool:
    """Tell whether there is anything of that name, also a link that leads nowhere."""
    try:
        os.lstat(path)
    except (OSError, ValueError):
        return False
    return True


def _refuse_kind(name: str, mode: int) -> None:
    if stat.S_ISREG(mode):
        return
    if stat.S_ISDIR(mode):
        raise InputError(name, "", "is a folder", "name a file in it")
    kind = next((words for test, words in _KINDS if test(mode)), "something else")
    raise InputError(name, "", f"is {kind}, not a file",
                     "save what it gives in a file, and name that")


def _refuse_size(name: str, size: int, largest: int) -> None:
    if size > largest:
        raise InputError(name, "", f"is larger than {largest / 1e6:.0f} MB",
                         "is it the right file?")


def _unreadable(file: Path, error: OSError) -> InputError:
    if isinstance(error, FileNotFoundError):
        return InputError(str(file), "", "there is no such file", near_file(file))
    return InputError(str(file), "", f"cannot be read: {error.strerror or error}",
                      "check the name and the permissions")


_MOST_FOLDERS = 1000  # that are looked into for a file that is missing


def near_file(file: Path) -> str:
    """Say which file may have been meant by the name of one that does not exist."""
    try:
        names = os.listdir(file.parent)  # noqa: PTH208 - a folder may be unreadable
    except FileNotFoundError:
        return f"there is no folder {file.parent} either"
    except OSError:
        return "check the name and the folder"
    # Of the same kind by what tells them apart; or of another kind by nearly the whole name.
    alike = {Path(name).stem: name for name in names if Path(name).suffix == file.suffix}
    near = ([alike[stem] for stem in difflib.get_close_matches(file.stem, alike, 1)]
            or difflib.get_close_matches(file.name, names, 1, 0.75)
            or _one_folder_down(file, names))
    return f"did you mean {near[0]}?" if near else "check the name and the folder"


def _one_folder_down(file: Path, folders: Sequence[str]) -> list[str]:
    """Path of the only file of that name in a folder beside it; empty where none or several."""
    found = [below for name in folders[:_MOST_FOLDERS] if not name.startswith(".")
             and is_file(below := file.parent / name / file.name)]
    return [str(found[0])] if len(found) == 1 else []


# --- out --------------------------------------------------------------------------------------

_WRITABLE = stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH
_LONGEST_TEMPORARY = 64  # bytes of the name of a temporary file


@dataclass(frozen=True)
class Output:
    """A file that a run is to write.

    Attributes
    ----------
    option : what named it, for messages
    path : where it goes
    mark : bytes near the beginning of every file of its kind that kitpace wrote; an old file
        without them is not replaced. None where an old file may be any (a row is added to it).
    size : bytes that it takes at least, as far as that is known
    """

    option: str
    path: Path
    mark: bytes | None
    size: int = 4096


def check_outputs(outputs: Sequence[Output], inputs: Iterable[Path | str], *,
                  overwrite: bool = False) -> None:
    """Refuse, before any work, outputs that would lose something or could not be written.

    An output may be no input, no other output and no part of the path of one, whatever links
    and names lead to it; it may not replace a file that kitpace did not write, unless
    `overwrite`; and it has to be a regular file, or none as yet, where one can be written.
    Nothing is left behind. Raises InputError for what is not right, all of it at once.
    """
    known = {_identity(path): str(path) for path in inputs}
    seen: list[tuple[_Identity, Output]] = []
    wrong = []
    for output in outputs:
        try:
            _check_output(output, known, seen, overwrite=overwrite)
        except InputError as error:
            wrong.append(error)
        seen.append((_identity(output.path), output))
    if wrong:
        raise InputErrors.joined(wrong)


def _check_output(output: Output, known: dict[_Identity, str],
                  seen: Sequence[tuple[_Identity, Output]], *, overwrite: bool) -> None:
    """Refuse one output beside the `known` inputs and the outputs `seen` before it."""
    here = _identity(output.path)
    if here in known:
        raise _refusal(output, "is a file that this run reads" if str(output.path) ==
                       known[here] else f"is {known[here]}, which this run reads",
                       "give the output another name")
    for there, other in seen:
        if here == there and not _is_null(output.path):
            raise _refusal(output, f"is also the output of {other.option}",
                           "give each output its own name")
        if _inside(here, there) or _inside(there, here):
            raise _refusal(output, f"would be a file where the output of {other.option}, "
                           f"{other.path}, needs a folder, or the other way round",
                           "give each output its own name")
    _probe(output)
    if output.mark is not None and not overwrite and _is_foreign(output):
        raise _refusal(output, "exists already, and kitpace did not write it",
                       "give the output another name, or replace the file with --overwrite")


def write_atomic(path: Path | str, content: str | bytes) -> Path:
    """Write `content` (text as UTF-8) to `path`: the path has the old file or the whole new one.

    As `write_all` for one file.
    """
    return write_all([(path, content)])[0]


def write_all(contents: Sequence[tuple[Path | str, str | bytes]], *,
              made_from: int | None = None) -> list[Path]:
    """Write several files, all of them by way of temporary files beside them.

    The old files stay as they are until every new one is on the disk. Links are followed, an
    old file's permissions (and its owner, where that is allowed) are kept, and a new one has
    those of the umask. A signal that ends the process ends it without temporary files; only
    SIGKILL and a crash of the machine can leave one. `made_from` dates them back to when their
    inputs were read [ns, `time.time_ns`], so that an input saved since is younger than they are.
    Raises InputError where a place cannot be written.
    """
    staged: list[tuple[Path, str]] = []
    with _ended_tidily() as temporary:
        for path, content in contents:
            _stage(Path(path), content.encode("utf-8", "replace") if isinstance(content, str)
                   else content, staged, temporary)
        if made_from is not None:
            for _, name in staged:
                with contextlib.suppress(OSError):  # some network drives keep their own time
                    os.utime(name, ns=(made_from, made_from))
        for target, name in staged:
            _replace(target, name)
            temporary.remove(name)
    return [Path(path) for path, _ in contents]


def _stage(path: Path, data: bytes, staged: list[tuple[Path, str]],
           temporary: list[str]) -> None:
    """Write data beside its target, synced, and with the permissions of the target."""
    try:
        target = Path(os.path.realpath(path))
        old = _old(target)
        if _is_null(target):
            return
        if old is not None:
            _refuse_kind(str(path), old.st_mode)
        target.parent.mkdir(parents=True, exist_ok=True)
        name = _temporary(target)
        temporary.append(name)
        handle = os.open(name, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0),
                         0o666 if old is None else 0o600)
        with os.fdopen(handle, "wb") as file:
            if old is not None:
                _take_over(file.fileno(), old)
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        staged.append((target, name))
    except (OSError, ValueError) as error:
        raise _unwritable(path, error) from error


def _replace(target: Path, name: str) -> None:
    try:
        os.replace(name, target)  # noqa: PTH105
    except OSError as error:
        raise _unwritable(target, error) from error


def _unwritable(path: Path, error: OSError | ValueError) -> InputError:
    reason = getattr(error, "strerror", "") or error
    return InputError(str(path), "", f"cannot be written: {reason}",
                      "check the disk and the permissions, or name another place")


def _temporary(target: Path) -> str:
    """Name of a file beside the target that nobody has, and that no file system finds too long."""
    short = os.fsencode(target.name)[:_LONGEST_TEMPORARY - 16].decode("utf-8", "ignore")
    return str(target.with_name(f".{short}.{os.urandom(4).hex()}.tmp"))


def _take_over(handle: int, old: os.stat_result) -> None:
    """Give a new file the owner and the permissions of the one that it replaces."""
    mode = stat.S_IMODE(old.st_mode)
    if hasattr(os, "fchown"):
        made = os.fstat(handle)
        try:
            if (made.st_uid, made.st_gid) != (old.st_uid, old.st_gid):
                os.fchown(handle, old.st_uid, old.st_gid)
        except OSError:
            mode &= ~(stat.S_IRWXG | stat.S_ISUID | stat.S_ISGID)  # another group is not let in
    if hasattr(os, "fchmod"):
        os.fchmod(handle, mode)


class _EndedError(BaseException):
    """A signal came that ends the process."""


@contextlib.contextmanager
def _ended_tidily() -> Iterator[list[str]]:
    """Take away, at the end of the block, the files whose names it puts into the list.

    Signals that end the process (SIGTERM, SIGHUP, Ctrl-C) end the block first, and the process
    behind that. Outside of blocks they end it at once, however long a solver would not let go.
    """
    temporary: list[str] = []
    came: list[int] = []
    tidying = False

    def end(number: int, _frame: object) -> None:
        came.append(number)
        if not tidying and len(came) == 1:
            raise _EndedError

    usual = {getattr(signal, name): handler for name, handler in (
        ("SIGTERM", signal.SIG_DFL), ("SIGHUP", signal.SIG_DFL),
        ("SIGINT", signal.default_int_handler)) if hasattr(signal, name)}
    main = threading.current_thread() is threading.main_thread()
    taken = {one: handler for one, handler in usual.items()
             if main and signal.getsignal(one) == handler}
    try:
        for one in taken:
            signal.signal(one, end)
        yield temporary
    finally:
        tidying = True
        for name in temporary:
            with contextlib.suppress(OSError):
                os.unlink(name)  # noqa: PTH108
        for one, handler in taken.items():
            signal.signal(one, handler)
        if came:
            signal.raise_signal(came[0])


_Identity = tuple[tuple[int, int], tuple[str, ...]]


def _identity(path: Path | str) -> _Identity:
    """Tell what a path leads to, by the numbers of file system and file.

    What is not there as yet has those of the nearest folder and the names below it, which many
    file systems compare without regard to case.
    """
    place = Path(os.path.realpath(path))
    below: list[str] = []
    while (found := _status(place)) is None and place != place.parent:
        below.insert(0, unicodedata.normalize("NFC", place.name).casefold())
        place = place.parent
    return ((found.st_dev, found.st_ino) if found else (0, 0)), tuple(below)


def _inside(one: _Identity, other: _Identity) -> bool:
    """Tell whether the one, not there as yet, would lie below the other."""
    return one[0] == other[0] and len(one[1]) > len(other[1]) > 0 and \
        one[1][:len(other[1])] == other[1]


def _status(path: Path) -> os.stat_result | None:
    """Status of a path, None where it cannot be seen."""
    try:
        return os.stat(path)  # noqa: PTH116
    except (OSError, ValueError):
        return None


def _old(target: Path) -> os.stat_result | None:
    """Status of what a new file would replace, None where there is nothing. Raises OSError."""
    try:
        return os.stat(target)  # noqa: PTH116
    except FileNotFoundError:
        return None


def _is_null(path: Path) -> bool:
    """Tell whether it is the null device, the only device that may be an output."""
    found, null = _status(path), _status(Path(os.devnull))
    return found is not None and null is not None and stat.S_ISCHR(found.st_mode) and \
        found.st_rdev == null.st_rdev


def _refusal(output: Output, problem: str, remedy: str) -> InputError:
    return InputError(str(output.path), output.option, problem, remedy)


def _is_foreign(output: Output) -> bool:
    """Tell whether something is there that kitpace did not write; nothing in it is lost."""
    place = _status(output.path)
    if place is None or not place.st_size or _is_null(output.path) or output.mark is None:
        return False
    try:
        with open_input(output.path, sys.maxsize) as stream:
            return output.mark not in stream.read(65536)
    except InputError:
        return True


def _probe(output: Output) -> None:
    """Try to write beside the target as much as it will hold, and take it away again."""
    try:
        target = Path(os.path.realpath(output.path))
        old = _old(target)
    except (OSError, ValueError) as error:
        raise _refusal(output, f"cannot be written: {getattr(error, 'strerror', '') or error}",
                       "name another place") from error
    if old is not None:
        if _is_null(target):
            return
        _check_old(output, target, old)
    folder = target.parent
    while (found := _status(folder)) is None and folder != folder.parent:
        folder = folder.parent
    if found is None or not stat.S_ISDIR(found.st_mode):
        raise _refusal(output, f"cannot be written: {folder} is not a folder", "name another place")
    _check_names(output, folder, target)
    try:
        _try_out(folder, output.size)
    except OSError as error:
        raise _refusal(output, f"cannot be written: {error.strerror}",
                       "check the disk and the permissions of the folder, or name another place"
                       ) from error


def _check_old(output: Output, target: Path, old: os.stat_result) -> None:
    """Refuse to replace what is not a file, is protected, or receives what this run prints."""
    _refuse_kind(str(output.path), old.st_mode)
    for handle in (1, 2):
        with contextlib.suppress(OSError):
            said = os.fstat(handle)
            if (said.st_dev, said.st_ino) == (old.st_dev, old.st_ino):
                raise _refusal(output, "receives what this run prints",
                               "give the output another name")
    if not old.st_mode & _WRITABLE or not os.access(target, os.W_OK):
        raise _refusal(output, "is read-only", "give the output another name, or make the file "
                       "writable")


def _check_names(output: Output, folder: Path, target: Path) -> None:
    """Refuse names below the folder that its file system finds too long."""
    longest = 255
    if hasattr(os, "pathconf"):
        with contextlib.suppress(OSError, ValueError):
            longest = os.pathconf(folder, "PC_NAME_MAX")
    if any(len(os.fsencode(name)) > longest for name in target.relative_to(folder).parts):
        raise _refusal(output, "cannot be written: its name is too long", "give it a shorter name")


def _try_out(folder: Path, size: int) -> None:
    """Make a file of some bytes in a folder, and take it away again. Raises OSError."""
    with _ended_tidily() as temporary:
        temporary.append(_temporary(folder / "kitpace"))
        handle = os.open(temporary[0], os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        try:
            if hasattr(os, "posix_fallocate"):
                os.posix_fallocate(handle, 0, size)
            else:
                os.write(handle, bytes(size))
        finally:
            os.close(handle)
