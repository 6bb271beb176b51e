"""A starter scenario: a folder of commented files that can be planned at once."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from optimizer.errors import InputError
from optimizer.files import is_folder, is_there, write_all

__all__ = ["FILES", "write_starter"]

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
            raise InputError(str(target / name), "", "is there already",
                             "name a new folder, or delete the file first")
    source = resources.files("optimizer.scenario") / "starter_files"
    write_all([(target / name, (source / name).read_bytes()) for name in FILES])
    return target / FILES[0]
