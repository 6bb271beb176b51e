"""The command rider: sentences, table, page, refusals."""

from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path
from typing import get_args

import pytest
from click.testing import CliRunner

from optimizer.cli import group
from optimizer.errors import InputError
from optimizer.rider.rider import AltitudeResponse, HeatResponse
from tests.cli.typed import starter

COURSES = Path(__file__).parents[2] / "courses"


def _run(*args):
    return CliRunner().invoke(group, ["rider", *map(str, args)], catch_exceptions=False)


@pytest.mark.parametrize("name", ["tarn-loop", "petrel-flats", "quern-pass"])
def test_the_demo_riders(tmp_path, name):
    page = tmp_path / "rider.html"
    result = _run(COURSES / name / "rider.toml", "--out", page)
    assert result.exit_code == 0
    assert "critical power" in result.output
    assert "90 % range" in result.output
    assert max(len(line) for line in result.output.splitlines() if str(page) not in line) <= 80
    html = page.read_text(encoding="utf-8")
    for heading in ("Rides of hours", "Positions", "How the reserve refills", "What is assumed"):
        assert heading in html
    assert "nan" not in html.lower().split("<script")[0].replace("finance", "")


def test_same_input_same_page(tmp_path):
    pages = []
    for name in ("one.html", "two.html"):
        _run(COURSES / "tarn-loop" / "rider.toml", "--out", tmp_path / name)
        pages.append((tmp_path / name).read_bytes())
    assert pages[0] == pages[1]


def test_a_table_of_efforts_alone(tmp_path):
    table = tmp_path / "efforts.csv"
    table.write_text("minutes,power_w\n3,402\n7,339\n12,319\n20,307\n", encoding="utf-8")
    result = _run(table)
    assert result.exit_code == 0
    assert "Critical power 291 W" in result.output
    assert "inverse-time (used)" in result.output
    assert (tmp_path / "efforts-rider.html").exists()


def test_the_model_can_be_overruled(tmp_path):
    table = tmp_path / "efforts.csv"
    table.write_text("minutes,power_w\n3,402\n7,339\n12,319\n20,307\n", encoding="utf-8")
    assert "work (used)" in _run(table, "--model", "work").output


@pytest.mark.parametrize(("text", "name", "words"), [
    ("minutes,power_w\n3,300\n12,310\n", "efforts.csv", "3-minute effort"),
    ("mass_kg = 3\n", "rider.toml", "line 1"),
])
def test_a_refusal_writes_nothing(tmp_path, text, name, words):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=words):
        _run(path)
    assert [p.name for p in tmp_path.iterdir()] == [name]


def test_a_name_cannot_steer_the_page(tmp_path):
    path = tmp_path / "rider.toml"
    path.write_text('mass_kg = 63\nname = "</script><img src=x onerror=alert(1)>"\n',
                    encoding="utf-8")
    assert _run(path).exit_code == 0
    assert "<img src=x" not in (tmp_path / "rider.html").read_text(encoding="utf-8")


def test_toml_beside_rides_is_refused(tmp_path):
    path = tmp_path / "rider.toml"
    path.write_text("mass_kg = 63\n", encoding="utf-8")
    with pytest.raises(InputError, match="other files are named with it"):
        _run(path, tmp_path / "ride.csv")


def test_how_the_efforts_were_read_is_said_by_rider_and_by_plan(tmp_path):
    from optimizer.scenario import read_scenario

    race = starter(tmp_path)
    (race / "efforts.csv").write_text("minutes,power_w,mood\n4,352,fine\n20,305,tired\n")
    rider = race / "rider.toml"
    rider.write_text('name = "Ann"\nmass_kg = 70\nefforts_csv = "efforts.csv"\n')
    note = "efforts.csv: not used: the column mood"
    said = " ".join(_run(rider).output.split())
    assert f"How the files were read: - {note}" in said
    assert f"Warning: {note}" not in said
    page = (race / "rider.html").read_text(encoding="utf-8")
    assert "How your files were read" in page
    assert note in page
    assert note in read_scenario(race / "scenario.toml").notes


def test_the_one_effort_that_is_left_out_is_named(tmp_path):
    table = tmp_path / "efforts.csv"
    table.write_text("seconds,power_w\n60,612\n300,352\n1200,300\n", encoding="utf-8")
    said = " ".join(_run(table).output.split())
    assert "left out: 60 s, under two minutes, too short for W'." in said
    table.write_text("seconds,power_w\n30,700\n60,612\n300,352\n1200,300\n", encoding="utf-8")
    assert "2 efforts were left out, as the page lists." in " ".join(_run(table).output.split())


def test_the_relations_of_height_and_heat_are_named_where_they_are_typed():
    starting = files("optimizer.scenario").joinpath("starter_files", "rider.toml").read_text()
    told = " ".join(_run("--help").output.split())
    for key, response in (("altitude", AltitudeResponse), ("heat", HeatResponse)):
        [line] = [line for line in starting.splitlines() if line.startswith(f"# {key} = ")]
        assert set(re.findall(r'"([^"]+)"', line)) == set(get_args(response))
        said = re.search(rf'take "none" .*?tests: .*?{key} ("[^;]*)', told)[1]
        assert set(re.findall(r'"([^"]+)"', said)) | {"none"} == set(get_args(response))
