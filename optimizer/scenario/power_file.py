"""Best efforts: a table of them, or cut from recorded rides."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.errors import InputError
from optimizer.rider.best_powers import DURATIONS, best_of_rides
from optimizer.rider.power_duration import Efforts
from optimizer.scenario.ride_file import read_columns
from optimizer.scenario.tables import read_rows, read_text

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["read_efforts", "read_power_files", "read_rides"]

_LONGEST: Final = 172_800.0  # s, two days
_HIGHEST: Final = 3000.0  # W


def read_power_files(paths: Sequence[Path | str]) -> Efforts:
    """Read one efforts table, or best powers of one or more recorded rides.

    A CSV with a column power_w and a duration is a table of efforts; any other CSV, GPX or FIT
    is a ride.
    """
    if len(paths) == 1 and _is_table(Path(paths[0])):
        return read_efforts(paths[0])
    table = next((path for path in paths if _is_table(Path(path))), None)
    if table is not None:
        raise InputError(str(table), "", "is a table of efforts among rides",
                         "name either one table of efforts or recorded rides")
    return read_rides(paths)


def _is_table(path: Path) -> bool:
    if path.suffix.lower() not in {".csv", ".txt", ".tsv"}:
        return False
    head = next((line for line in read_text(path).splitlines() if line.strip()), "")
    return bool(re.search(r"\b(duration_s|duration_min|minutes|seconds)\b", head.lower()))


def read_efforts(path: Path | str) -> Efforts:
    """Read best efforts from a CSV: power_w, and minutes or seconds, one effort a row.

    Raises InputError with the row for what cannot be an effort.
    """
    notes: list[str] = []
    rows = read_rows(path, required=["power_w"], optional=["minutes", "seconds", "note"],
                     notes=notes)
    if not rows:
        raise InputError(str(path), "", "has no efforts",
                         "write one row for each effort: minutes, power_w")
    duration, power = [], []
    for row in rows:
        if row.has("minutes") == row.has("seconds"):
            raise row.error("minutes", "give either minutes or seconds" if row.has("minutes")
                            else "the duration is missing", "for example 20 in the column minutes")
        duration.append(60.0 * row.number("minutes", low=0.01, high=_LONGEST / 60)
                        if row.has("minutes") else row.number("seconds", low=1.0, high=_LONGEST))
        power.append(row.number("power_w", low=1.0, high=_HIGHEST))
        if duration[-1] in duration[:-1]:
            raise row.error("minutes" if row.has("minutes") else "seconds",
                            "appears twice", "keep the better effort of each duration")
    return Efforts(np.array(duration), np.array(power),
                   tuple(f"{Path(path).name}, row {row.line}" for row in rows),
                   notes=tuple(f"{Path(path).name}: {note}" for note in notes))


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
