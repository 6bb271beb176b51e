"""`kitpace fieldtest`, `testplan` and `debrief` as a person types them."""

from __future__ import annotations

import csv
import json
import re

import numpy as np
import pytest
from click.testing import CliRunner

from optimizer.cli import group
from optimizer.course import read_course
from optimizer.errors import InputError
from optimizer.scenario.course_file import read_features
from tests.cli.typed import starter
from tests.ride import synthetic
from tests.ride.trials import truth

COLUMNS = {"elapsed_s": "time", "distance_m": "distance", "speed_mps": "speed",
           "power_w": "power", "elevation_m": "elevation", "latitude_deg": "latitude",
           "longitude_deg": "longitude"}


def kitpace(*words):
    return CliRunner().invoke(group, [str(word) for word in words], standalone_mode=False)


def write(path, columns):
    with path.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow(columns)
        out.writerows(zip(*columns.values(), strict=True))
    return path


def runs(folder, laps, count):
    """Write some rides of one truth; give it and their files."""
    rng = np.random.default_rng(3)
    so = truth(rng)
    path = synthetic.loop(rng, laps=laps)
    rides = [synthetic.ride(path, so, synthetic.Sensors(), rng) for _ in range(count)]
    return so, [write(folder / f"{number}.csv",
                      {column: getattr(ride, name) for column, name in COLUMNS.items()})
                for number, ride in enumerate(rides, 1)]


def ridden(folder, laps):
    so, (path,) = runs(folder, laps, 1)
    return so, path


@pytest.fixture(scope="module")
def laps(tmp_path_factory):
    return ridden(tmp_path_factory.mktemp("laps"), 6)


def test_a_field_test_finds_the_drag_of_an_invented_ride(laps):
    so, path = laps
    page = path.with_name("page.html")
    done = kitpace("fieldtest", path, "--mass", f"{so.mass:.2f}", "--out", page)
    assert done.exit_code == 0, done.exception
    low, high = map(float, re.search(r"CdA, m²\s+\S+\s+(\S+) to (\S+)", done.output).groups())
    assert low < so.cda < high
    assert high - low < 0.1
    words = [line for line in done.output.splitlines() if str(page.parent) not in line]
    assert max(map(len, words)) <= 80
    assert "CdA" in page.read_text(encoding="utf-8")


def test_a_field_test_without_power_is_refused(laps, tmp_path):
    with laps[1].open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    path = write(tmp_path / "bare.csv", {
        name: [row[name] for row in rows] for name in COLUMNS if name != "power_w"})
    done = kitpace("fieldtest", path, "--mass", 80, "--out", tmp_path / "page.html")
    assert isinstance(done.exception, InputError)
    assert "power" in str(done.exception)
    assert not (tmp_path / "page.html").exists()


def test_a_plan_of_a_test_says_how_many_runs():
    wrong = kitpace("testplan", "--change-w", -5, "--air", "windy", "--speed-kmh", 40)
    for words in ("-5 is out of range", "windy"):  # at once
        assert words in wrong.output + str(wrong.exception)
    done = kitpace("testplan", "--change-w", 5, "--speed-kmh", 40, "--run-km", 12, "--air", "calm")
    assert done.exit_code == 0, done.exception
    assert "runs" in done.output
    small = kitpace("testplan", "--change-w", 0.1, "--speed-kmh", 20, "--run-km", 2, "--leg-km",
                    1, "--air", "breezy")
    assert small.exit_code == 0, small.exception
    assert small.output != done.output


