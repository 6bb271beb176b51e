"""Courses from what people have: FIT, tables, pieces of several kinds; none from indoors."""

from __future__ import annotations

import re

import numpy as np
import pytest

from optimizer.course import Cleaning
from optimizer.errors import InputError, InputErrors
from optimizer.scenario.scenario import read_scenario
from optimizer.scenario.starter import write_starter
from optimizer.scenario.track_file import kind_of, read_course, read_track
from tests.scenario.fit_maker import FIELDS, make_fit

# A road to the north and then the north-east, some metres between points (invented).
ALONG = np.arange(0.0, 6000.0, 15.0)
LATITUDE = 45.0 + ALONG / 111_132.0 * np.where(ALONG < 3000, 1.0, 0.9)
LONGITUDE = 7.0 + np.maximum(ALONG - 3000.0, 0.0) * 0.4 / 78_847.0
HEIGHT = 200.0 + 20.0 * np.sin(ALONG / 900.0)


def gpx(path, part=slice(None), kind=""):
    points = "".join(f'<trkpt lat="{a:.6f}" lon="{b:.6f}"><ele>{h:.1f}</ele></trkpt>'
                     for a, b, h in zip(LATITUDE[part], LONGITUDE[part], HEIGHT[part],
                                        strict=True))
    path.write_text(f"<gpx><trk><name>Road</name>{f'<type>{kind}</type>' if kind else ''}"
                    f"<trkseg>{points}</trkseg></trk></gpx>", encoding="utf-8")
    return path


def fit(path, part=slice(None)):
    path.write_bytes(make_fit([
        {"timestamp": 1.9e9 + k, "position_lat": a, "position_long": b, "altitude": h}
        for k, (a, b, h) in enumerate(zip(LATITUDE[part], LONGITUDE[part], HEIGHT[part],
                                          strict=True))],
        [name for name in FIELDS if name not in {"distance", "speed", "power"}]))
    return path


def table(path, part=slice(None), head="latitude_deg,longitude_deg,elevation_m"):
    rows = "".join(f"{a:.6f},{b:.6f},{h:.1f}\n" for a, b, h in zip(
        LATITUDE[part], LONGITUDE[part], HEIGHT[part], strict=True))
    path.write_text(f"{head}\n{rows}", encoding="utf-8")
    return path


@pytest.fixture
def road(tmp_path):
    return read_course(gpx(tmp_path / "road.gpx"))


@pytest.mark.parametrize("make", [fit, table])
def test_one_road_from_three_kinds_of_file(tmp_path, road, make):
    course = read_course(make(tmp_path / f"road.{'fit' if make is fit else 'csv'}"))
    assert course.length == pytest.approx(road.length, rel=1e-3)
    assert course.elevation[-1] == pytest.approx(road.elevation[-1], abs=0.5)


@pytest.mark.parametrize("head", ["Lat,Lon,Ele", "Latitude,Longitude,Altitude",
                                  "latitude,lng,height (m)", "LAT,LONG,alt"])
def test_headings_that_people_write(tmp_path, road, head):
    course = read_course(table(tmp_path / "road.csv", head=head))
    assert course.length == pytest.approx(road.length, rel=1e-3)


def test_pieces_of_several_kinds_follow_on_each_other(tmp_path, road):
    third = len(ALONG) // 3
    course = read_course([gpx(tmp_path / "a.gpx", slice(0, third)),
                          fit(tmp_path / "b.fit", slice(third, 2 * third)),
                          table(tmp_path / "c.csv", slice(2 * third, None))])
    assert course.length == pytest.approx(road.length, rel=2e-3)


@pytest.mark.parametrize(("make", "name", "kind"), [
    (fit, "course.gpx", "fit"), (gpx, "course.fit", "gpx"), (gpx, "course", "gpx"),
    (gpx, "course.csv", "gpx"), (table, "course.csv", "table")])
def test_a_file_is_what_it_holds_whatever_its_name(tmp_path, road, make, name, kind):
    path = make(tmp_path / name)
    assert kind_of(path) == kind
    assert read_course(path).length == pytest.approx(road.length, rel=1e-3)


@pytest.mark.parametrize("kind", ["VirtualRide", "virtual_activity", "Indoor cycling", "trainer"])
def test_what_was_ridden_indoors_is_refused(tmp_path, kind):
    with pytest.raises(InputError, match="not ridden on a road"):
        read_track(gpx(tmp_path / "ride.gpx", kind=kind))


