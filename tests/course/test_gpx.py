from __future__ import annotations

import numpy as np
import pytest

from optimizer.course import read_course
from optimizer.course.gpx import course_gpx, read_gpx
from optimizer.errors import InputError
from tests.course.drawn import straight, write_road

POINTS = '<trkpt lat="46" lon="7"><ele>100</ele></trkpt><trkpt lat="46.01" lon="7"/>'
TRACK = f"<trk><name> A road </name><trkseg>{POINTS}</trkseg></trk>"


def written(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "file.gpx"
    path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    return path


def refused(path) -> InputError:
    with pytest.raises(InputError) as caught:
        read_gpx(path)
    assert str(path) in str(caught.value)
    return caught.value


@pytest.mark.parametrize("root", [
    '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">{}</gpx>',
    '<gpx version="1.0" creator="t" xmlns="http://www.topografix.com/GPX/1/0">{}</gpx>',
    '<gpx version="1.1">{}</gpx>'])
def test_reads_tracks_of_either_version_and_without_namespace(tmp_path, root):
    points = read_gpx(written(tmp_path, root.format(TRACK)))
    assert points.name == "A road"
    assert points.latitude.tolist() == [46.0, 46.01]
    assert points.elevation[0] == 100.0
    assert np.isnan(points.elevation[1])
    assert np.isnan(points.time).all()


def test_reads_a_prefixed_namespace(tmp_path):
    text = TRACK.replace("<", "<g:").replace("<g:/", "</g:")
    points = read_gpx(written(tmp_path, '<g:gpx xmlns:g="http://www.topografix.com/GPX/1/1">'
                              f"{text}</g:gpx>"))
    assert len(points) == 2


def test_a_route_serves_where_there_is_no_track(tmp_path):
    route = "<rte><name>R</name>" + POINTS.replace("trkpt", "rtept") + "</rte>"
    assert len(read_gpx(written(tmp_path, f"<gpx>{route}</gpx>"))) == 2
    both = read_gpx(written(tmp_path, f"<gpx>{route}<trk><trkseg>{POINTS}"
                            '<trkpt lat="46.02" lon="7"/></trkseg></trk></gpx>'))
    assert len(both) == 3


def test_segments_waypoints_and_times(tmp_path):
    text = ('<gpx><wpt lat="46.1" lon="7.2"><ele>5</ele><name>Top &amp; tail</name></wpt><trk>'
            '<trkseg><trkpt lat="46" lon="7"><time>2030-06-16T09:00:00Z</time>'
            "<extensions><x><name>no mark</name><ele>9</ele></x></extensions></trkpt></trkseg>"
            '<trkseg/><trkseg><trkpt lat="46.01" lon="7">'
            "<time>2030-06-16T09:00:01.5Z</time></trkpt></trkseg></trk></gpx>")
    points = read_gpx(written(tmp_path, text))
    assert points.segment.tolist() == [0, 2]
    assert points.places == (("Top & tail", 46.1, 7.2),)
    assert np.diff(points.time).tolist() == [1.5]
    assert np.isnan(points.elevation).all()
    assert points.name == "file"


@pytest.mark.parametrize(("encoding", "declared"), [
    ("utf-16", "UTF-16"), ("utf-8-sig", "UTF-8"), ("latin-1", "ISO-8859-1")])
def test_encodings(tmp_path, encoding, declared):
    text = f'<?xml version="1.0" encoding="{declared}"?><gpx>{TRACK.replace("A", "Ä")}</gpx>'
    assert read_gpx(written(tmp_path, text, encoding)).name == "Ä road"


def test_decimal_commas_and_broken_heights_and_times(tmp_path):
    text = ('<gpx><trk><trkseg><trkpt lat="46,5" lon="7"><ele>100,5</ele></trkpt>'
            '<trkpt lat="46.6" lon="7"><ele>high</ele><time>noon</time></trkpt>'
            '<trkpt lat="46.7" lon="7"><ele>inf</ele></trkpt></trkseg></trk></gpx>')
    points = read_gpx(written(tmp_path, text))
    assert points.latitude[0] == 46.5
    assert points.elevation[0] == 100.5
    assert np.isnan(points.elevation[1:]).all()


HOSTILE = {
    "growing entities": '<!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
                        "<gpx><trk><name>&b;</name></trk></gpx>",
    "an outside entity": '<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/passwd">]>'
                         "<gpx><trk><name>&x;</name></trk></gpx>",
    "an outside document type": '<!DOCTYPE gpx SYSTEM "http://localhost/x.dtd"><gpx/>',
    "depth": "<gpx>" + "<a>" * 5000 + "</a>" * 5000 + "</gpx>",
    "an endless name": f"<gpx><trk><name>{'x' * 100_000}</name></trk></gpx>",
    "an unknown entity": "<gpx><trk><name>&nbsp;</name></trk></gpx>",
    "a cut file": f"<gpx>{TRACK}",
    "another format": "<html><body/></html>",
    "no XML": "latitude,longitude\n46,7\n",
    "nothing": "",
    "a wrong encoding": b'<?xml version="1.0" encoding="UTF-8"?><gpx><trk><name>\xff\xfe</name>'
                        b"</trk></gpx>",
    "an unheard-of encoding": '<?xml version="1.0" encoding="klingon"?><gpx/>',
    "binary": bytes(range(256)),
}


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_hostile_and_broken_files_are_refused(tmp_path, text):
    error = refused(written(tmp_path, text))
    assert error.remedy
    assert "Traceback" not in str(error)


@pytest.mark.parametrize(("lat", "lon", "word"), [
    ("91", "7", "lat"), ("46", "181", "lon"), ("nan", "7", "lat"), ("46", "inf", "lon"),
    ("", "7", "lat"), ("north", "7", "lat")])
def test_places_off_the_earth_are_refused_with_their_line(tmp_path, lat, lon, word):
    text = f'<gpx><trk><trkseg>\n{POINTS}\n<trkpt lat="{lat}" lon="{lon}"/></trkseg></trk></gpx>'
    error = refused(written(tmp_path, text))
    assert error.where == "line 3"
    assert word in error.problem
    assert "number 3" in error.problem


def test_a_point_without_position_is_refused(tmp_path):
    assert "no lon" in refused(written(
        tmp_path, '<gpx><trk><trkseg><trkpt lat="1"/></trkseg></trk></gpx>')).problem


@pytest.mark.parametrize("inside", ["", POINTS[:46], '<wpt lat="46" lon="7"/>'])
def test_less_than_two_points_are_refused(tmp_path, inside):
    track = f"<trk><trkseg>{inside}</trkseg></trk>" if "trkpt" in inside else inside
    assert "at least two" in refused(written(tmp_path, f"<gpx>{track}</gpx>")).problem


def test_limits_of_size_and_count(tmp_path, monkeypatch):
    path = written(tmp_path, f"<gpx>{TRACK}</gpx>")
    monkeypatch.setattr("optimizer.course.gpx.MOST_POINTS", 1)
    assert "more than 1 points" in refused(path).problem
    monkeypatch.setattr("optimizer.course.gpx.LARGEST_FILE", 10)
    assert "MB" in refused(path).problem


def test_missing_files_and_folders_are_refused(tmp_path):
    assert "no such file" in refused(tmp_path / "none.gpx").problem
    assert "folder" in refused(tmp_path).problem
    with pytest.raises(InputError):
        read_gpx("a\0b.gpx")


def test_a_written_course_reads_back_as_itself(tmp_path):
    east, north = straight(3000.0)
    path = write_road(tmp_path / "a.gpx", east, north, 100 + 0.02 * np.hypot(east, north),
                      name="A &lt;b&gt; &amp; c", places=[("Half", 46.0103, 7.0125)])
    course = read_course(path)
    again_path = tmp_path / "b.gpx"
    again_path.write_text(course_gpx(course), encoding="utf-8")
    again = read_course(again_path)
    assert again.name == "A <b> & c"
    assert again.length == pytest.approx(course.length, abs=1.0)
    assert [mark.name for mark in again.marks] == [mark.name for mark in course.marks]
    assert np.interp(np.arange(0, 2900, 100.0), again.distance, again.elevation) == pytest.approx(
        np.interp(np.arange(0, 2900, 100.0), course.distance, course.elevation), abs=0.1)
