"""Best efforts: a table of them, or cut from recorded rides."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.errors import InputError
from optimizer.rider.best_powers import DURATIONS, best_of_rides
from optimizer.rider.power_duration import Efforts
from optimizer.scenario.ride_file import read_columns
from optimizer.scenario.spreadsheet_file import is_spreadsheet
from optimizer.scenario.tables import each_row, parse_clock, read_table, read_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.scenario.tables import Row

__all__ = ["read_efforts", "read_power_files", "read_rides"]

_LONGEST: Final = 172_800.0  # s, two days
_HIGHEST: Final = 3000.0  # W
_HEAD: Final = 10  # lines, among which the headings of a table are
_REQUIRED, _OPTIONAL = ("power_w",), ("minutes", "seconds", "duration", "note")
# What people head such columns with.
_HEADINGS: Final = {
    "power": "power_w", "watts": "power_w", "watt": "power_w", "w": "power_w",
    "mean_power": "power_w", "best_power": "power_w", "minute": "minutes", "mins": "minutes",
    "min": "minutes", "duration_min": "minutes", "second": "seconds", "secs": "seconds",
    "sec": "seconds", "duration_s": "seconds", "notes": "note", "comment": "note"}
_SAMPLE: Final = {"minutes": "20", "seconds": "1200", "duration": "20 min", "power_w": "305"}
_UNITS: Final = {"minutes": 60.0, "seconds": 1.0, "duration": None}  # s, of a bare number
_SECONDS: Final = {"h": 3600.0, "m": 60.0, "'": 60.0, "s": 1.0}
_WITH_UNIT: Final = re.compile(r"(?P<amount>.*\d[.,]?)\s*(?P<unit>h|hrs?|hours?|m|min|mins"
                               r"|minutes?|'|s|secs?|seconds?)\.?", re.IGNORECASE)


def read_power_files(paths: Sequence[Path | str]) -> Efforts:
    """Read one efforts table, or best powers of one or more recorded rides.

    A CSV with a column power_w and a duration is a table of efforts; any other CSV, GPX or FIT
    is a ride.
    """
    if len(paths) == 1 and _is_table(paths[0]):
        return read_efforts(paths[0])
    table = next((path for path in paths if _is_table(path)), None)
    if table is not None:
        raise InputError(str(table), "", "is a table of efforts among rides",
                         "name either one table of efforts or recorded rides")
    return read_rides(paths)


def _is_table(path: Path | str) -> bool:
    if is_spreadsheet(path):
        return True
    if Path(path).suffix.lower() not in {".csv", ".txt", ".tsv"}:
        return False
    head = " ".join(read_text(path).lower().splitlines()[:_HEAD])
    return bool(re.search(r"\b(duration(_s|_min)?|minutes?|mins?|seconds?|secs?)\b", head)
                ) and "elapsed_s" not in head


def read_efforts(path: Path | str) -> Efforts:
    """Read best efforts from a table: power_w, and minutes, seconds or duration, one effort a row.

    A duration may have its unit ("5 min", "1 h") or be a clock (5:00, 1:00:00), whatever its
    column; in a column `duration` it has to. Raises InputError with the row for what cannot be an
    effort; all that is wrong at once.
    """
    notes: list[str] = []
    table = read_table(path, _REQUIRED, _OPTIONAL, notes, synonyms=_HEADINGS, deferred=True)
    if not table.wrong and not {*_UNITS} & {*table.headings}:
        raise InputError(str(path), "", 'there is no column "minutes" or "seconds"',
                         "give the duration of each effort, as minutes, seconds or with its unit")
    if not table.rows:
        raise InputError(str(path), "", "has no efforts",
                         "write one row for each effort: minutes, power_w")
    seen: set[float] = set()

    def read(row: Row) -> tuple[float, float, str]:
        column, duration = _duration(row)
        if duration in seen:
            row.refuse(column, "appears twice", "keep the better effort of each duration")
        seen.add(duration)
        return (duration, row.number("power_w", low=1.0, high=_HIGHEST),
                f"{Path(path).name}, row {row.line}")

    duration, power, source = zip(*each_row(table, read, _SAMPLE, notes), strict=True)
    return Efforts(np.array(duration), np.array(power), source,
                   notes=tuple(f"{Path(path).name}: {note}" for note in notes))


def _duration(row: Row) -> tuple[str, float]:
    """Column that holds the duration of an effort, and its seconds."""
    columns = [column for column in _UNITS if row.has(column)]
    if len(columns) != 1:
        raise row.error("minutes", "give either minutes or seconds" if columns
                        else "the duration is missing", "for example 20 in the column minutes")
    (column,) = columns
    text, scale = row.text(column), _UNITS[column]
    if ":" in text:
        try:
            seconds = parse_clock(text)
        except ValueError as error:
            raise row.error(column, f'"{text}" {error}', "write 5:00 or 1:00:00") from error
        row.note_once(f'durations such as "{text}" are read as {seconds / 60:g} min',
                      "durations such as")
        return column, seconds
    if written := _WITH_UNIT.fullmatch(text):
        scale = _SECONDS[written["unit"][:1].lower()]
        row = replace(row, cells={**row.cells, column: written["amount"]})
    if scale is None:
        raise row.error(column, f'"{text}" has no unit',
                        'write "20 min" or 20:00, or head the column minutes or seconds')
    return column, scale * row.number(column, low=0.6 / scale, high=_LONGEST / scale)


def read_rides(paths: Sequence[Path | str],
               duration: Sequence[float] = DURATIONS) -> Efforts:
    """Best powers over recorded rides, CSV (time or elapsed_s, and power_w), GPX or FIT.

    Samples without power, or above any rider's, count as no power: best powers can only come
    out too low. Raises InputError for a ride without power.
    """
    rides = []
    for path in paths:
        columns = read_columns(Path(path)).columns
        power = columns.get("power_w", np.full(1, np.nan))
        if not np.isfinite(power).any():
            raise InputError(str(path), "", "has no power", "record it with a power meter, in a "
                             "column power_w or as power in the extensions of a GPX")
        time = columns["elapsed_s"]
        new = np.concatenate([[True], np.diff(time) > 0.0])
        rides.append((Path(path).name, time[new], np.nan_to_num(power[new])))
    return best_of_rides(rides, duration)
