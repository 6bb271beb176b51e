"""Nasty tracks: each is read rightly or refused with a reason; none hangs or grows."""

from __future__ import annotations

import contextlib
import math
import time
from xml.parsers import expat

import numpy as np
import pytest

from optimizer.course import Cleaning, Shape, gpx, read_course
from optimizer.errors import InputError
from optimizer.scenario import ride_file
from tests.hardening.corpus import road, track

GOOD = road(2000)
BILLION = "".join(f'<!ENTITY a{k + 1} "{f"&a{k};" * 10}">' for k in range(9))
BODY = track(GOOD, head="")

REFUSED = {
    "empty": b"",
    "blank": b"  \n\n",
    "nul": b"\0" * 1000,
    "not XML": b"lat,lon\n1,2\n",
    "a picture": b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8,
    "HTML": b"<html><body>Sign in first</body></html>",
    "JSON": b'{"type": "FeatureCollection"}',
    "cut short": BODY[:700].encode(),
    "growth bomb": (f'<!DOCTYPE gpx [<!ENTITY a0 "ha">{BILLION}]>'
                    + BODY.replace("Made up", "&a9;")).encode(),
    "quadratic growth": ('<!DOCTYPE gpx [<!ENTITY a "' + "x" * 50_000 + '">]>'
                         + BODY.replace("Made up", "&a;" * 50_000)).encode(),
    "reads a file": (b'<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/hostname">]>'
                     + BODY.replace("Made up", "&x;").encode()),
    "asks the network": (b'<!DOCTYPE gpx SYSTEM "http://127.0.0.1:9/x.dtd">' + BODY.encode()),
    "parameter entity": (b'<!DOCTYPE gpx [<!ENTITY % p SYSTEM "http://127.0.0.1:9/"> %p;]>'
                         + BODY.encode()),
    "nested deep": BODY.replace("<trk>", "<a>" * 1000 + "</a>" * 1000 + "<trk>", 1).encode(),
    "nested without end": b"<gpx>" + b"<a>" * 100_000,
    "endless name": BODY.replace("Made up", "x" * 5_000_000).encode(),
    "a point in a point": BODY.replace("<ele>", "<trkpt lat='1' lon='2'/><ele>", 1).encode(),
    "nested points": b"<gpx><trk><trkseg>" + b'<trkpt lat="1" lon="2">' * 16_000,
    "waypoints without end": BODY.replace(
        "<trk>", '<wpt lat="1" lon="2"/>' * 10_001 + "<trk>").encode(),
    "unknown entity": BODY.replace("Made up", "&nbsp;").encode(),
    "unknown encoding": ('<?xml version="1.0" encoding="klingon"?>' + BODY).encode(),
    "latin-1 called UTF-8": BODY.replace("Made up", "Col de la Möve").encode("latin-1"),
    "control character": BODY.replace("Made up", "\x07").encode(),
    "no point": track([]).encode(),
    "one point": track(GOOD[:1]).encode(),
    "the same point": track(GOOD[:1] * 50).encode(),
    "waypoints only": BODY.replace("trkpt", "wpt").encode(),
    "10 m": track(road(10, step=2.0)).encode(),
    "half the world": track([(0.0, 0.0, 1), (1.0, 170.0, 1)]).encode(),
    "nan": track([*GOOD[:5], ("nan", "nan", "1"), *GOOD[5:]]).encode(),
    "inf": track([*GOOD[:5], ("inf", "0", "1"), *GOOD[5:]]).encode(),
    "lat of 91": track([("91", "0", "1"), *GOOD]).encode(),
    "no lat": BODY.replace("lat=", "latitude=").encode(),
    "empty lat": track([("", "", "1"), *GOOD]).encode(),
    "swapped beyond the pole": track([(lon, lat, ele) for lat, lon, ele in
                                      road(2000, west=150.0)]).encode(),
}


@pytest.mark.parametrize("name", REFUSED)
def test_is_refused_at_once_with_a_reason(tmp_path, name):
    file = tmp_path / "course.gpx"
    file.write_bytes(REFUSED[name])
    begun = time.perf_counter()
    with pytest.raises(InputError) as error:
        read_course(file)
    assert time.perf_counter() - begun < 10
    assert error.value.problem
    assert error.value.remedy
    assert len(str(error.value)) < 1000


HUGE = "x" * 3 * 2**20
PIECES = {
    "comment": f"<!--{HUGE}-->", "instruction": f"<?a {HUGE}?>", "attribute": f'<a b="{HUGE}"/>',
    "name": f"<{HUGE}/>", "blanks in a tag": f"<a {' ' * len(HUGE)}/>",
    "comment without end": f"<!--{HUGE}"}


