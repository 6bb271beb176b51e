"""A scenario read into a job; what is refused, and where the message points."""

from __future__ import annotations

import re
from datetime import datetime, time
from pathlib import Path

import numpy as np
import pytest

from optimizer.cli._options import with_least_gain
from optimizer.errors import InputError
from optimizer.scenario import read_scenario
from optimizer.scenario.starter import write_starter


@pytest.fixture
def folder(tmp_path):
    write_starter(tmp_path / "race")
    return tmp_path / "race"


def change(folder, name, old, new):
    path = folder / name
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def refused(folder, says):
    with pytest.raises(InputError, match=says) as caught:
        read_scenario(folder / "scenario.toml")
    return str(caught.value)


def test_the_starter_is_a_job_in_si(folder):
    job = read_scenario(folder / "scenario.toml")
    assert job.budget == 400
    assert job.course.length == pytest.approx(12_000, abs=20)
    assert job.conditions.temperature == pytest.approx(291.15)
    # 12 km/h from 250 degrees moves the air to the east-north-east.
    assert job.conditions.wind_east[0, 0] == pytest.approx(12 / 3.6 * np.sin(np.radians(70)))
    assert job.conditions.wind_north[0, 0] == pytest.approx(12 / 3.6 * np.cos(np.radians(70)))
    assert job.baseline.mass == 9.4
    assert [name for name, _ in job.named_sets] == ["As it stands", "Helmet"]
    assert job.course.name == job.name  # what the race is called, not its track
    assert {"Windmill", "Ford"} <= {mark.name for mark in job.course.marks}
    rough = job.course.rolling_factor[np.searchsorted(job.course.distance, 6000.0)]
    assert rough > 1.0
    assert "a drivetrain efficiency of 0.976 (Martin et al. 1998)" in job.assumptions


def test_every_default_that_acts_is_listed(folder):
    """With nothing stated but course, rider and a wind; the course has corners and no U-turn."""
    path = folder / "bare.toml"
    path.write_text('name = "Bare"\nrider = "rider.toml"\n[course]\ngpx = "course.gpx"\n'
                    '[conditions]\nwind = { speed_kmh = 12, from_deg = 250 }\n'
                    '[kit]\ncatalogue = "kit.csv"\nevidence = "evidence.csv"\n')
    said = "\n".join(read_scenario(path).assumptions)
    for words in ("20 °C", "50 %", "± 41 %", "± 33°", "60 % of the tyres' grip", "3.5 m/s²",
                  "9.5 kg", "Crr of 0.0042", "± 0.00066", "mass that may be off by ± 0.82 kg",
                  "0.976", "0.14",
                  "0.334 m", "at most 0.5 s slower", "standard atmosphere", "bearing friction",
                  "friction of 0.8", "3 m wide", "smooth asphalt", "open land", "lose 25 %",
                  "each kind of test", "no speed cap"):
        assert words in said, words
    assert "U-turns" not in said
    path.write_text(path.read_text().replace(
        "wind = { speed_kmh = 12, from_deg = 250 }", "")
        + "[handling]\nskill_percent = 50\ndescent_cap_kmh = 60\n")
    said = "\n".join(read_scenario(path).assumptions)
    assert "wind speed" not in said  # without wind its uncertainty does nothing
    assert "grip used" not in said  # stated
    assert "no speed cap" not in said


def test_what_the_command_line_says_stands_in_for_the_file(folder):
    job = read_scenario(folder / "scenario.toml", budget=0.0, wind=(36.0, 180.0),
                        start_time=datetime(2031, 6, 15, 10, 0))  # noqa: DTZ001 - local time
    assert job.budget == 0.0
    assert job.conditions.wind_north[0, 0] == pytest.approx(10.0)
    assert job.conditions.start_time.hour == 10


def test_the_job_keeps_what_was_asked_for_as_it_is_typed(folder):
    scenario = folder / "scenario.toml"
    assert read_scenario(scenario).asked == ()
    job = read_scenario(scenario, budget=123, wind=(20.5, 225.0),
                        start_time=datetime(2031, 6, 15, 9, 30))  # noqa: DTZ001 - local time
    assert dict(with_least_gain(job, 1.5).asked) == {
        "budget": "123", "wind": "20.5@225", "start_time": "2031-06-15T09:30:00",
        "least_gain": "1.5"}


