"""Courses that were read before, kept in the user's cache folder under a hash of their inputs."""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
from dataclasses import asdict, fields
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any
from zipfile import BadZipFile

import numpy as np
import scipy

from optimizer.course import (
    Cleaning,
    Corner,
    Correction,
    Course,
    Features,
    Handling,
    Mark,
    Shape,
)
from optimizer.course.gpx import LARGEST_FILE
from optimizer.errors import InputError
from optimizer.files import open_input, read_input, write_atomic
from optimizer.scenario.track_file import read_course

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from optimizer.scenario.terrain_file import TerrainModel

__all__ = ["cached_course"]

_LARGEST = 2**30  # bytes of one
_MOST = 100  # courses that are kept
_READERS = ("optimizer", "optimizer.course", "optimizer.scenario")
_LISTS = {"marks": Mark, "corners": Corner, "corrections": Correction}


def cached_course(paths: Sequence[Path], *, shape: Shape, cleaning: Cleaning,
                  handling: Handling, features: Features,
                  terrain: TerrainModel | None = None,
                  surface: TerrainModel | None = None) -> Course:
    """Read a course as `read_course` does, or take what an earlier reading of the same gave.

    The same are the bytes of the files, every setting, and the program that reads them; of a
    terrain model, which may be large, the sizes and times of its files. A cache
    that cannot be read or written is done without. Raises InputError as `read_course` does.
    """
    key = _key(paths, [*(asdict(part) for part in (shape, cleaning, handling, features)),
                       {"terrain": terrain.key if terrain else "",
                        "surface": surface.key if surface else ""}])
    file = _folder() / f"{key}.npz" if key else None
    known = _load(file) if file else None
    if known is not None:
        return known
    course = read_course(paths, shape=shape, cleaning=cleaning, handling=handling,
                         features=features, terrain=terrain, surface=surface)
    if file:
        with contextlib.suppress(InputError, OSError):
            write_atomic(file, _packed(course))
            _tidy(file.parent)
    return course


def _folder() -> Path:
    from platformdirs import user_cache_path

    return user_cache_path("kitpace", appauthor=False) / "courses"


def _key(paths: Sequence[Path], settings: list[dict[str, Any]]) -> str:
    """Hash of all that a course follows from; empty where a file cannot be read."""
    whole = hashlib.sha256(_reader().encode())
    whole.update(json.dumps(settings, sort_keys=True, default=sorted).encode())
    try:
        for path in paths:
            with open_input(path, LARGEST_FILE) as stream:
                content = hashlib.file_digest(stream, "sha256").hexdigest()
            whole.update(json.dumps([path.name, content]).encode())
    except (InputError, OSError, ValueError):
        return ""  # the reader will say what is wrong with it
    return whole.hexdigest()


@cache
def _reader() -> str:
    """Hash of the modules that read a course, so that a changed reader reads again.

    Whole rooms, as a list of modules falls behind what they import.
    """
    whole = hashlib.sha256(f"{np.__version__} {scipy.__version__}".encode())
    for room in _READERS:
        for module in sorted(resources.files(room).iterdir(), key=lambda m: m.name):
            if module.name.endswith(".py"):
                whole.update(module.read_bytes())
    return whole.hexdigest()


def _packed(course: Course) -> bytes:
    """Course as one archive, behind its hash: arrays, and the rest as JSON; nothing can run."""
    parts = {field.name: getattr(course, field.name) for field in fields(course)}
    arrays = {name: value for name, value in parts.items() if isinstance(value, np.ndarray)}
    rest = {name: [asdict(entry) for entry in value] if name in _LISTS else value
            for name, value in parts.items() if name not in arrays}
    out = io.BytesIO()
    np.savez(out, allow_pickle=False, rest=np.array(json.dumps(rest)), **arrays)
    return hashlib.sha256(out.getvalue()).digest() + out.getvalue()


def _load(file: Path) -> Course | None:
    """Course of an archive, None where it is not there or not to the bit what was written."""
    try:
        data = read_input(file, _LARGEST)
        if hashlib.sha256(data[32:]).digest() != data[:32]:
            return None
        with np.load(io.BytesIO(data[32:]), allow_pickle=False) as archive:
            rest = json.loads(str(archive["rest"]))
            arrays = {name: archive[name] for name in archive.files if name != "rest"}
        for name, kind in _LISTS.items():
            rest[name] = tuple(kind(**entry) for entry in rest[name])
        course = Course(**{**rest, "warnings": tuple(rest["warnings"])}, **arrays)
        os.utime(file)  # used today
    except (InputError, OSError, ValueError, KeyError, TypeError, EOFError, BadZipFile):
        return None
    return course


def _tidy(folder: Path) -> None:
    """Drop the courses that were not used for longest."""
    by_age = sorted(folder.glob("*.npz"), key=lambda file: file.stat().st_mtime)
    for file in by_age[:-_MOST]:
        file.unlink(missing_ok=True)
