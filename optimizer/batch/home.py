"""The folder of a batch's results: it belongs to one batch file."""

from __future__ import annotations

import json
import os
from typing import TYPE_CHECKING

from optimizer.errors import InputError
from optimizer.files import is_file, read_input, write_atomic

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["claim"]

_OWNER = "batch.json"
_SCHEMA = "kitpace-batch-1"
_LARGEST = 100_000  # bytes


def claim(folder: Path, batch_file: Path, *, overwrite: bool = False) -> None:
    """Record in the folder of the results which batch file they belong to.

    Two batch files would overwrite each other's index, and cases of one name. Raises InputError
    where another batch file that is still there had its results in it, unless `overwrite`.
    """
    owner = folder / _OWNER
    own = _name(batch_file, folder)
    if not overwrite and is_file(owner):
        try:
            content = json.loads(read_input(owner, _LARGEST))
            other = str(content["file"]) if content["schema"] == _SCHEMA else own
        except (InputError, ValueError, KeyError, TypeError, RecursionError):
            other = own  # damaged: whose it was nobody knows
        if other != own and is_file(folder / other):
            raise InputError(str(folder), "", f"contains the results of {other}",
                             "name another folder with --out, or replace them with --overwrite")
    write_atomic(owner, json.dumps({"schema": _SCHEMA, "file": own}, ensure_ascii=False) + "\n")


def _name(batch_file: Path, folder: Path) -> str:
    """Name of the batch file as seen from the folder, so that both can move together."""
    try:
        return os.path.relpath(batch_file.resolve(), folder.resolve())
    except ValueError:  # on another drive
        return str(batch_file.resolve())
