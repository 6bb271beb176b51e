"""GPX in and out: a streaming reader that is safe against hostile files, and a writer."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING
from xml.parsers import expat  # the streaming parser below the standard library's others

import numpy as np

from optimizer.errors import InputError
from optimizer.files import open_input

if TYPE_CHECKING:
    from collections.abc import Sequence
    from io import BufferedReader

    from numpy.typing import NDArray

    from optimizer.course.course import Course

__all__ = ["Points", "course_gpx", "read_gpx", "recorded_points"]

LARGEST_FILE = 256 * 2**20  # bytes; a million points take about 120 MB
MOST_POINTS = 2_000_000
DEEPEST = 32  # GPX needs five levels, extensions a few more
LONGEST_TEXT = 4096  # characters of a name or number
LONGEST_PIECE = 2**20  # bytes of one comment, instruction or tag
MOST_PLACES = 10_000  # waypoints

# The parser reads what it has of an unfinished piece again whenever more comes: bytes at a time
# are many, and what is unfinished is bounded.
_CHUNK = 2**16

_POINTS = frozenset(("trkpt", "rtept", "wpt"))
_PARTS = frozenset(("ele", "time", "name"))
_EXTENSIONS = frozenset(("power",))  # at any depth of a point
_NAMED = frozenset(("trk", "rte", "metadata", "gpx"))
_KINDS = frozenset(("trk", "rte", "metadata"))
_SEGMENT, _ROUTE = ["gpx", "trk", "trkseg"], ["gpx", "rte"]

# Latitude, longitude, height, time and power as written, segment.
Recorded = tuple[float, float, str | None, str | None, str | None, int]


@dataclass(frozen=True)
class Points:
    """What the file of a track says, in its own order.

    Attributes
    ----------
    name : of the track or route
    latitude, longitude : (p,) degrees, WGS84
    elevation : (p,) metres, nan where missing
    time : (p,) seconds since 1970 UTC, nan where missing
    segment : (p,) number of the track segment, from 0
    places : name, latitude and longitude of each waypoint
    kind : what kind of activity or road the file says it is; empty where it does not
    """

    name: str
    latitude: NDArray[np.float64]
    longitude: NDArray[np.float64]
    elevation: NDArray[np.float64]
    time: NDArray[np.float64]
    segment: NDArray[np.int64]
    places: tuple[tuple[str, float, float], ...] = ()
    kind: str = ""

    def __len__(self) -> int:
        return len(self.latitude)


def read_gpx(path: Path | str) -> Points:
    """Tracks of a GPX 1.0 or 1.1 file, or its routes where it has no track.

    The file is streamed through expat with everything refused that can grow or reach out:
    document types, and with them all entities; files of absurd size, depth or count. Tags
    are known by their local names, whatever the namespace. A general GPX library was
    measured to take 16 s and 410 MB for 200,000 points, this reader 1 s and 40 MB.

    Parameters
    ----------
    path : of the file

    Returns
    -------
    points with heights and marks

    Raises
    ------
    InputError
        for anything that is no usable GPX
    """
    return _read(path).points()


def recorded_points(path: Path | str) -> tuple[list[Recorded], str]:
    """Track points of a recorded ride as they are written, and the kind of activity it says.

    Parameters
    ----------
    path : of the file

    Returns
    -------
    latitude and longitude [degrees], texts of height, time and power, and number of the segment of
    each point; the kind

    Raises
    ------
    InputError
        for anything that is no usable GPX
    """
    reader = _read(path)
    return reader.found["trkpt"], reader.kind


def _read(path: Path | str) -> _Reader:
    reader = _Reader(str(path))
    try:
        with open_input(path, LARGEST_FILE) as stream:
            reader.read(stream)
    except expat.ExpatError as error:
        reason = expat.ErrorString(error.code) or "unknown"
        raise InputError(str(path), f"line {error.lineno}", f"is not well-formed XML ({reason})",
                         "export it again; a download may have been cut short") from error
    except (UnicodeError, ValueError, LookupError) as error:
        raise InputError(str(path), f"line {reader.parser.CurrentLineNumber}",
                         "its text encoding cannot be read", "save it as UTF-8") from error
    return reader


class _Reader:
    """Collects points while the parser runs."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.depth = self.point_depth = 0
        self.path: list[str] = []  # open elements, those of points and below left out
        self.text: str | None = None
        self.name = self.kind = ""
        self.segment = {"trkpt": -1, "rtept": -1}
        self.found: dict[str, list[Recorded]] = {"trkpt": [], "rtept": []}
        self.places: list[tuple[str, float, float]] = []
        self.point = ""  # tag of the point that is open
        self.position = (0.0, 0.0)
        self.parts: dict[str, str] = {}
        self.parser = expat.ParserCreate()
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._characters
        self.parser.StartDoctypeDeclHandler = self._doctype
        self.parser.EntityDeclHandler = self._doctype

    def read(self, stream: BufferedReader) -> None:
        """Parse a file in time and memory that grow with its size, whatever is in it."""
        given = 0
        while chunk := stream.read(_CHUNK):
            self.parser.Parse(chunk, False)
            given += len(chunk)
            if given - self.parser.CurrentByteIndex > LONGEST_PIECE + _CHUNK:
                raise self._refuse("contains a comment, instruction or tag of more than "
                                   f"{LONGEST_PIECE // 2**20} MB", "delete it")
        self.parser.Parse(b"", True)

    def _doctype(self, *_: object) -> None:
        raise self._refuse("contains a document type or entities, which a GPX file never needs",
                           "export the course again from where it was drawn")

    # The three that follow run a million times on a long track; they do no more than they must.

    def _start(self, qualified: str, attributes: dict[str, str]) -> None:
        tag = qualified.rpartition(":")[2] if ":" in qualified else qualified
        self.depth = depth = self.depth + 1
        if self.point:
            if (tag in _PARTS and depth == self.point_depth + 1) or tag in _EXTENSIONS:
                self.text = ""
            elif tag in _POINTS:
                raise self._refuse(f"has a {tag} inside a {self.point}",
                                   "export the course again")
            elif depth > DEEPEST:
                raise self._refuse("nests its elements too deeply", "export the course again")
        elif tag in _POINTS:
            self.point, self.point_depth, self.parts = tag, depth, {}
            self.position = self._place(tag, attributes)
        else:
            self._start_outside(tag)

    def _start_outside(self, tag: str) -> None:
        if self.depth > DEEPEST:
            raise self._refuse("nests its elements too deeply", "export the course again")
        if not self.path and tag != "gpx":
            raise self._refuse(f"is not GPX: it begins with <{tag[:40]}>", "name a GPX file")
        inside = self.path[-1] if self.path else ""
        if (tag == "name" and not self.name and inside in _NAMED) or (
                tag == "type" and not self.kind and inside in _KINDS):
            self.text = ""
        self.path.append(tag)
        if self.path in (_SEGMENT, _ROUTE):
            self.segment["trkpt" if tag == "trkseg" else "rtept"] += 1

    def _characters(self, content: str) -> None:
        if self.text is not None:
            self.text += content
            if len(self.text) > LONGEST_TEXT:
                raise self._refuse("contains a name or number of absurd length",
                                   "export the course again")

    def _end(self, qualified: str) -> None:
        self.depth -= 1
        text, self.text = self.text, None
        if self.point:
            if text is not None:
                self.parts[qualified.rpartition(":")[2]] = text.strip()
            elif self.depth < self.point_depth:
                self._keep(self.point)
                self.point = ""
        else:
            tag = self.path.pop()
            if text is not None and tag == "type":
                self.kind = text.strip()
            elif text is not None:
                self.name = text.strip()

    def _place(self, tag: str, attributes: dict[str, str]) -> tuple[float, float]:
        latitude, longitude = _number(attributes.get("lat")), _number(attributes.get("lon"))
        if -90.0 <= latitude <= 90.0 and -180.0 <= longitude <= 180.0:
            return latitude, longitude
        key, limit = ("lon", 180) if -90.0 <= latitude <= 90.0 else ("lat", 90)
        number = len(self.found.get(tag, self.places)) + 1
        raw = attributes.get(key)
        what = (f"has no {key}" if raw is None else
                f"has {key} {raw[:20]!r}, which is not between -{limit} and {limit}")
        raise self._refuse(f"{tag} number {number} {what}",
                           "lat is latitude, lon is longitude, both in degrees")

    def _keep(self, tag: str) -> None:
        parts = self.parts
        if tag == "wpt":
            self.places.append((parts.get("name", ""), *self.position))
            if len(self.places) > MOST_PLACES:
                raise self._refuse(f"has more than {MOST_PLACES:,} waypoints",
                                   "delete those that the course does not need")
            return
        points = self.found[tag]
        points.append((*self.position, parts.get("ele"), parts.get("time"), parts.get("power"),
                       self.segment[tag]))
        if len(points) > MOST_POINTS:
            raise self._refuse(f"has more than {MOST_POINTS:,} points",
                               "keep only the part that is the course")

    def _refuse(self, problem: str, remedy: str) -> InputError:
        return InputError(self.file, f"line {self.parser.CurrentLineNumber}", problem, remedy)

    def points(self) -> Points:
        """Everything that was found; refuses a file without a line to ride along."""
        rows = self.found["trkpt"] or self.found["rtept"]
        if len(rows) < 2:
            raise InputError(self.file, "", f"has {('no point', 'one point')[len(rows)]} of a "
                             "track or route; a course needs at least two",
                             "export it as a track (trk) rather than as single waypoints")
        latitude, longitude, heights, times, _, segment = zip(*rows, strict=True)
        return Points(self.name or Path(self.file).stem, np.array(latitude), np.array(longitude),
                      _numbers(heights), _all_seconds(times), np.array(segment, dtype=np.int64),
                      tuple(self.places), self.kind)


