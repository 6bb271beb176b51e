"""Recordings of head units in the open binary interchange format (.fit)."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from optimizer.errors import InputError
from optimizer.files import read_input

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["read_fit"]

_LARGEST: Final = 50_000_000  # bytes; a day's ride has a few
_SEMICIRCLE: Final = 180.0 / 2**31  # degrees
_VIRTUAL: Final = 58  # the kind of sport "virtual activity" in the format's list

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
                      and frame.name in {"record", "sport", "session"}]
    except Exception as error:  # the reader lets struct, index and key errors through
        raise InputError(str(file), "", "is damaged, or is not a head unit's recording",
                         "copy it from the head unit again") from error
    virtual = any(_is_virtual(values.get("sub_sport")) for _, values in frames)
    records = [values for name, values in frames if name == "record"]
    records = [record for record in records if isinstance(record.get("timestamp"), datetime)]
    if not records:
        raise InputError(str(file), "", "holds no records with a time", "is it a ride?")
    times = [_utc(record["timestamp"]) for record in records]
    columns = {"elapsed_s": np.array([(time - times[0]).total_seconds() for time in times])}
    if np.any(np.diff(columns["elapsed_s"]) < 0.0):
        raise InputError(str(file), "", "goes back in time", "one ride a file")
    for name, (fields, factor) in _FIELDS.items():
        column = np.array([_number(record, fields) for record in records]) * factor
        if np.isfinite(column).any():
            columns[name] = column
    return columns, times[0], virtual


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