class _Pieces:
    """A file that counts the bytes which the parser still has to look at, at each reading."""

    def __init__(self, content, reader):
        self.left, self.reader, self.looked_at, self.given = content, reader, 0, 0

    def read(self, size):
        chunk, self.left = self.left[:size], self.left[size:]
        self.given += len(chunk)
        self.looked_at += self.given - max(self.reader.parser.CurrentByteIndex, 0)
        return chunk


@pytest.mark.parametrize("place", ["before", "inside", "after"])
@pytest.mark.parametrize("what", PIECES)
def test_an_endless_piece_is_refused_with_its_line_and_read_only_so_far(tmp_path, what, place):
    at = {"before": 0, "inside": BODY.index("<trk>"), "after": len(BODY)}[place]
    content = BODY[:at] + "\n" + PIECES[what] + BODY[at:]
    file = tmp_path / "course.gpx"
    file.write_text(content)
    line = content[:at + 1].count("\n") + 1
    with pytest.raises(InputError, match=f"line {line}: .*(than 1 MB|junk after)"):
        gpx.read_gpx(file)
    reader = gpx._Reader("x")
    pieces = _Pieces(content.encode(), reader)
    with pytest.raises((InputError, expat.ExpatError)):
        reader.read(pieces)
    assert pieces.given < 2**20 + len(BODY) + 3 * 2**16


def test_long_pieces_are_read_in_work_that_grows_as_the_file():
    def work(count):
        comments = f"<!--{'x' * 300_000}-->" * count
        reader = gpx._Reader("x")
        pieces = _Pieces(BODY.replace("<trk>", comments + "<trk>").encode(), reader)
        reader.read(pieces)
        return pieces.looked_at / pieces.given

    # Each byte a few times, however many there are: not once for each part of the file.
    assert work(12) < 1.5 * work(3) < 12


def test_characters_without_end_outside_of_names_are_skipped(tmp_path):
    file = tmp_path / "course.gpx"
    file.write_text(BODY.replace("<trk>", f"<extensions><a>{HUGE}</a><b><![CDATA[{HUGE}]]></b>"
                                 "</extensions><trk>"))
    assert len(gpx.read_gpx(file)) == len(GOOD)


def test_a_ride_whose_points_hold_each_other_is_refused(tmp_path):
    point = '<trkpt lat="1" lon="2"><time>2031-06-15T09:00:00Z</time>'
    file = tmp_path / "ride.gpx"
    file.write_text(f"<gpx><trk><trkseg>{point * 40}{'</trkpt>' * 40}</trkseg></trk></gpx>")
    with pytest.raises(InputError, match="line 1: has a trkpt inside a trkpt"):
        ride_file.read_ride(file)


def sound(course):
    """Check that nothing in a course is not a number or runs backwards."""
    assert np.all(np.diff(course.distance) > 0)
    for name in ("latitude", "longitude", "elevation", "heading", "rolling_factor", "roughness",
                 "shelter"):
        assert np.isfinite(getattr(course, name)).all(), name
    assert not np.isnan(course.speed_limit).any()
    assert (course.speed_limit > 0).all()
    assert np.abs(course.latitude).max() <= 90
    assert np.abs(course.longitude).max() <= 180
    return course


def read(tmp_path, content, **how):
    file = tmp_path / "course.gpx"
    file.write_bytes(content if isinstance(content, bytes) else content.encode())
    return sound(read_course(file, **how))


PLAIN = road(2000)


@pytest.mark.parametrize("content", [
    "\ufeff" + track(PLAIN),
    track(PLAIN).replace("\n", "\r\n"),
    track(PLAIN).encode("utf-8"),
    track(PLAIN, head='<?xml version="1.0" encoding="UTF-16"?>').encode("utf-16"),
    track(PLAIN, head='<?xml version="1.0" encoding="ISO-8859-1"?>').replace(
        "Made up", "Möve").encode("latin-1"),
    track([[str(x).replace(".", ",") for x in p] for p in PLAIN]),
    track(PLAIN).replace("trk>", "rte>").replace("trkpt", "rtept").replace("<trkseg>", "").replace(
        "</trkseg>", ""),
    track(PLAIN).replace("http://www.topografix.com/GPX/1/1", "http://www.topografix.com/GPX/1/0"),
    track([p for p in PLAIN for _ in range(3)]),
    track(PLAIN).replace("</trk>", f"<extensions>{'<a>' * 20}{'</a>' * 20}</extensions></trk>"),
], ids=["BOM", "CRLF", "UTF-8", "UTF-16", "Latin-1", "decimal commas", "route", "GPX 1.0",
        "each point thrice", "extensions"])
def test_other_ways_to_write_the_same_road(tmp_path, content):
    course = read(tmp_path, content)
    assert course.length == pytest.approx(read(tmp_path, track(PLAIN)).length, rel=2e-3)


