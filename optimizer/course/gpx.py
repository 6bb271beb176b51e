"""GPX in and out: a streaming reader that is safe against hostile files, and a writer."""

from __future__ import annotations

import math
import os
import xml.sax
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from optimizer.errors import InputError

if TYPE_CHECKING:
    from xml.sax.xmlreader import AttributesNSImpl

    from numpy.typing import NDArray

__all__ = ["Points", "read_gpx"]

LARGEST_FILE = 256 * 2**20  # bytes; a million points take about 120 MB
MOST_POINTS = 2_000_000
DEEPEST = 32  # GPX needs five levels, extensions a few more
LONGEST_TEXT = 4096  # characters of a name or number


@dataclass(frozen=True)
class Points:
    """What a GPX file says, in its own order.

    Attributes
    ----------
    name : of the track or route
    latitude, longitude : (p,) degrees, WGS84
    elevation : (p,) metres, nan where missing
    time : (p,) seconds since 1970 UTC, nan where missing
    segment : (p,) number of the track segment, from 0
    places : name, latitude and longitude of each waypoint
    """

    name: str
    latitude: NDArray[np.float64]
    longitude: NDArray[np.float64]
    elevation: NDArray[np.float64]
    time: NDArray[np.float64]
    segment: NDArray[np.int64]
    places: tuple[tuple[str, float, float], ...] = ()

    def __len__(self) -> int:
        return len(self.latitude)


def read_gpx(path: Path | str) -> Points:
    """Tracks of a GPX 1.0 or 1.1 file, or its routes where it has no track.

    The file is streamed; document types and entities are refused, as are files of
    absurd size or depth. Raises InputError for anything that is no usable GPX.
    """
    from defusedxml.common import DefusedXmlException
    from defusedxml.expatreader import create_parser

    file = str(path)
    _check_size(Path(path))
    reader = _Reader(file)
    parser = create_parser(forbid_dtd=True)
    parser.setFeature(xml.sax.handler.feature_namespaces, True)
    parser.setContentHandler(reader)
    try:
        with Path(path).open("rb") as stream:
            parser.parse(stream)
    except DefusedXmlException as error:
        raise InputError(file, "", "holds a document type or entities, which GPX never needs",
                         "export the course again from where it was drawn") from error
    except xml.sax.SAXParseException as error:
        raise InputError(file, f"line {error.getLineNumber()}",
                         f"is not well-formed XML ({error.getMessage()})",
                         "export it again; a download may have been cut short") from error
    except (UnicodeError, ValueError, LookupError) as error:
        raise InputError(file, "", "its text encoding cannot be read",
                         "save it as UTF-8") from error
    return reader.points()


def _check_size(path: Path) -> None:
    try:
        size = os.stat(path).st_size  # noqa: PTH116 - Path.stat is patched by nobody, speed is nil
        with path.open("rb"):
            pass
    except IsADirectoryError as error:
        raise InputError(str(path), "", "is a folder", "name the GPX file in it") from error
    except (OSError, ValueError) as error:
        raise InputError(str(path), "", "cannot be read: "
                         f"{getattr(error, 'strerror', None) or error}",
                         "check the name and the permissions") from error
    if size > LARGEST_FILE:
        raise InputError(str(path), "", f"is {size / 2**20:.0f} MB large, more than the "
                         f"{LARGEST_FILE // 2**20} MB that a course can need",
                         "cut the course out of it")


