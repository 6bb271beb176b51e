"""A weather forecast by hour and place, and by member of an ensemble, from a table."""

from __future__ import annotations

import math
import re
from datetime import datetime, time
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.conditions.forecast import Forecast, conditions_of
from optimizer.defaults import ZERO_CELSIUS
from optimizer.errors import InputError
from optimizer.scenario.tables import read_rows, table_of
from optimizer.scenario.units import degrees_of

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.scenario.tables import Row

__all__ = ["has_headings", "read_forecast", "start_within"]

REQUIRED = ("time", "wind_from_deg")
OPTIONAL = ("wind_kmh", "wind_mps", "gust_kmh", "temperature_c", "humidity_percent",
            "pressure_hpa", "sea_level_pressure_hpa", "place_km", "member")

_MOST_ROWS = 100_000
_HEAD = 4096  # bytes of a file in which its headings are looked for
_ANOTHER_DAY = 12 * 3600.0  # s; a forecast further from the start says nothing about it


def has_headings(path: Path) -> bool:
    """Whether a CSV begins with the headings of a forecast; False for what is unreadable."""
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD).decode("utf-8-sig", "replace")
        whole = head.rpartition("\n")[0] or head
        table_of(whole, path, REQUIRED, OPTIONAL, [])
    except (OSError, InputError):
        return False
    return True


def read_forecast(path: Path | str, start: datetime | None, conditions: Conditions,
                  notes: list[str] | None = None, *, extrapolate: bool = False) -> Conditions:
    """Conditions with wind and air from a table with a row for each hour and place.

    Columns: `time` (2030-06-16T09:00, or 09:00 on the day of the start), `wind_kmh` or
    `wind_mps`, `wind_from_deg` (degrees or a point of the compass); optional `member` (a number or
    name; the rows of each make one of the forecast's equally likely weathers), `place_km` along
    the course, `gust_kmh`, `temperature_c`, `humidity_percent`, and `pressure_hpa` at the
    course or `sea_level_pressure_hpa`. Each member and place needs the same hours.

    Parameters
    ----------
    start : when the ride starts; None takes the first hour of the table
    conditions : what holds where the table says nothing
    notes : takes what a reader should know of how it was read
    extrapolate : take the first or last hour for a start outside of the table's hours

    Raises InputError for what cannot be read, with row and column.
    """
    rows = read_rows(path, required=REQUIRED, optional=OPTIONAL, notes=notes)
    if not rows or len(rows) > _MOST_ROWS:
        raise InputError(str(path), "", f"has {len(rows)} rows",
                         f"a row for each hour and place, {_MOST_ROWS} at most")
    if not any(name in rows[0].cells for name in ("wind_kmh", "wind_mps")):
        unused = [f"; {words}" for words in notes or () if words.startswith("not used: ")]
        raise InputError(str(path), "", "there is no column wind_kmh or wind_mps"
                         + "".join(unused), "give the wind's speed one of these headings")
    hours = [_hour(row, start) for row in rows]
    _check_zones(rows, hours, start)
    begin = start_within(str(path), min(hours), max(hours), start, extrapolate=extrapolate)
    since = np.array([(hour - begin).total_seconds() for hour in hours])
    axes, order = _grid(rows, since)
    shape = tuple(len(axis) for axis in axes)

    def laid(values: list[float]) -> NDArray[np.float64]:
        return np.array(values)[order].reshape(shape)

    def column(name: str, low: float, high: float,
               default: float | None = None) -> NDArray[np.float64] | None:
        if not any(row.has(name) for row in rows):
            return None
        return laid([row.number(name, low=low, high=high) if default is None else
                     row.number(name, default, low=low, high=high) for row in rows])

    speed = laid([_speed(row) for row in rows])
    angle = np.radians(laid([_direction(row) for row in rows]))
    gust, warm = column("gust_kmh", 0, 400, 0.0), column("temperature_c", -30, 55)
    damp, pressure = column("humidity_percent", 0, 100), column("pressure_hpa", 400, 1100)
    reduced = column("sea_level_pressure_hpa", 870, 1090)
    return conditions_of(Forecast(
        time=axes[1], distance=axes[2], east=-speed * np.sin(angle), north=-speed * np.cos(angle),
        gust=None if gust is None else gust / 3.6,
        temperature=None if warm is None else warm + ZERO_CELSIUS,
        humidity=None if damp is None else damp / 100,
        pressure=None if pressure is None else 100 * pressure,
        sea_level_pressure=None if reduced is None else 100 * reduced), conditions, begin)


