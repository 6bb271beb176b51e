"""Rides and courses of head units in the open binary interchange format (.fit)."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from optimizer.course.gpx import MOST_PLACES, Points
from optimizer.errors import InputError
from optimizer.files import read_input

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["read_fit", "read_fit_track"]

_Frames = list[tuple[str, dict[str, Any]]]

_LARGEST: Final = 50_000_000  # bytes; a day's ride has a few
_SEMICIRCLE: Final = 180.0 / 2**31  # degrees
_VIRTUAL: Final = 58  # the kind of sport "virtual activity" in the format's list
# Kinds of sport that are ridden on no road: treadmill, spin, indoor cycling, track cycling is one.
_INDOORS: Final = {1: "treadmill", 5: "spin", 6: "indoor cycling", 14: "indoor rowing",
                   45: "indoor running", _VIRTUAL: "virtual activity"}

# Our column -> the fields that may hold it, the better one first, and the factor on them.
_FIELDS: Final[dict[str, tuple[tuple[str, ...], float]]] = {
    "latitude_deg": (("position_lat",), _SEMICIRCLE),
    "longitude_deg": (("position_long",), _SEMICIRCLE),
    "elevation_m": (("enhanced_altitude", "altitude"), 1.0),
    "distance_m": (("distance",), 1.0),
    "speed_mps": (("enhanced_speed", "speed"), 1.0),
    "power_w": (("power",), 1.0),
}


def read_fit(file: Path) -> tuple[dict[str, NDArray[np.float64]], datetime, bool]:
    """Columns of the records, as a ride's CSV would name them, and the time of the first.

    The third value tells whether the file calls itself a virtual ride.

    nan where a record lacks a field; a column that no record has is left out. Raises
    InputError for a file that cannot be read or holds no records, and where the reader, an
    optional package, is not installed.
    """
    frames = _frames(file, {"record", "sport", "session"})
    virtual = any(_is_virtual(values.get("sub_sport")) for _, values in frames)
    records = [values for name, values in frames if name == "record"]
    records = [record for record in records if isinstance(record.get("timestamp"), datetime)]
    if not records:
        raise InputError(str(file), "", "has no records with a time", "is it a ride?")
    times = [_utc(record["timestamp"]) for record in records]
    columns = {"elapsed_s": np.array([(time - times[0]).total_seconds() for time in times])}
    if np.any(np.diff(columns["elapsed_s"]) < 0.0):
        raise InputError(str(file), "", "has times that run backwards", "put one ride in each file")
    for name, (fields, factor) in _FIELDS.items():
        column = np.array([_number(record, fields) for record in records]) * factor
        if np.isfinite(column).any():
            columns[name] = column
    return columns, times[0], virtual


def read_fit_track(file: Path) -> Points:
    """Points of a course or of a recorded ride, with its course points as places.

    Raises InputError as `read_fit` does, and for what has no positions.
    """
    frames = _frames(file, {"record", "sport", "session", "course", "course_point"})
    by_name: dict[str, list[dict[str, Any]]] = {}
    for name, values in frames:
        by_name.setdefault(name, []).append(values)
    records = by_name.get("record", [])
    columns = {name: np.array([_number(record, fields) for record in records]) * factor
               for name, (fields, factor) in _FIELDS.items()} if records else {}
    placed = (np.isfinite(columns["latitude_deg"] + columns["longitude_deg"]) if columns
              else np.zeros(0, dtype=bool))
    kind = _kind(frames)
    if np.count_nonzero(placed) < 2:
        indoors = f"; it calls itself {kind}" if kind else ""
        raise InputError(str(file), "", f"has no positions{indoors}",
                         "name a track of the road itself; what is ridden indoors has none")
    times = np.array([_utc(moment).timestamp() if isinstance(moment, datetime) else np.nan
                      for moment in (record.get("timestamp") for record in records)])
    names = [str(values.get("name") or "") for values in by_name.get("course", [])]
    places = tuple(
        (str(point.get("name") or ""), _number(point, ("position_lat",)) * _SEMICIRCLE,
         _number(point, ("position_long",)) * _SEMICIRCLE)
        for point in by_name.get("course_point", [])[:MOST_PLACES])
    return Points(
        next((name for name in names if name), file.stem),
        columns["latitude_deg"][placed], columns["longitude_deg"][placed],
        columns["elevation_m"][placed], times[placed],
        np.zeros(int(np.count_nonzero(placed)), dtype=np.int64),
        tuple(place for place in places if np.isfinite(place[1] + place[2])), kind)


def _frames(file: Path, wanted: set[str]) -> _Frames:
    """Read the data of the wanted messages, each by field. Raises InputError."""
    try:
        import fitdecode
    except ImportError as error:
        raise InputError(str(file), "", "needs a reader that is not installed",
                         'install it with: pip install "kitpace[headunit]"') from error
    data = read_input(file, _LARGEST)
    try:
        with fitdecode.FitReader(data, check_crc=fitdecode.CrcCheck.RAISE,
                                 error_handling=fitdecode.ErrorHandling.IGNORE) as reader:
            frames = [(frame.name, {field.name: field.value for field in frame.fields})
                      for frame in reader if frame.frame_type == fitdecode.FIT_FRAME_DATA
                      and frame.name in wanted]
    except Exception as error:  # the reader lets struct, index and key errors through
        raise InputError(str(file), "", "is damaged, or is not a head unit's recording",
                         "copy it from the head unit again") from error
    return frames


def _kind(frames: _Frames) -> str:
    """Kind of sport where it is not one of the road, else empty."""
    for _, values in frames:
        kind = values.get("sub_sport")
        if isinstance(kind, int) and kind in _INDOORS:
            return _INDOORS[kind]
        plain = str(kind).replace("_", " ")
        if plain in _INDOORS.values():
            return plain
    return ""


def _is_virtual(kind: object) -> bool:
    """Tell by the kind of sport, as its name or its number in the format."""
    return kind == _VIRTUAL or "virtual" in str(kind)


def _utc(time: datetime) -> datetime:
    return time if time.tzinfo else time.replace(tzinfo=UTC)


def _number(record: dict[str, Any], fields: tuple[str, ...]) -> float:
    for field in fields:
        value = record.get(field)
        if isinstance(value, int | float):
            return float(value)
    return float("nan")