def test_a_start_by_the_clock_needs_a_day(folder):
    with pytest.raises(InputError, match="needs its day"):
        read_scenario(folder / "scenario.toml", start_time=time(9, 30))
    change(folder, "scenario.toml", "# start_time = ", "start_time = ")
    job = read_scenario(folder / "scenario.toml", start_time=time(7, 5))
    assert job.conditions.start_time.isoformat() == "2031-06-15T07:05:00"


def test_a_reversed_course_is_ridden_the_other_way(folder):
    there = read_scenario(folder / "scenario.toml").course
    change(folder, "scenario.toml", "# reverse = false", "reverse = true")
    back = read_scenario(folder / "scenario.toml").course
    assert back.latitude[0] == pytest.approx(there.latitude[-1], abs=1e-4)
    assert back.length == pytest.approx(there.length, abs=5)


@pytest.mark.parametrize(("old", "new", "says"), [
    ('gpx = "course.gpx"', 'gpx = "curse.gpx"',
     r'course\.gpx: there is no file "curse\.gpx"\n  did you mean course'),
    ("budget = 400", "budgit = 400", r'budgit: is not a known key\n  did you mean "budget"'),
    ("budget = 400", 'budget = "much"', 'budget: has to be a number, not "much"'),
    ("budget = 400", "budget = -1", "budget: -1 is out of range"),
    ("budget = 400", "budget = nan", "budget: is not a finite number"),
    ("km = 8.5", "km = 85", r"mark 2, km: 85 km is beyond the course of 1[12]\.\d\d km"),
    ("temperature_c = 18", "temperature_c = 180", r"conditions\.temperature_c: 180 is out"),
    ('surface = "rough asphalt"', 'surface = "rough ashphalt"',
     r'stretch 1, surface: .*\n  did you mean "rough asphalt"'),
    ("to_km = 6.5", "to_km = 5.5", "stretch 1, to_km: 5.5 km is not after from_km"),
    ('items = ["Short-tail helmet"]', 'items = ["Short tail helmet"]',
     r'set 2, items: there is no item.*\n  did you mean "Short-tail helmet"'),
    ("# rules = []", 'rules = ["mass start"]', r"kit\.rules 1: no item of the catalogue"),
    ("blocks = 8", "blocks = 8.5", r"options\.blocks: has to be a number"),
    ('# start = "standing"', 'start = "flying"', r"options\.start: a flying start"),
    ('# start = "standing"', 'start = "rolling"',
     r'options\.start: has to be "standing" or "flying", not "rolling"'),
    ("# start_speed_kmh = 30", "start_speed_kmh = 30", "belongs to a flying start"),
    ("mass_kg = 9.4", "temperature_c = 5", r"belongs below the line \[conditions\]"),
    ("mass_kg = 9.4", "budget = 5", r"belongs above the first line in \[brackets\]"),
    ("# keep = []", 'keep = ["noise"]', r"course\.keep 1: .* not a correction that kitpace makes"),
    ("wind = {", "wind = { gust = 3,", r"conditions\.wind\.gust: is not a known key"),
    ("[course]", "[curse]", r'curse: is not a known key\n  did you mean "course"'),
])
def test_a_slip_in_the_scenario_is_named_with_its_line(folder, old, new, says):
    text = (folder / "scenario.toml").read_text(encoding="utf-8")
    line = text[:text.index(old)].count("\n") + 1
    change(folder, "scenario.toml", old, new)
    assert f"scenario.toml, line {line}, " in refused(folder, says)


@pytest.mark.parametrize(("table", "old", "new"), [
    ("handling", "dead_turn_kmh", "u_turn_kmh"),
    ("conditions", "wind_doubt_percent", "wind_uncertainty_percent"),
    ("conditions", "wind_doubt_deg", "wind_uncertainty_deg")])
def test_a_former_name_is_refused_with_the_new_one(folder, table, old, new):
    change(folder, "scenario.toml", f"[{table}]", f"[{table}]\n{old} = 12\n#")
    refused(folder, rf"{table}\.{old}: is not a known key\n  it is now {new}")
    change(folder, "scenario.toml", old, new)
    assert read_scenario(folder / "scenario.toml")


