"""Writing files so that an interrupted run leaves the old one whole."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from optimizer.errors import InputError

__all__ = ["write_atomic"]


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
