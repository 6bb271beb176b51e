"""Which files a scenario or a batch leads to."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from optimizer.files import is_file
from optimizer.scenario.spreadsheet_file import without_sheet
from optimizer.scenario.toml_file import read_toml

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["named_files"]

_DEEPEST = 8  # files that name files


def named_files(path: Path) -> tuple[Path, ...]:
    """Every file that a TOML file leads to: itself, those its texts name, and those they name.

    No list of keys to fall behind: any text that is the name of a file beside it counts.
    Raises InputError for a TOML file that cannot be read.
    """
    found: dict[Path, None] = {}
    _gather(path, found, _DEEPEST)
    return tuple(found)


def _gather(path: Path, found: dict[Path, None], depth: int) -> None:
    if path in found or depth == 0:
        return
    found[path] = None
    if path.suffix.lower() != ".toml":
        return
    file = read_toml(path)
    for text in _texts(file.data):
        other = without_sheet(file.beside(text))[0]
        if text and is_file(other):
            _gather(other, found, depth - 1)


def _texts(value: Any) -> list[str]:
    if isinstance(value, str):
        return [value]
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [text for part in inner for text in _texts(part)]
