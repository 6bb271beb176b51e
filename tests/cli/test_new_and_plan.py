"""`kitpace new` and `kitpace plan` as a person types them."""

from __future__ import annotations

import json

import pytest

from tests.cli.typed import kitpace, starter


@pytest.fixture(scope="module")
def race(tmp_path_factory):
    return starter(tmp_path_factory.mktemp("cli"), "my race")


@pytest.fixture(scope="module")
def planned(race):
    done = kitpace("plan", "scenario.toml", "--json", "plan.json", "--card", "card.html", "--card",
                   "card.gpx", cwd=race)
    assert done.returncode == 0, done.stderr
    return done


def test_a_new_scenario_is_planned_at_once(planned, race):
    assert "90 % range" in planned.stdout
    assert "Report: report.html" in planned.stdout
    assert all(line.startswith("Planning: ") for line in planned.stderr.splitlines())  # a slow day
    assert max(map(len, planned.stdout.splitlines())) <= 80
    for name in ("report.html", "plan.json", "card.html", "card.gpx"):
        assert (race / name).stat().st_size > 500


def test_the_splits_are_those_of_the_json(planned, race):
    document = json.loads((race / "plan.json").read_text())
    names = [row["mark"] for row in document["splits"]]
    assert names == ["Windmill", "Ford", "Finish"]
    for row in document["splits"]:
        minutes, seconds = divmod(round(row["elapsed_s"]), 60)
        assert f"{minutes}:{seconds:02d}" in planned.stdout
    last = document["splits"][-1]
    assert last["elapsed_s"] == pytest.approx(document["plan"]["finish_time_s"])
    assert last["rideable_s"] == pytest.approx(document["rideable"]["time_s"][-1])
    assert document["kit"]["spent"] <= 400
    assert document["plan"]["gap_s"] < 1.0


@pytest.mark.usefixtures("planned")
def test_other_money_wind_and_start(race):
    done = kitpace("plan", "scenario.toml", "--budget", "0", "--wind", "30@90", "--start-time",
                   "2031-06-15T07:00", "--out", "other.html", "--json", "other.json", cwd=race)
    assert done.returncode == 0, done.stderr
    other = json.loads((race / "other.json").read_text())
    assert other["kit"]["budget"] == 0
    assert other["kit"]["spent"] == 0
    assert other["conditions"]["start_time"] == "2031-06-15T07:00:00"
    assert other["conditions"]["wind_east_mps"][0][0] == pytest.approx(-30 / 3.6)
    first = json.loads((race / "plan.json").read_text())
    assert other["plan"]["finish_time_s"] > first["plan"]["finish_time_s"]


@pytest.mark.parametrize(("words", "says"), [
    (["plan", "scenery.toml"], "there is no such file"),
    (["plan", "scenario.toml", "--budget", "lots"], '"lots" is not a number'),
    (["plan", "scenario.toml", "--budget", "nan"], '"nan" is not a number'),
    (["plan", "scenario.toml", "--budget", "-5"], "between 0 and 1000000000"),
    (["plan", "scenario.toml", "--wind", "strong"], "is not a wind"),
    (["plan", "scenario.toml", "--start-time", "noon"], "is not a time"),
    (["plan", "scenario.toml", "--card", "card.docx"], "is not a kind of card"),
    (["plan", "scenario.toml", "--out", "."], "is a folder"),
    (["plan"], "Missing argument"),
    (["plan", "scenario.toml", "--windy"], "--windy"),
    (["new", "."], "exists already"),
    (["fly"], "fly"),
])
def test_a_slip_is_one_message_and_exit_code_2(race, words, says):
    done = kitpace(*words, cwd=race)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_an_impossible_ride_is_exit_code_3_and_leaves_no_report(race):
    # A wall of 80 % that nobody climbs at the power limit.
    text = (race / "scenario.toml").read_text()
    (race / "wall.toml").write_text(text.replace('gpx = "course.gpx"', 'gpx = "wall.gpx"'))
    points = "".join(
        f'<trkpt lat="{-38 + k * 2e-4:.6f}" lon="-20"><ele>{k * 18.0:.1f}</ele></trkpt>'
        for k in range(450))
    (race / "wall.gpx").write_text(
        '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
        f"{points}</trkseg></trk></gpx>")
    done = kitpace("plan", "wall.toml", "--out", "wall.html", cwd=race)
    assert done.returncode == 3, done.stderr
    assert "no plan meets the limits" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (race / "wall.html").exists()