def _hour(row: Row, start: datetime | None) -> datetime:
    text = row.text("time")
    if re.fullmatch(r"\d{1,2}:\d{2}(:\d{2})?", text):
        if start is None:
            raise row.error("time", f'"{text}" names no day, and the start has none either',
                            "write 2030-06-16T09:00, or give the start's date and time")
        try:
            clock = time.fromisoformat(text if text[2] == ":" else f"0{text}")
            return datetime.combine(start.date(), clock, start.tzinfo)
        except ValueError as error:
            raise row.error("time", f'"{text}" is not a time of day', "write 09:00") from error
    try:
        hour = datetime.fromisoformat(text)
    except ValueError as error:
        raise row.error("time", f'"{text}" is not a time', "write 2030-06-16T09:00") from error
    if hour.time() == time() and re.fullmatch(r"[\d-]+", text):
        raise row.error("time", f'"{text}" is a day without an hour', "write 2030-06-16T09:00")
    return hour


def _check_zones(rows: list[Row], hours: list[datetime], start: datetime | None) -> None:
    """Refuse times of which some name their zone and some do not."""
    zones = {hour.tzinfo is not None for hour in [*hours, *([start] if start else [])]}
    if len(zones) > 1:
        raise rows[0].error("time", "some times name their zone and some do not",
                            "write all of them, and the start, with a zone or all without")


def start_within(file: str, first: datetime, last: datetime, start: datetime | None, *,
                 extrapolate: bool = False) -> datetime:
    """Start of the ride, if a forecast from `first` to `last` covers it; `first` where unknown.

    `extrapolate` takes a start outside as well, but for that of another day: its nearest hour
    then holds. Raises InputError for any other start outside of the forecast.
    """
    if start is None or first <= start <= last:
        return start or first
    away = max((first - start).total_seconds(), (start - last).total_seconds())
    if not extrapolate or away > _ANOTHER_DAY:
        allowed = ("" if away > _ANOTHER_DAY else ", or write extrapolate = true in [conditions] "
                   "to go on with its nearest hour")
        raise InputError(file, "", f"runs from {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}; "
                         f"the start at {start:%Y-%m-%d %H:%M} is not in it",
                         f"fetch the forecast of the day, or change the start{allowed}")
    return start


def _grid(rows: list[Row], since: NDArray[np.float64],
          ) -> tuple[tuple[NDArray[Any], ...], NDArray[np.int64]]:
    """Find members, times and places, and the order of rows that fills their grid.

    Refuses holes and doubles.
    """
    named = [row.has("member") for row in rows]
    if any(named) and not all(named):
        raise rows[named.index(False)].error("member", "is empty", "every row names its member, "
                                             "or none does")
    names = list(dict.fromkeys(row.text("member", "") for row in rows))  # in the file's order
    columns: tuple[NDArray[Any], ...] = (
        np.array([names.index(row.text("member", "")) for row in rows]), since,
        np.array([1000.0 * row.number("place_km", 0.0, low=0, high=2000) for row in rows]))
    axes = tuple(np.unique(values) for values in columns)
    shape = tuple(len(axis) for axis in axes)
    size = math.prod(shape)
    if size > _MOST_ROWS:
        raise InputError(rows[0].file, "", "members, hours and places make more than "
                         f"{_MOST_ROWS} rows", "give each member and place the same hours")
    cell = np.ravel_multi_index(tuple(
        np.searchsorted(axis, values) for axis, values in zip(axes, columns, strict=True)), shape)
    counts = np.bincount(cell, minlength=size)
    order = np.argsort(cell, kind="stable")
    if counts.max() > 1:
        twice = rows[int(order[np.flatnonzero(np.diff(cell[order]) == 0)[0] + 1])]
        raise twice.error("time", "the same hour and place appears twice", "keep one of them")
    if counts.min() < 1:
        who, when, place = np.unravel_index(int(np.argmin(counts)), shape)
        known = rows[int(np.argmax(since == axes[1][when]))]
        of = f" of member {names[who]}" if shape[0] > 1 else ""
        raise InputError(known.file, "", f"has no row for {known.text('time')} at "
                         f"{axes[2][place] / 1000:g} km{of}",
                         "give each member and place the same hours")
    return axes, order


def _speed(row: Row) -> float:
    if row.has("wind_kmh") == row.has("wind_mps"):
        raise row.error("wind_kmh", "needs either wind_kmh or wind_mps", "fill in one of them")
    return (row.number("wind_kmh", low=0, high=250) / 3.6 if row.has("wind_kmh")
            else row.number("wind_mps", low=0, high=70))


def _direction(row: Row) -> float:
    said = degrees_of(row.text("wind_from_deg"))
    if isinstance(said, float) and 0 <= said <= 360:
        return said
    return row.number("wind_from_deg", low=0, high=360)