@pytest.mark.parametrize("bearing", [80.0, -80.0])
def test_across_the_antimeridian(tmp_path, bearing):
    there = read(tmp_path, track(road(3000, west=math.copysign(179.99, bearing), bearing=bearing)))
    elsewhere = read(tmp_path, track(road(3000, west=10.0, bearing=bearing)))
    assert there.length == pytest.approx(elsewhere.length, rel=1e-6)
    assert np.ptp(there.longitude) > 300
    assert np.allclose(there.heading, elsewhere.heading, atol=1e-3)


@pytest.mark.parametrize("south", [89.9, -89.9])
def test_beside_a_pole(tmp_path, south):
    ring = [(south, -180.0 + 2.0 * k, 100.0) for k in range(179)]
    course = read(tmp_path, track(ring))
    # A circle of latitude 0.1 degrees from the pole: its radius times nearly a full turn.
    radius = 6_399_594 * math.radians(0.1)  # polar radius of curvature of WGS84
    assert course.length == pytest.approx(radius * math.radians(356), rel=0.01)


def test_over_the_pole(tmp_path):
    over = [(89.99 + 0.001 * k, 20.0, 5.0) for k in range(10)]
    over += [(90.0 - 0.001 * k, -160.0, 5.0) for k in range(11)]
    course = read(tmp_path, track(over))
    # 111,694 m per degree there; the one step across the pole itself is drawn round it.
    assert course.length == pytest.approx(2 * 0.01 * 111_694, rel=0.06)


def test_a_closed_loop_and_laps_of_it(tmp_path):
    ring = [(-41.0 + 0.01 * math.sin(a), -30.0 + 0.0132 * math.cos(a), 50 + 5 * math.sin(a))
            for a in np.linspace(0, 2 * np.pi, 400)]
    one = read(tmp_path, track(ring))
    five = read(tmp_path, track(ring), shape=Shape(laps=5))
    assert five.length == pytest.approx(5 * one.length, rel=2e-3)
    assert abs(five.elevation[-1] - five.elevation[0]) < 1.0


def test_a_figure_of_eight_and_an_out_and_back(tmp_path):
    eight = [(-41 + 0.005 * math.sin(2 * a), -30 + 0.01 * math.sin(a), 10.0)
             for a in np.linspace(0, 2 * np.pi, 300)]
    assert read(tmp_path, track(eight)).length > 4000
    there = road(2000)
    back = read(tmp_path, track(there + there[::-1]))
    assert back.length == pytest.approx(4000, rel=0.08)
    assert any(corner.u_turn for corner in back.corners)


def test_a_tunnel_without_fixes_and_a_drop_of_the_signal_to_zero(tmp_path):
    tunnel = [p for k, p in enumerate(road(6000, step=10.0)) if not 200 <= k < 320]
    assert read(tmp_path, track(tunnel)).length == pytest.approx(
        read(tmp_path, track(road(6000, step=10.0))).length, rel=0.02)
    lost = road(6000, step=10.0)
    lost[300:303] = [("0.0", "0.0", "0")] * 3
    found = read(tmp_path, track(lost))
    assert found.length < 8000
    assert found.corrections


def test_a_bridge_that_the_terrain_model_does_not_know(tmp_path):
    points = road(6000, step=20.0, rise=lambda s: 100.0 if not 3000 < s < 3080 else 40.0)
    course = read(tmp_path, track(points))
    assert np.abs(course.grade).max() < 0.3


@pytest.mark.parametrize("heights", [
    lambda _k: "-32768", lambda _k: "0", lambda k: "nan" if k % 2 else "100",
    lambda k: "1e308" if k == 20 else "100", lambda k: "" if k % 3 else "100",
    lambda k: "8849" if k % 2 else "0"],
    ids=["no data", "zero", "half nan", "huge", "mostly missing", "alternating"])
def test_nonsense_heights_are_mended_or_refused(tmp_path, heights):
    points = [(lat, lon, heights(k)) for k, (lat, lon, _) in enumerate(road(4000))]
    with contextlib.suppress(InputError):
        course = read(tmp_path, track(points))
        assert np.abs(course.elevation).max() < 9000


def test_a_track_without_heights_asks_first(tmp_path):
    bare = track([p[:2] for p in road(4000)])
    with pytest.raises(InputError, match="flat"):
        read(tmp_path, bare)
    course = read(tmp_path, bare, cleaning=Cleaning(flat=True))
    assert np.ptp(course.elevation) == 0


def test_1000_km(tmp_path):
    begun = time.perf_counter()
    course = read(tmp_path, track(road(1_000_000, step=250.0, south=-20.0, bearing=90.0)))
    assert course.length == pytest.approx(1e6, rel=0.05)
    assert time.perf_counter() - begun < 60


def test_points_in_wild_order_and_at_one_place_for_long(tmp_path):
    points = road(3000)
    stopped = points[:30] + points[30:31] * 500 + points[30:]
    assert read(tmp_path, track(stopped)).length == pytest.approx(
        read(tmp_path, track(points)).length, rel=0.01)
