"""The outcome of a case, and its record for later runs."""

from __future__ import annotations

import hashlib
import json
import math
import re
import unicodedata
from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING, Any

from optimizer import __version__
from optimizer.course.gpx import LARGEST_FILE
from optimizer.errors import InputError
from optimizer.files import read_input, write_atomic
from optimizer.scenario.named_files import named_files

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from optimizer.scenario.batch_file import Case

__all__ = ["Outcome", "digest", "folder_of", "read_record", "write_record"]

_SCHEMA = "kitpace-case-3"  # one more wherever a figure of the outcome changes its meaning
_RECORD = "case.json"
_LARGEST_RECORD = 1_000_000  # bytes
_LONGEST = 60  # characters of a folder's name


@dataclass(frozen=True)
class Outcome:
    """One row of the table: what was planned, or why not.

    `folder` is relative to that of the results; times [s], `spend` in `currency`,
    `mean_power` [W] over the whole time of the card as ridden, `caution` of wind.
    `failure` is empty where there is a plan, else the message, with its `exit_code`. `kept`
    tells that an earlier run did the work.
    """

    case: str
    folder: str
    course: str = ""
    rider: str = ""
    weather: str = ""
    finish_time: float = 0.0
    low: float = 0.0
    high: float = 0.0
    gap: float = 0.0
    mean_power: float = 0.0
    spend: float = 0.0
    currency: str = ""
    items: tuple[str, ...] = ()
    caution: str = ""
    failure: str = ""
    exit_code: int = 0
    kept: bool = False


def folder_of(case: Case) -> str:
    """Name of the case's folder: readable, fit for any file system, its own for every case."""
    plain = unicodedata.normalize("NFKD", case.name).encode("ascii", "ignore").decode().lower()
    words = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_LONGEST].strip("-")
    mark = hashlib.sha256(case.name.encode("utf-8")).hexdigest()[:6]
    return f"{words}-{mark}" if words else mark


def digest(case: Case) -> str:
    """Hash of everything that the case's plan follows from: files, changes to them, version.

    Raises InputError for a file that cannot be read.
    """
    changes = [case.wind, case.budget, case.start_time.isoformat() if case.start_time else None]
    whole = hashlib.sha256(json.dumps([_SCHEMA, __version__, case.name, changes]).encode())
    for start in (case.scenario, case.rider, case.forecast):
        for path in named_files(start) if start else ():
            whole.update(hashlib.sha256(read_input(path, LARGEST_FILE)).digest())
        whole.update(b"|")
    return whole.hexdigest()


def write_record(folder: Path, outcome: Outcome, inputs: str, texts: Mapping[str, str]) -> None:
    """Note that the case is done; the last file of a case to be written.

    `folder` is that of all results; `texts` are the case's other files by name.
    """
    content = {"schema": _SCHEMA, "inputs": inputs, "outcome": asdict(outcome),
               "files": {name: _hash(text.encode("utf-8", "replace"))
                         for name, text in texts.items()}}
    write_atomic(folder / outcome.folder / _RECORD,
                 json.dumps(content, ensure_ascii=False, indent=1) + "\n")


def read_record(folder: Path, begun: Outcome, inputs: str) -> Outcome | None:
    """Outcome of an earlier run on the same inputs, None if there is none that can be used.

    A record that is damaged, of another case, or whose files are gone or changed counts for
    nothing: the case is planned again.
    """
    home = folder / begun.folder
    try:
        content: dict[str, Any] = json.loads(read_input(home / _RECORD, _LARGEST_RECORD))
        if content["schema"] != _SCHEMA or content["inputs"] != inputs:
            return None
        said = {field.name: content["outcome"][field.name] for field in fields(Outcome)}
        found = Outcome(**{**said, "items": tuple(said["items"]), "kept": True})
        whole = (_sound(found) and (found.case, found.folder) == (begun.case, begun.folder)
                 and all(_hash(read_input(home / name, LARGEST_FILE)) == known
                         for name, known in content["files"].items()) and content["files"])
    except (InputError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    return found if whole else None


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _sound(outcome: Outcome) -> bool:
    """Tell whether every value is of its kind, and the case has a plan."""
    kinds: dict[str, Any] = {"float": (int, float), "int": int, "str": str, "bool": bool,
             "tuple[str, ...]": tuple}
    values = {field.name: getattr(outcome, field.name) for field in fields(Outcome)}
    numbers = [value for value in values.values() if isinstance(value, (int, float))]
    return (all(isinstance(values[field.name], kinds[str(field.type)])
                for field in fields(Outcome))
            and all(isinstance(item, str) for item in outcome.items)
            and all(map(math.isfinite, numbers)) and outcome.finish_time > 0.0
            and not outcome.failure)
