"""A starter scenario: a folder of commented files that can be planned at once."""

from __future__ import annotations

import re
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from optimizer.errors import InputError
from optimizer.files import is_folder, is_there, write_all
from optimizer.scenario.edit_toml import with_list, with_values

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

__all__ = ["FILES", "bare_rider", "bare_scenario", "bare_season", "write_starter"]

FILES = ("scenario.toml", "rider.toml", "kit.csv", "evidence.csv", "course.gpx")


def write_starter(folder: Path | str) -> Path:
    """Write the starter files into `folder` and return the path of its scenario.

    Nothing that is there is overwritten: InputError where one of the files exists.
    """
    target = Path(folder)
    if is_there(target) and not is_folder(target):
        raise InputError(str(target), "", "is a file", "name a new folder")
    for name in FILES:
        if is_there(target / name):
            raise InputError(str(target / name), "", "exists already",
                             "name a new folder, or delete the file first")
    source = resources.files("optimizer.scenario") / "starter_files"
    write_all([(target / name, (source / name).read_bytes()) for name in FILES])
    return target / FILES[0]


def bare_scenario(name: str, gpx: str, rider: str) -> str:
    """Give the text of an empty scenario: every key explained, no invented values."""
    return with_values(_bare("scenario.toml", "Text behind # is", (
        "course", "conditions", "bike", "handling", "options")), {
            ("name",): name, ("rider",): rider, ("course", "gpx"): gpx})


def bare_rider() -> str:
    """Give the text of an empty rider file: every key explained, no values."""
    return _bare("rider.toml", "Efforts are all-out", ())


def bare_season(values: Mapping[str, Any], riders: Sequence[Mapping[str, Any]],
                races: Sequence[Mapping[str, Any]]) -> str:
    """Give the text of a season with these riders and races: every key explained.

    `values` are the keys of its top: name, currency, budget.
    """
    source = resources.files("optimizer.scenario") / "starter_files" / "season.toml"
    text = with_values(source.read_text(encoding="utf-8"),
                       {(key,): value for key, value in values.items()})
    return with_list(with_list(text, "rider", riders), "race", races)


def _bare(file: str, begin: str, tables: tuple[str, ...]) -> str:
    """Turn everything that a starter file says into comments, but the headings of `tables`.

    What stands in front of the line that holds `begin` is about the starter, and left out.
    """
    source = resources.files("optimizer.scenario") / "starter_files" / file
    text = source.read_text(encoding="utf-8")
    lines = text.splitlines(keepends=True)
    first = next(k for k, line in enumerate(lines) if begin in line)
    kept = {f"[{table}]" for table in tables}

    def quiet(line: str) -> str:
        live = re.match(r"\S", line) and not line.startswith("#")
        return f"# {line}" if live and line.split(maxsplit=1)[0] not in kept else line

    return "".join(map(quiet, lines[first:]))