def test_a_ride_without_positions_is_refused(tmp_path):
    path = tmp_path / "ride.fit"
    path.write_bytes(make_fit([{"timestamp": 1.9e9 + k, "power": 200} for k in range(40)]))
    with pytest.raises(InputError, match="has no positions"):
        read_track(path)
    (tmp_path / "ride.csv").write_text("elapsed_s,power_w,distance_m\n0,200,0\n1,200,10\n")
    with pytest.raises(InputError, match="a course needs positions"):
        read_track(tmp_path / "ride.csv")


def test_mistakes_of_a_table_are_told_at_once(tmp_path):
    (tmp_path / "road.csv").write_text("lat,lon,ele\n45,7,200\n95,7,200\n45.1,x,200\n,,\n")
    with pytest.raises(InputErrors, match="2 mistakes") as caught:
        read_track(tmp_path / "road.csv")
    assert [error.where for error in caught.value.found] == [
        "row 3, column latitude_deg", "row 4, column longitude_deg"]


@pytest.mark.parametrize("data", [b"PK\x03\x04rest", b"\x1f\x8brest"])
def test_an_archive_is_to_be_unpacked(tmp_path, data):
    (tmp_path / "course.gpx").write_bytes(data)
    with pytest.raises(InputError, match="is a packed archive"):
        read_track(tmp_path / "course.gpx")


# --- a scenario names the file, the line and the key ---------------------------------------


def scenario(tmp_path, old, new):
    path = write_starter(tmp_path / "race")
    text = path.read_text(encoding="utf-8")
    line = next(line for line in text.split("\n") if line.startswith(old))
    path.write_text(text.replace(f"{line}\n", new, 1), encoding="utf-8")
    return path


@pytest.mark.parametrize(("line", "key", "says"), [
    ("to_km = 900", "to_km", "cannot be cut"), ("from_km = 900", "from_km", "cannot be cut"),
    ("from_km = 5\nto_km = 3", "to_km", "cannot be cut"), ("piece = 9", "piece", "pieces, not 9"),
    ("gpx = []", "gpx", "is empty"), ("gpx = 5", "gpx", "text in quotation marks or a list"),
    ("laps = 100", "laps", "lap")])
def test_what_is_wrong_with_a_cut_names_its_line(tmp_path, line, key, says):
    new = f"{line}\n" if line.startswith("gpx") else f'gpx = "course.gpx"\n{line}\n'
    path = scenario(tmp_path, 'gpx = "course.gpx"', new)
    with pytest.raises(InputError) as caught:
        read_scenario(path)
    number = 1 + path.read_text(encoding="utf-8").split("\n").index(line.split("\n")[-1])
    assert f"{path}, line {number}, course.{key}: " in str(caught.value)
    assert says in str(caught.value)
    assert caught.value.exit_code == 2


def test_heights_outside_of_the_air_that_is_known_name_the_course(tmp_path):
    path = write_starter(tmp_path / "race")
    track = path.with_name("course.gpx")
    track.write_text(re.sub(r"<ele>([\d.]+)", lambda found: f"<ele>{7000 + float(found[1])}",
                            track.read_text(encoding="utf-8")), encoding="utf-8")
    with pytest.raises(InputError, match=r"line \d+, course\.gpx: the course starts at 7\d+ m"):
        read_scenario(path)


def test_all_that_is_wrong_with_a_scenario_is_told_at_once(tmp_path):
    path = scenario(tmp_path, 'gpx = "course.gpx"', 'gpx = 5\nlapps = 2\nreverse = "yes"\n')
    with pytest.raises(InputErrors, match="3 mistakes") as caught:
        read_scenario(path)
    keys = [error.where.rpartition(", ")[2] for error in caught.value.found]
    assert keys == ["course.gpx", "course.lapps", "course.reverse"]
    assert 'did you mean "laps"' in str(caught.value)


def test_course_of_an_activity_has_what_cleaning_asks(tmp_path):
    points = read_track(fit(tmp_path / "ride.fit"))
    assert np.isfinite(points.time).all()
    assert len(points) == len(ALONG)
    assert read_course(tmp_path / "ride.fit", cleaning=Cleaning()).name == "ride"
