"""A season made of races of the folder: a whole file, or a reason and nothing written."""

from __future__ import annotations

import html
import tomllib
from datetime import date

import pytest

from optimizer.scenario.season_file import SeasonFile, check_season
from optimizer.scenario.starter import bare_season
from tests.window.conftest import RIDER, SCENARIO


@pytest.fixture
def two_races(folder):
    """A second race in a folder of its own, whose rider is in yet another."""
    for name in ("hill", "people"):
        (folder / name).mkdir()
    (folder / "people" / "rider.toml").write_text(RIDER, encoding="utf-8")
    (folder / "hill" / "course.gpx").write_bytes((folder / "course.gpx").read_bytes())
    (folder / "hill" / "scenario.toml").write_text(
        SCENARIO.replace("rider.toml", "../people/rider.toml").replace(
            "temperature_c = 17", "start_time = 2031-06-01T09:00:00\ntemperature_c = 17"),
        encoding="utf-8")
    return folder


def made(client, **typed):
    return client.post("/new/season", data={
        "race scenario.toml": "yes", "day scenario.toml": "2031-07-02",
        "race hill/scenario.toml": "yes", "day hill/scenario.toml": "2031-06-01",
        "name": "Heron Club, 2031", "budget": "900", **typed})


@pytest.mark.usefixtures("two_races")
def test_the_start_page_offers_the_races_with_their_days(client):
    text = html.unescape(client.get("/").text)
    assert "A new season" in text
    assert 'name="day hill/scenario.toml" value="2031-06-01"' in text
    assert 'name="day scenario.toml" value=""' in text


def test_a_season_is_a_whole_file_that_explains_itself(client, two_races):
    answer = made(client)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/race/season?race=heron-club-2031.toml"
    said = check_season(two_races / "heron-club-2031.toml")
    assert (said.name, said.budget, said.currency) == ("Heron Club, 2031", 900, "EUR")
    # Both files name the same rider: two riders of a season need two names.
    assert [(rider.name, rider.file) for rider in said.rider] == [
        ("Robin Vale", "rider.toml"), ("Robin Vale 2", "people/rider.toml")]
    assert [(race.name, race.scenario, race.date, race.riders) for race in said.race] == [
        ("Heron Lane 5 2", "hill/scenario.toml", date(2031, 6, 1), ["Robin Vale 2"]),
        ("Heron Lane 5", "scenario.toml", date(2031, 7, 2), ["Robin Vale"])]
    assert client.get("/race/season?race=heron-club-2031.toml").status_code == 200


def test_a_second_season_of_that_name_leaves_the_first_alone(client, two_races):
    made(client)
    before = (two_races / "heron-club-2031.toml").read_bytes()
    assert made(client, budget="").headers["location"].endswith("heron-club-2031-2.toml")
    assert (two_races / "heron-club-2031.toml").read_bytes() == before
    assert check_season(two_races / "heron-club-2031-2.toml").budget == 0


@pytest.mark.parametrize(("typed", "words"), [
    ({"day scenario.toml": ""}, "the day of the race"),
    ({"day scenario.toml": "soon"}, '"soon" is no day'),
    ({"budget": "much"}, '"much" is not a number'), ({"budget": "-5"}, "is out of range")])
def test_what_is_not_right_writes_nothing(client, two_races, typed, words):
    before = sorted(two_races.rglob("*"))
    answer = made(client, **typed)
    assert answer.status_code == 400
    assert words in html.unescape(answer.text)
    assert sorted(two_races.rglob("*")) == before


def test_a_season_without_a_race_or_with_a_race_without_a_rider(client, folder):
    answer = client.post("/new/season", data={"name": "None"})
    assert "tick one race or more" in answer.text
    (folder / "rider.toml").unlink()
    answer = client.post("/new/season", data={"race scenario.toml": "yes",
                                              "day scenario.toml": "2031-07-02"})
    assert "enter the rider of that race first" in answer.text
    assert not list(folder.glob("*season*"))


def test_every_key_of_a_season_is_explained():
    text = bare_season({"name": "S", "currency": "EUR", "budget": 0}, [], [])
    awake = tomllib.loads("\n".join(
        line.removeprefix("# ") for line in text.splitlines()
        if line.removeprefix("# ").startswith(("[[", "]]")) or " = " in line.partition("#")[2][:25]
        or " = " in line.partition("#")[0]))
    for key, field in SeasonFile.model_fields.items():
        if key in {"rider", "race"}:
            assert f"The {key}s:" in text
            continue
        assert key in awake
        default = field.get_default()
        if default is not None and not isinstance(default, list) and not field.is_required():
            assert awake[key] == default
