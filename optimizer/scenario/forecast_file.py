"""A weather forecast by hour and place, from a table."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime, time
from typing import TYPE_CHECKING

import numpy as np

from optimizer.conditions.air import station_pressure
from optimizer.errors import InputError
from optimizer.scenario.tables import read_rows

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.scenario.tables import Row

__all__ = ["read_forecast"]

_COMPASS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW",
            "NW", "NNW")
_MOST_ROWS = 20_000
_BEYOND = 3 * 3600.0  # s; a forecast that begins or ends further from the start is another day's


def read_forecast(path: Path | str, start: datetime | None, conditions: Conditions) -> Conditions:
    """Conditions with wind and air from a table with a row for each hour and place.

    Columns: `time` (2030-06-16T09:00, or 09:00 on the day of the start), `wind_kmh` or
    `wind_mps`, `wind_from_deg` (degrees or a point of the compass); at will `place_km` along
    the course, `gust_kmh`, `temperature_c`, `humidity_percent`, and `pressure_hpa` at the
    course or `sea_level_pressure_hpa`. Each place needs the same hours.

    Parameters
    ----------
    start : when the ride starts; None takes the first hour of the table
    conditions : what holds where the table says nothing

    Raises InputError for what cannot be read, with row and column.
    """
    rows = read_rows(path, required=["time", "wind_from_deg"], optional=[
        "place_km", "wind_kmh", "wind_mps", "gust_kmh", "temperature_c", "humidity_percent",
        "pressure_hpa", "sea_level_pressure_hpa"])
    if not rows or len(rows) > _MOST_ROWS:
        raise InputError(str(path), "", f"has {len(rows)} rows", "a row for each hour and place")
    hours = [_hour(row, start) for row in rows]
    begin = _start(str(path), rows, hours, start)
    since = np.array([(hour - begin).total_seconds() for hour in hours])
    places = np.array([1000.0 * row.number("place_km", 0.0, low=0, high=2000) for row in rows])
    times, places_once, order = _grid(rows, since, places)
    shape = (len(times), len(places_once))

    def laid(values: list[float]) -> NDArray[np.float64]:
        return np.array(values)[order].reshape(shape)

    speed = laid([_speed(row) for row in rows])
    angle = np.radians(laid([_direction(row) for row in rows]))
    gust = laid([row.number("gust_kmh", 0.0, low=0, high=400) / 3.6 for row in rows])
    at_start = replace(conditions, start_time=begin, wind_time=times, wind_distance=places_once,
                       wind_east=-speed * np.sin(angle), wind_north=-speed * np.cos(angle),
                       gust=gust)
    return _with_air(rows, at_start, times, laid)


def _with_air(rows: list[Row], conditions: Conditions, times: NDArray[np.float64],
              laid: Callable[[list[float]], NDArray[np.float64]]) -> Conditions:
    """Temperature by time and place; humidity and pressure of the start, where given."""
    def column(name: str, low: float, high: float) -> NDArray[np.float64] | None:
        given = [row for row in rows if row.has(name)]
        if not given:
            return None
        return laid([row.number(name, low=low, high=high) for row in rows])

    def now(values: NDArray[np.float64]) -> float:
        return float(np.interp(0.0, times, values[:, 0]))

    warm = column("temperature_c", -30, 55)
    if warm is not None:
        conditions = replace(conditions, temperature=now(warm) + 273.15,
                             temperature_change=warm - now(warm))
    damp = column("humidity_percent", 0, 100)
    if damp is not None:
        conditions = replace(conditions, humidity=now(damp) / 100)
    pressure = column("pressure_hpa", 400, 1100)
    reduced = column("sea_level_pressure_hpa", 870, 1090)
    if pressure is not None:
        conditions = replace(conditions, pressure=100 * now(pressure))
    elif reduced is not None:
        conditions = replace(conditions, pressure=station_pressure(
            100 * now(reduced), conditions.temperature, conditions.reference_elevation))
    return conditions


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
            raise row.error("time", f'"{text}" is no time of day', "write 09:00") from error
    try:
        hour = datetime.fromisoformat(text)
    except ValueError as error:
        raise row.error("time", f'"{text}" is not a time', "write 2030-06-16T09:00") from error
    if hour.time() == time() and re.fullmatch(r"[\d-]+", text):
        raise row.error("time", f'"{text}" is a day without an hour', "write 2030-06-16T09:00")
    return hour


def _start(file: str, rows: list[Row], hours: list[datetime], start: datetime | None) -> datetime:
    """Start of the ride, if the table covers it."""
    zones = {hour.tzinfo is not None for hour in [*hours, *([start] if start else [])]}
    if len(zones) > 1:
        raise rows[0].error("time", "some times name their zone and some do not",
                            "write all of them, and the start, with a zone or all without")
    first, last = min(hours), max(hours)
    if start is None:
        return first
    if (first - start).total_seconds() > _BEYOND or (start - last).total_seconds() > _BEYOND:
        raise InputError(file, "", f"runs from {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}; "
                         f"the start at {start:%Y-%m-%d %H:%M} is not in it",
                         "fetch the forecast of the day, or change the start")
    return start


def _grid(rows: list[Row], since: NDArray[np.float64], places: NDArray[np.float64],
          ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    """Find times, places and the order of rows that fills their grid; refuse holes and doubles."""
    times, places_once = np.unique(since), np.unique(places)
    cell = (np.searchsorted(times, since) * len(places_once)
            + np.searchsorted(places_once, places))
    counts = np.bincount(cell, minlength=len(times) * len(places_once))
    order = np.argsort(cell, kind="stable")
    if counts.max() > 1:
        twice = rows[int(order[np.flatnonzero(np.diff(cell[order]) == 0)[0] + 1])]
        raise twice.error("time", "the same hour and place is there twice", "keep one of them")
    if counts.min() < 1:
        hole = int(np.argmin(counts))
        place = places_once[hole % len(places_once)]
        known = rows[int(np.argmax(since == times[hole // len(places_once)]))]
        raise InputError(known.file, "", f"has no row for {known.text('time')} at "
                         f"{place / 1000:g} km", "give each place the same hours")
    return times, places_once, order


def _speed(row: Row) -> float:
    if row.has("wind_kmh") == row.has("wind_mps"):
        raise row.error("wind_kmh", "needs either wind_kmh or wind_mps", "fill in one of them")
    return (row.number("wind_kmh", low=0, high=250) / 3.6 if row.has("wind_kmh")
            else row.number("wind_mps", low=0, high=70))


def _direction(row: Row) -> float:
    text = row.text("wind_from_deg").upper()
    if text in _COMPASS:
        return 22.5 * _COMPASS.index(text)
    return row.number("wind_from_deg", low=0, high=360)
