"""The folder that the window shows: what lies in it, and its files by names that stay inside."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import unicodedata
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from optimizer.defaults import TEMPERATURE
from optimizer.errors import InputError
from optimizer.files import is_file, is_there, read_input

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["Answer", "Folder", "Race", "version"]

LARGEST_TEXT = 20_000_000  # bytes of a file that people edit
_DEEPEST = 2  # folders below the one that was opened
_MOST = 2000  # entries that are looked at
_LONGEST_NAME = 60  # characters of a file that is put here


@dataclass(frozen=True)
class Answer:
    """What the last plan of a race said: times [s] and the names of its pages.

    `stale` tells that a file changed since.
    """

    finish_time: float
    low: float
    high: float
    items: tuple[str, ...]
    report: str
    card: str
    stale: bool


@dataclass(frozen=True)
class Race:
    """A scenario in the folder: its file, what it is called, and what is wrong with it, if so.

    `assumed` is the weather that stands in for what the file does not say.
    """

    file: str
    name: str
    answer: Answer | None
    trouble: str = ""
    assumed: str = ""


@dataclass(frozen=True)
class Folder:
    """An opened folder. All names are relative to it and written with "/"."""

    root: Path

    def path(self, name: str) -> Path:
        """Path of a file by its name; raises InputError for a name that leads outside."""
        parts = PurePosixPath(name).parts
        if (not parts or "\0" in name or "\\" in name or name.startswith("/")
                or any(part in {".", ".."} or part.startswith(".") or ":" in part
                       for part in parts)):
            raise InputError(_shown(name), "", "is not a file of this folder",
                             "take a file from the start page")
        path = self.root.joinpath(*parts)
        if not self.holds(path):
            raise InputError(_shown(name), "", "leads out of the opened folder",
                             "open the folder that holds it")
        return path

    def holds(self, path: Path) -> bool:
        """Tell whether a path, with all links followed, lies in the folder."""
        return Path(os.path.realpath(path)).is_relative_to(os.path.realpath(self.root))

    def name(self, path: Path) -> str:
        """Name of a path in the folder."""
        return path.relative_to(self.root).as_posix()

    def read(self, name: str) -> bytes:
        """Bytes of a file that people edit."""
        return read_input(self.path(name), LARGEST_TEXT)

    def free_name(self, wanted: str, suffix: str, beside: str = "") -> str:
        """Unused name, made from that of an uploaded file: letters, digits, dashes."""
        plain = unicodedata.normalize("NFKD", wanted).encode("ascii", "ignore").decode()
        stem = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:_LONGEST_NAME] or "file"
        folder = self.path(beside).parent if beside else self.root
        number = 1
        while is_there(folder / (f"{stem}{suffix}" if number == 1 else f"{stem}-{number}{suffix}")):
            number += 1
        return self.name(folder / (f"{stem}{suffix}" if number == 1
                                   else f"{stem}-{number}{suffix}"))

    def files(self, *suffixes: str) -> list[str]:
        """Names of the files with these endings, sorted; hidden ones and deep ones are left out."""
        return sorted(self.name(path) for path in self._walk(self.root, _DEEPEST)
                      if path.suffix.lower() in suffixes)

    def _walk(self, folder: Path, depth: int) -> Iterator[Path]:
        with contextlib.suppress(OSError), os.scandir(folder) as entries:
            for entry, _ in zip(sorted(entries, key=lambda e: e.name), range(_MOST), strict=False):
                if entry.name.startswith("."):
                    continue
                if entry.is_dir(follow_symlinks=False):
                    if depth:
                        yield from self._walk(Path(entry.path), depth - 1)
                elif entry.is_file() and self.holds(Path(entry.path)):
                    yield Path(entry.path)

    def kinds(self) -> dict[str, str]:
        """Names of the TOML files, each with what it is: race, rider, season, or empty."""
        return {name: _kind(_head(*_stamp(self.path(name)))) for name in self.files(".toml")}

    def races(self) -> list[Race]:
        """Scenarios with what their last plans said."""
        return [self.race(name) for name, kind in self.kinds().items() if kind == "race"]

    def race(self, name: str) -> Race:
        """One scenario; raises InputError where the name leads nowhere."""
        path = self.path(name)
        if not is_file(path):
            raise InputError(_shown(name), "", "is not there any more", "go to the start page")
        data = _head(*_stamp(path))
        trouble = data.get("", "")
        return Race(name, str(data.get("name") or name)[:120], self.answer(name), str(trouble),
                    _assumed(data.get("conditions", {})))

    def day(self, name: str) -> str:
        """Day on which a scenario starts, such as 2031-05-04; empty where it gives none."""
        said = _head(*_stamp(self.path(name))).get("conditions")
        start = said.get("start_time") if isinstance(said, dict) else None
        return start.date().isoformat() if isinstance(start, datetime) else ""

    def answer(self, name: str) -> Answer | None:
        """Read what the last plan of a race said; None before the first."""
        report, json, card = outputs(self.path(name))
        if not (is_file(report) and is_file(json)):
            return None
        try:
            said = _earlier(*_stamp(json))
        except InputError:
            return None
        return Answer(said.finish_time, said.low, said.high, said.items, self.name(report),
                      self.name(card) if is_file(card) else "", self.changed_since(name, json))

    def changed_since(self, name: str, output: Path) -> bool:
        """Tell whether a file that a scenario or season leads to is younger than an output."""
        from optimizer.scenario.named_files import named_files

        made = _stamp(output)[1]
        try:
            return any(_stamp(path)[1] > made for path in named_files(self.path(name)))
        except InputError:
            return True

    def check_inside(self, name: str) -> None:
        """Refuse a scenario that names files outside of the folder. Raises InputError."""
        from optimizer.scenario.named_files import named_files

        for path in named_files(self.path(name)):
            if not self.holds(path):
                shown = os.path.relpath(path, self.path(name).parent).replace(os.sep, "/")
                raise InputError(name, "", f'names "{shown}", which lies outside of the opened '
                                 "folder", "open the folder that holds both")

    def stamps(self) -> dict[str, str]:
        """Say of each file that people edit when it was changed last, for noticing changes."""
        return {name: "-".join(map(str, _stamp(self.path(name))[1:]))
                for name in self.files(".toml", ".csv", ".gpx")}


def outputs(scenario: Path) -> tuple[Path, Path, Path]:
    """Where the report, the JSON and the card of a scenario go."""
    lead = "" if scenario.stem == "scenario" else f"{scenario.stem}-"
    return (scenario.with_name(f"{lead}report.html"), scenario.with_name(f"{lead}plan.json"),
            scenario.with_name(f"{lead}card.html"))


def version(data: bytes) -> str:
    """Tell one content of a file from another."""
    return hashlib.sha256(data).hexdigest()[:16]


def _shown(name: str) -> str:
    return name if len(name) < 100 and name.isprintable() else repr(name[:100])


def _stamp(path: Path) -> tuple[str, int, int]:
    """Path with the time of its last change [ns] and its size; zeros where it is not there."""
    try:
        found = path.stat()
    except OSError:
        return str(path), 0, 0
    return str(path), found.st_mtime_ns, found.st_size


@lru_cache(maxsize=500)
def _head(path: str, changed: int, size: int) -> dict[str, Any]:  # noqa: ARG001 - part of the key
    """Top keys of a TOML file; under "" what is wrong with one that cannot be read."""
    from optimizer.scenario.toml_file import read_toml

    try:
        return dict(read_toml(path).data)
    except InputError as error:
        return {"": str(error), **_guess(path)}


def _guess(path: str) -> dict[str, Any]:
    """Take a file that cannot be read for what it seems to be, so that it does not vanish."""
    try:
        text = read_input(path, LARGEST_TEXT).decode("utf-8", "replace")
    except InputError:
        return {}
    return {"course": {}, "rider": ""} if re.search(r"(?m)^\s*\[course\]", text) else {}


@lru_cache(maxsize=100)
def _earlier(path: str, changed: int, size: int) -> Any:  # noqa: ARG001 - part of the key
    from optimizer.scenario.earlier_file import read_earlier

    return read_earlier(path)


def _assumed(said: Any) -> str:
    """Say which weather is assumed, as neither a forecast nor a figure is there."""
    if not isinstance(said, dict) or "forecast" in said:
        return ""
    return ", ".join(words for key, words in (
        ("wind", "no wind"), ("temperature_c", f"{TEMPERATURE.value:g} °C")) if key not in said)


def _kind(data: dict[str, Any]) -> str:
    if isinstance(data.get("course"), dict) and "rider" in data:
        return "race"
    if isinstance(data.get("race"), list) and isinstance(data.get("rider"), list):
        return "season"
    return "rider" if "mass_kg" in data else ""
