"""The command course: sentences, tables, page, GPX, refusals."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from optimizer.cli import group
from optimizer.course import read_course
from optimizer.errors import InputError
from tests.course.drawn import straight, write_road

COURSES = Path(__file__).parents[2] / "courses"


def _run(*args):
    return CliRunner().invoke(group, ["course", *map(str, args)], catch_exceptions=False)


@pytest.mark.parametrize("name", ["tarn-loop", "petrel-flats", "quern-pass"])
def test_the_demo_courses(tmp_path, name):
    page = tmp_path / "c.html"
    result = _run(COURSES / name / "course.gpx", "--out", page)
    assert result.exit_code == 0
    for words in ("of ascent", "Steepest", "--keep NAME", "ride what you see"):
        assert words in result.output
    assert max(map(len, result.output.splitlines()[:-1])) <= 80
    html = page.read_text(encoding="utf-8")
    for heading in ("How steep, where?", "Corners and limits", "What was corrected"):
        assert heading in html
    assert "Air and wind" not in html


def test_the_invented_hairpins_are_found():
    """Quern Pass was drawn with hairpins of 16, 14, 15, 14 m up and 9 to 14 m down."""
    course = read_course(COURSES / "quern-pass" / "course.gpx")
    hairpins = [c for c in course.corners if abs(c.turn) > 2.4]
    drawn = [16, 14, 15, 14, 11, 10, 12, 9, 10, 14]
    assert len(hairpins) == len(drawn)
    for corner, radius in zip(hairpins, drawn, strict=True):
        assert corner.radius == pytest.approx(radius, rel=0.2)
    assert not any(corner.u_turn for corner in course.corners)


def test_the_invented_dead_turns_are_found():
    course = read_course(COURSES / "petrel-flats" / "course.gpx")
    dead = [corner.distance for corner in course.corners if corner.u_turn]
    assert dead == pytest.approx([10_000, 20_000, 30_000], abs=40)


def test_same_input_same_bytes(tmp_path):
    pages = [tmp_path / "a.html", tmp_path / "b.html"]
    for page in pages:
        _run(COURSES / "quern-pass" / "course.gpx", "--out", page)
    assert pages[0].read_bytes() == pages[1].read_bytes()


def test_the_page_stands_beside_the_file(tmp_path):
    shutil.copy(COURSES / "quern-pass" / "course.gpx", tmp_path / "q.gpx")
    assert _run(tmp_path / "q.gpx").exit_code == 0
    assert (tmp_path / "q-course.html").exists()


def test_shape_features_and_gpx(tmp_path):
    east, north = straight(5000.0)
    road = write_road(tmp_path / "a.gpx", east, north, 100 + 0.02 * north)
    table = tmp_path / "roads.csv"
    table.write_text("what,from_km,to_km,value,name\ncorner,1,,18,Gate\nmark,0.5,,,Half\n")
    result = _run(road, "--from-km", 1, "--to-km", "3", "--reverse", "--features", table, "--gpx",
                  tmp_path / "out.gpx", "--descent-cap-kmh", 60)
    assert "2.00 km" in result.output
    assert "Gate" in result.output
    again = read_course(tmp_path / "out.gpx")
    assert again.length == pytest.approx(2000.0, abs=1.0)
    assert [mark.name for mark in again.marks] == ["Half"]


def test_names_from_files_are_escaped(tmp_path):
    east, north = straight(1000.0)
    road = write_road(tmp_path / "a.gpx", east, north, 100 + 0.02 * north,
                      name="&lt;/script&gt;&lt;b&gt;", places=[("&lt;i&gt;", 46.0034, 7.0042)])
    page = tmp_path / "p.html"
    _run(road, "--out", page)
    html = page.read_text(encoding="utf-8")
    assert "</script><b>" not in html
    assert "<i>" not in html
    assert "&lt;/script&gt;&lt;b&gt;" in html


def test_a_scenario_tells_its_air_and_wind(tmp_path):
    page = tmp_path / "p.html"
    result = _run(COURSES / "quern-pass" / "scenario.toml", "--out", page)
    assert "head, km/h" in result.output
    assert "Finish time against start time" not in result.output
    assert "Air density" in page.read_text(encoding="utf-8")


def test_a_course_is_shown_whatever_is_wrong_with_rider_and_kit(tmp_path):
    for name in ("scenario.toml", "course.gpx"):
        shutil.copy(COURSES / "quern-pass" / name, tmp_path)
    (tmp_path / "kit.csv").write_text("item,place,price\nA,nowhere,much\n", encoding="utf-8")
    result = _run(tmp_path / "scenario.toml", "--out", tmp_path / "p.html")
    assert result.exit_code == 0, result.output
    assert "head, km/h" in result.output


@pytest.mark.parametrize(("args", "problem"), [
    (["none.gpx"], "no such file"), ([], "Missing argument"),
    (["{quern}/course.gpx", "--keep", "hights"], 'did you mean "heights"'),
    (["{quern}/course.gpx", "--from-km", "nan"], "is not a number"),
    (["{quern}/course.gpx", "--from-km", "5", "--to-km", "2"], "cannot be cut"),
    (["{quern}/course.gpx", "--laps", "3"], "not a lap"),
    (["{quern}/course.gpx", "--laps", "0"], "laps"),
    (["{quern}/course.gpx", "--piece", "2"], "1 pieces"),
    (["{quern}/course.gpx", "--gpx", "{quern}/course.gpx"], "this run reads"),
    (["{quern}/course.gpx", "--out", "{quern}"], "is a folder"),
    (["{quern}/scenario.toml", "--reverse"], "--reverse"),
    (["{quern}/scenario.toml", "{quern}/course.gpx"], "other files are named with it"),
    (["{quern}/kit.csv"], "a course needs positions")])
def test_slips_are_explained(tmp_path, monkeypatch, args, problem):
    monkeypatch.chdir(tmp_path)
    filled = [arg.format(quern=COURSES / "quern-pass") for arg in args]
    result = CliRunner().invoke(group, ["course", *filled])
    if isinstance(result.exception, InputError):
        assert problem in str(result.exception)
        assert result.exception.exit_code == 2
        assert result.exception.remedy
    else:
        assert result.exit_code == 2
        assert problem in result.output
    assert not list(tmp_path.iterdir())


def test_heights_of_a_terrain_model(tmp_path):
    """Both profiles are told and drawn; the model is a level plain, the track says hills."""
    rasterio = pytest.importorskip("rasterio")
    pyproj = pytest.importorskip("pyproj")
    x, y = pyproj.Transformer.from_crs(4326, 32632, always_xy=True).transform(7.0, 46.0)
    transform = rasterio.transform.from_origin(x - 500, y + 4000, 10, 10)
    with rasterio.open(tmp_path / "plain.tif", "w", driver="GTiff", height=500, width=500, count=1,
                       dtype="float32", crs="EPSG:32632", transform=transform) as file:
        file.write(np.full((500, 500), 100.0, dtype="float32"), 1)
    east, north = straight(4000.0)
    hills = 100 + 8 * np.sin(np.linspace(0, 25, len(east)))
    track = write_road(tmp_path / "a.gpx", east, north, hills)
    done = _run(track, "--heights", tmp_path / "plain.tif")
    assert done.exit_code == 0, done.output
    said = " ".join(done.output.split())
    for words in ("0 m of ascent", "come from a terrain model", "track's own heights give"):
        assert words in said
    assert "Do track and terrain model agree?" in (tmp_path / "a-course.html").read_text()
    with pytest.raises(InputError, match="no such file"):
        _run(track, "--heights", tmp_path / "none.tif")
