"""Tracks of any file that people have of a road: GPX, FIT, or a table of positions."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from optimizer.course.gpx import LARGEST_FILE, MOST_POINTS, Points, read_gpx, seconds_of
from optimizer.course.read import read_course as _read_course
from optimizer.errors import InputError
from optimizer.files import open_input
from optimizer.scenario.fit_file import read_fit_track
from optimizer.scenario.spreadsheet_file import is_spreadsheet
from optimizer.scenario.tables import each_row, read_table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.course import Course
    from optimizer.scenario.tables import Row

__all__ = ["kind_of", "read_course", "read_track"]

Kind = Literal["gpx", "fit", "table"]
_TABLES: Final = {".csv", ".txt", ".tsv"}
_HEADINGS: Final = {
    "latitude": "latitude_deg", "lat": "latitude_deg", "longitude": "longitude_deg",
    "lon": "longitude_deg", "lng": "longitude_deg", "long": "longitude_deg",
    "elevation": "elevation_m", "ele": "elevation_m", "altitude": "elevation_m",
    "altitude_m": "elevation_m", "alt": "elevation_m", "height": "elevation_m",
    "height_m": "elevation_m", "timestamp": "time"}
_OPTIONAL: Final = ("elevation_m", "time", "elapsed_s", "distance_m", "speed_mps", "speed_kmh",
                    "power_w")
_SAMPLE: Final = {"latitude_deg": "52.10512", "longitude_deg": "5.10342", "elevation_m": "12.4"}
_INDOORS: Final = ("virtual", "indoor", "trainer", "treadmill")


def read_course(path: Path | str | Sequence[Path | str], **how: Any) -> Course:
    """Read, clean and resample a track of any kind, or several that follow on each other.

    Parameters
    ----------
    path : GPX, FIT (a course or a recorded ride), or a table with latitude and longitude
    how : the rest is as in `optimizer.course.read_course`

    Returns
    -------
    the course, in SI, with its corrections and warnings

    Raises
    ------
    InputError
        where there is no rideable course

    Examples
    --------
    >>> import optimizer
    >>> course = optimizer.read_course("courses/petrel-flats/course.gpx")
    >>> round(course.length / 1000)
    40
    """
    return _read_course(path, reader=read_track, **how)


def kind_of(path: Path | str) -> Kind:
    """Tell what a file is by how it begins, and by the ending of its name where that is unclear.

    Raises InputError for what cannot be read, and for an archive.
    """
    ending = Path(path).suffix.lower()
    if is_spreadsheet(path):
        return "table"
    with open_input(path, LARGEST_FILE) as stream:
        head = stream.read(256)
    if head[8:12] == b".FIT":
        return "fit"
    if head.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<"):
        return "gpx"
    if head.startswith((b"PK\x03\x04", b"\x1f\x8b")):
        raise InputError(str(path), "", "is a packed archive", "unpack it, and name what is in it")
    if ending == ".fit":
        return "fit"
    return "table" if ending in _TABLES else "gpx"


def read_track(path: Path | str) -> Points:
    """Read the points of a GPX, a FIT, or a table with a position a row.

    Raises InputError for what is no track of a road, such as a ride indoors.
    """
    match kind_of(path):
        case "fit":
            points = read_fit_track(Path(path))
        case "table":
            points = _from_table(path)
        case _:
            points = read_gpx(path)
    indoors = points.kind.lower().replace("_", " ")
    if any(word in indoors for word in _INDOORS) or indoors == "spin":
        raise InputError(str(path), "",
                         f'was not ridden on a road: it calls itself "{points.kind}"',
                         "name a track of the road itself")
    return points


def _from_table(path: Path | str) -> Points:
    try:
        table = read_table(path, ("latitude_deg", "longitude_deg"), _OPTIONAL,
                           [], synonyms=_HEADINGS)
    except InputError as error:
        if "there is no column" not in error.problem:
            raise
        raise InputError(error.file, error.where, f"{error.problem}: a course needs positions",
                         "head two columns latitude_deg and longitude_deg, and the heights "
                         "elevation_m") from error
    if not 2 <= len(table.rows) <= MOST_POINTS:
        count = "1 point" if len(table.rows) == 1 else f"{len(table.rows)} points"
        raise InputError(str(path), "", f"has {count}", "a course needs at least "
                         "two, with headings in the first row")
    rows = [row for row in table.rows if row.has("latitude_deg") or row.has("longitude_deg")]
    data = np.array(each_row(replace(table, rows=rows), _point, _SAMPLE), dtype=float)
    if len(data) < 2:
        raise InputError(str(path), "", "has fewer than two positions",
                         "fill in latitude and longitude")
    latitude, longitude, height, time = data.T
    return Points(Path(path).stem, latitude, longitude, height, time,
                  np.zeros(len(data), dtype=np.int64))


def _point(row: Row) -> tuple[float, float, float, float]:
    """Latitude, longitude, height and time of a row; nan where there is none."""
    height = row.number("elevation_m", None, low=-500.0, high=9000.0)
    return (row.number("latitude_deg", low=-90.0, high=90.0),
            row.number("longitude_deg", low=-180.0, high=180.0),
            np.nan if height is None else height, _seconds(row))


def _seconds(row: Row) -> float:
    elapsed = row.number("elapsed_s", None, low=0.0, high=1e7)
    if elapsed is not None or not row.has("time"):
        return np.nan if elapsed is None else elapsed
    return seconds_of(row.text("time"))