@pytest.mark.parametrize(("name", "old", "new", "says"), [
    ("kit.csv", "helmet,210", "helmet,-210", "kit.csv, row 3, column price: -210 is out of range"),
    ("kit.csv", "helmet,210", "helmet,nan", "kit.csv, row 3, column price"),
    ("kit.csv", "helmet,helmet", "helmet,helmut", r'row 3, column place: "helmut".*\n.*"helmet"'),
    ("evidence.csv", "-0.0048 m2 CdA", "-0.0048 furlongs", "evidence.csv, row 3"),
    ("evidence.csv", "-0.0048 m2 CdA", "nan m2 CdA", "evidence.csv, row 3"),
    ("rider.toml", "power_w = 345", "power_w = inf", r"rider.toml, line \d+, efforts 1, power_w"),
    ("rider.toml", "mass_kg = 72", "mass_kg = nan", r"rider.toml, line \d+, mass_kg"),
    ("rider.toml", "# max_power_w = 450", "max_power_w = 150", "rider.toml, .*max_power_w"),
])
def test_a_slip_in_another_file_is_named_with_its_place(folder, name, old, new, says):
    change(folder, name, old, new)
    refused(folder, says)


def test_a_course_without_elevation_says_what_to_do(folder):
    path = folder / "course.gpx"
    path.write_text(re.sub("<ele>[^<]*</ele>", "", path.read_text()))
    message = refused(folder, "course.gpx")
    assert "flat" in message


def test_nan_in_a_course_is_refused_as_a_place_and_counted_as_a_missing_height(folder):
    change(folder, "course.gpx", "<ele>", "<ele>nan</ele><was>")
    change(folder, "course.gpx", "</ele></trkpt>", "</was></trkpt>")
    course = read_scenario(folder / "scenario.toml").course
    assert ("missing heights", 1) in {(found.what, found.count) for found in course.corrections}
    assert np.isfinite(course.elevation).all()
    change(folder, "course.gpx", 'lat="-37.9', 'lat="nan" was="-37.9')
    refused(folder, "course.gpx")


def test_missing_scenario_and_folder():
    with pytest.raises(InputError, match="no such file"):
        read_scenario("nowhere/scenario.toml")


@pytest.mark.parametrize("name", ["petrel-flats", "tarn-loop", "quern-pass"])
def test_the_demo_scenarios_hold_what_a_demo_has_to_show(name):
    from pathlib import Path

    job = read_scenario(Path(__file__).parents[2] / "courses" / name / "scenario.toml")
    assert len(job.catalogue.items) >= 30
    assert len(job.catalogue.places) >= 10
    assert len({item.place for item in job.catalogue.items if item.place == "cables"}) == 1
    assert len([item for item in job.catalogue.items if item.place == "cables"]) >= 2
    length = {"petrel-flats": 40_000, "tarn-loop": 90_000, "quern-pass": 20_000}[name]
    assert job.course.length == pytest.approx(length, rel=0.002)
    assert (sum(corner.u_turn for corner in job.course.corners) == 3) == (name == "petrel-flats")


def test_things_beside_the_road_shelter_it(tmp_path):
    folder = Path(__file__).parents[2] / "courses" / "quern-pass"
    for name in ("course.gpx", "rider.toml", "kit.csv", "evidence.csv"):
        (tmp_path / name).write_bytes((folder / name).read_bytes())
    text = (folder / "scenario.toml").read_text(encoding="utf-8")
    path = tmp_path / "scenario.toml"
    path.write_text(text + '\n[[stretch]]\nfrom_km = 1\nto_km = 2\nbeside = "wood"\n'
                    'side = "left"\n', encoding="utf-8")
    job = read_scenario(path)
    inside = (job.course.distance[:-1] > 1100) & (job.course.distance[1:] < 1900)
    assert job.course.shelter_from[inside].min() < 0.4
    assert any("rows across the wind" in words for words in job.assumptions)
    path.write_text(text.replace("[course]", '[course]\nsurface_model = "s.tif"'),
                    encoding="utf-8")
    with pytest.raises(InputError, match="needs the heights of the ground"):
        read_scenario(path)
