"""A starter scenario: a folder of commented files that can be planned at once."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from optimizer.errors import InputError
from optimizer.files import write_atomic

__all__ = ["FILES", "write_starter"]

FILES = ("scenario.toml", "rider.toml", "kit.csv", "evidence.csv", "course.gpx")


def write_starter(folder: Path | str) -> Path:
    """Write the starter files into `folder` and return the path of its scenario.

    Nothing that is there is overwritten: InputError where one of the files exists.
    """
    target = Path(folder)
    if target.exists() and not target.is_dir():
        raise InputError(str(target), "", "is a file", "name a new folder")
    for name in FILES:
        if (target / name).exists():
            raise InputError(str(target / name), "", "is there already",
                             "name a new folder, or delete the file first")
    source = resources.files("optimizer.scenario") / "starter_files"
    for name in FILES:
        write_atomic(target / name, (source / name).read_bytes())
    return target / FILES[0]