def _numbers(texts: Sequence[str | None]) -> NDArray[np.float64]:
    """Numbers, nan where there is none; all at once where all are plain."""
    try:
        values = np.array(["nan" if text is None else text for text in texts], dtype=float)
    except ValueError:
        values = np.array([_number(text) for text in texts])
    return np.where(np.isfinite(values), values, np.nan)


def _all_seconds(texts: Sequence[str | None]) -> NDArray[np.float64]:
    """Seconds since 1970, nan where unknown; all at once where all are whole seconds in UTC."""
    if all(text is not None and len(text) == 20 and text[-1] == "Z" for text in texts):
        try:
            moments = np.array([text[:-1] for text in texts if text], dtype="datetime64[s]")
        except ValueError:
            pass
        else:
            return moments.astype(np.float64)
    return np.array([math.nan if text is None else seconds_of(text) for text in texts])


def _number(text: str | None) -> float:
    """Finite number or nan; decimal commas are read, since some exporters write them."""
    try:
        value = float(text or "nan")
    except ValueError:
        try:
            value = float((text or "").replace(",", "."))
        except ValueError:
            return math.nan
    return value if math.isfinite(value) else math.nan


def seconds_of(text: str) -> float:
    """Seconds since 1970 of an xsd:dateTime; UTC where it names no zone, as GPX demands."""
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        return math.nan
    try:
        return (when if when.tzinfo else when.replace(tzinfo=UTC)).timestamp()
    except (OverflowError, ValueError):
        return math.nan


def course_gpx(course: Course) -> str:
    """GPX 1.1 of a course: its line as one track, its marks as waypoints.

    Parameters
    ----------
    course : as `read_course` gives it

    Returns
    -------
    XML
    """
    from gpxpy import gpx

    out = gpx.GPX()
    out.creator = "kitpace"
    out.name = _printable(course.name)
    for mark in course.marks:
        k = int(np.argmin(np.abs(course.distance - mark.distance)))
        out.waypoints.append(gpx.GPXWaypoint(
            round(float(course.latitude[k]), 6), round(float(course.longitude[k]), 6),
            elevation=round(float(course.elevation[k]), 1), name=_printable(mark.name)))
    out.tracks.append(gpx.GPXTrack(name=out.name))
    out.tracks[0].segments.append(gpx.GPXTrackSegment([
        gpx.GPXTrackPoint(round(float(a), 6), round(float(b), 6), elevation=round(float(h), 1))
        for a, b, h in zip(course.latitude, course.longitude, course.elevation, strict=True)]))
    return str(out.to_xml(version="1.1"))


def _printable(text: str) -> str:
    """Text without the control characters that XML cannot hold."""
    return "".join(c if c.isprintable() else " " for c in text)