class _Reader(xml.sax.ContentHandler):
    """Collects points while the parser runs; knows tags by their local name."""

    def __init__(self, file: str) -> None:
        super().__init__()
        self.file = file
        self.path: list[str] = []
        self.text: list[str] | None = None
        self.length = 0
        self.name = self.root = ""
        self.segment = {"trkpt": -1, "rtept": -1}
        self.found: dict[str, list[tuple[float, float, float, float, int]]] = {
            "trkpt": [], "rtept": []}
        self.places: list[tuple[str, float, float]] = []
        self.point: dict[str, str] | None = None
        self.position = (0.0, 0.0)
        self.line: xml.sax.xmlreader.Locator | None = None

    def setDocumentLocator(self, locator: xml.sax.xmlreader.Locator) -> None:  # noqa: N802
        self.line = locator

    def startElementNS(self, name: tuple[str | None, str], qname: str | None,  # noqa: N802
                       attrs: AttributesNSImpl) -> None:
        del qname
        tag = name[1]
        if not self.path:
            self.root = tag
            if tag != "gpx":
                raise self._refuse(f"is not GPX: the file begins with <{tag[:40]}>",
                                   "name a GPX file")
        self.path.append(tag)
        depth = len(self.path)
        if depth > DEEPEST:
            raise self._refuse("nests elements too deep", "export the course again")
        if tag in ("trkpt", "rtept", "wpt") and self.point is None:
            self._open_point(tag, attrs)
        elif (tag == "trkseg" and depth == 3) or (tag == "rte" and depth == 2):
            self.segment["trkpt" if tag == "trkseg" else "rtept"] += 1
        elif self.point is not None:
            if tag in ("ele", "time", "name") and self.path[-2] in ("trkpt", "rtept", "wpt"):
                self.text, self.length = [], 0
        elif tag == "name" and not self.name and self.path[-2] in ("trk", "rte", "metadata", "gpx"):
            self.text, self.length = [], 0

    def characters(self, content: str) -> None:
        if self.text is not None:
            self.length += len(content)
            if self.length > LONGEST_TEXT:
                raise self._refuse("holds an endless name or number", "export the course again")
            self.text.append(content)

    def endElementNS(self, name: tuple[str | None, str], qname: str | None) -> None:  # noqa: N802
        del qname
        self.path.pop()
        tag = name[1]
        if self.text is not None:
            text = "".join(self.text).strip()
            self.text = None
            if self.point is not None:
                self.point[tag] = text
            else:
                self.name = text
        elif tag in ("trkpt", "rtept", "wpt") and self.point is not None:
            self._close_point(tag)

    def _open_point(self, tag: str, attrs: AttributesNSImpl) -> None:
        self.point = {}
        values = []
        for key, least, most in (("lat", -90.0, 90.0), ("lon", -180.0, 180.0)):
            raw = attrs.get((None, key))
            value = _number(raw)
            if not least <= value <= most:
                place = f"{tag} number {len(self.found.get(tag, self.places)) + 1}"
                raise self._refuse(
                    f"{place} has no {key}" if raw is None else
                    f"{place} has {key} {str(raw)[:20]!r}, which is outside {least:.0f} to "
                    f"{most:.0f}", "latitude comes first, both in degrees")
            values.append(value)
        self.position = (values[0], values[1])

    def _close_point(self, tag: str) -> None:
        point, self.point = self.point or {}, None
        if tag == "wpt":
            self.places.append((point.get("name", ""), *self.position))
            return
        height = _number(point["ele"]) if "ele" in point else math.nan
        when = _seconds(point["time"]) if "time" in point else math.nan
        points = self.found[tag]
        points.append((*self.position, height, when, self.segment[tag]))
        if len(points) > MOST_POINTS:
            raise self._refuse(f"has more than {MOST_POINTS:,} points", "cut the course out of it")

    def _refuse(self, problem: str, remedy: str) -> InputError:
        where = f"line {self.line.getLineNumber()}" if self.line is not None else ""
        return InputError(self.file, where, problem, remedy)

    def points(self) -> Points:
        rows = self.found["trkpt"] or self.found["rtept"]
        if len(rows) < 2:
            raise InputError(self.file, "", f"has {('no point', 'one point')[len(rows)]} of a "
                             "track or route; a course needs at least two",
                             "export it as a track (trk) rather than as single waypoints")
        table = np.array(rows, dtype=float)
        return Points(self.name or Path(self.file).stem, table[:, 0], table[:, 1], table[:, 2],
                      table[:, 3], table[:, 4].astype(np.int64), tuple(self.places))


def _number(text: str | None) -> float:
    """Finite number or nan; decimal commas are read, since some exporters write them."""
    try:
        value = float((text or "").replace(",", "."))
    except ValueError:
        return math.nan
    return value if math.isfinite(value) else math.nan


def _seconds(text: str) -> float:
    """Seconds since 1970 of an xsd:dateTime; UTC where it names no zone, as GPX demands."""
    from datetime import UTC, datetime

    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        return math.nan
    try:
        return (when if when.tzinfo else when.replace(tzinfo=UTC)).timestamp()
    except (OverflowError, ValueError):
        return math.nan