def test_a_ride_is_laid_against_its_plan(tmp_path):
    race = starter(tmp_path)
    planned = kitpace("plan", race / "scenario.toml", "--budget", 0, "--out", tmp_path / "p.html",
                      "--json", tmp_path / "p.json")
    assert planned.exit_code == 0, planned.exception
    profile = json.loads((tmp_path / "p.json").read_text(encoding="utf-8"))["profile"]
    course = read_course(race / "course.gpx")
    nodes, speed = np.array(profile["distance_m"]), np.array(profile["speed_mps"])
    power = np.array(profile["power_w"])
    time = np.concatenate([[0.0], np.cumsum(2 * np.diff(nodes) / (speed[1:] + speed[:-1]))])
    at = np.arange(0.0, time[-1] + 1.0)
    place = np.interp(at, time, nodes)
    ride = write(tmp_path / "ride.csv", {
        "elapsed_s": at, "distance_m": place, "speed_mps": np.interp(at, time, speed),
        "power_w": np.interp(place, 0.5 * (nodes[1:] + nodes[:-1]), power[:len(nodes) - 1]),
        "elevation_m": np.interp(place, course.distance, course.elevation),
        "latitude_deg": np.interp(place, course.distance, course.latitude),
        "longitude_deg": np.interp(place, course.distance, course.longitude)})
    done = kitpace("debrief", race / "scenario.toml", ride, "--budget", 0, "--out",
                   tmp_path / "d.html", "--update", race / "next.toml")
    assert done.exit_code == 0, done.exception
    words = re.findall(r"^(.+?)\s{2,}([+−]?[\d.]+)(?: min)? s", done.output, flags=re.MULTILINE)
    assert {"power", "drag and tyres", "stops", "in all"} <= {name for name, _ in words}
    assert (tmp_path / "d.html").stat().st_size > 10_000
    assert (race / "next.toml").exists()
    again = kitpace("debrief", race / "scenario.toml", ride, "--budget", 0, "--out",
                    tmp_path / "d.html", "--update", race / "scenario.toml")
    assert isinstance(again.exception, InputError)  # never in place


def test_a_ride_of_another_course_is_refused_before_planning(laps, tmp_path, monkeypatch):
    assert kitpace("new", tmp_path / "race").exit_code == 0
    monkeypatch.setattr("optimizer.cli.debrief._intended", None)
    done = kitpace("debrief", tmp_path / "race" / "scenario.toml", laps[1], "--out",
                   tmp_path / "d.html")
    assert isinstance(done.exception, InputError)
    assert "course" in str(done.exception)
    assert not (tmp_path / "d.html").exists()


def test_a_comparison_is_added_to_the_evidence_and_loses_nothing(tmp_path):
    so, paths = runs(tmp_path, 2, 4)
    evidence = tmp_path / "evidence.csv"
    old = "﻿item;figure;test;note\r\nDisc;saves 40,5 g @ 50 km/h;tunnel with rider;\r\n"
    evidence.write_bytes(old.encode())
    evidence.chmod(0o600)
    words = ("fieldtest", *paths, "--mass", f"{so.mass:.2f}", "--setups", "a,b,b,a", "--row",
             evidence, "--out", tmp_path / "page.html")
    done = kitpace(*words)
    assert done.exit_code == 0, done.exception
    new = evidence.read_bytes().decode()
    assert new.startswith(old)
    assert re.fullmatch(r'b;(saves|costs) 0,\d{5} ± 0,\d{5} m2;field;"at [^\n]+"\r\n',
                        new[len(old):])
    assert evidence.stat().st_mode & 0o777 == 0o600
    assert "no column for baseline" in " ".join(done.output.split())
    again = kitpace(*words)
    assert isinstance(again.exception, InputError)
    assert "already" in str(again.exception)
    assert evidence.read_bytes().decode() == new


def test_a_surface_is_measured_and_added_to_the_features(laps, tmp_path):
    """The invented ride has one surface all along: a factor of one."""
    roads = tmp_path / "roads.csv"
    so, path = laps
    asked = ("fieldtest", path, "--mass", f"{so.mass:.2f}", "--features", roads,
             "--out", tmp_path / "page.html")
    done = kitpace(*asked, "--crr", so.crr, "--crr-sd", 0.0005, "--surface", "0.5-2.5",
                   "--surface", "4-6")
    assert done.exit_code == 0, done.exception
    assert "times the Crr of the rest (90 % range)" in " ".join(done.output.split())
    (surface,) = read_features(roads).stretches
    assert (surface.start, surface.end) == (500.0, 2500.0)
    assert 0.3 < surface.value < 2.5
    without = kitpace(*asked)
    assert isinstance(without.exception, InputError)
    assert "no stretch is named" in str(without.exception)
