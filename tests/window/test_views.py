"""Course, sets and debrief: forms that write, work that writes its page."""

from __future__ import annotations

import html
import json
import tomllib
from datetime import date
from statistics import NormalDist

import numpy as np
import pytest

from optimizer.scenario import read_scenario
from optimizer.scenario.scenario import read_course_and_weather
from tests.window.conftest import EVIDENCE, KIT, SCENARIO, track
from tests.window.test_forms import address, checked, drawn, form_of, typed
from tests.window.test_site import ended


@pytest.mark.parametrize("page", ["course", "compare"])
@pytest.mark.usefixtures("with_kit")
def test_saving_what_was_shown_changes_nothing(client, folder, page):
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert client.post(address(page), data=typed(client, page)).status_code == 303
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_marks_stretches_and_corners_are_written(client, folder):
    fields = typed(client, "course", **{
        "s:mark.0.name": "Mill", "s:mark.0.km": "2.5", "s:stretch.0.from_km": "1",
        "s:stretch.0.to_km": "2", "s:stretch.0.surface": "cobbles",
        "s:corner.0.km": "3", "s:corner.0.speed_kmh": "25", "s:handling.skill_percent": "50",
        "s:course.to_km": "4,5"})
    assert client.post(address("course"), data=fields).status_code == 303
    path = folder / "scenario.toml"
    said = tomllib.loads(path.read_text(encoding="utf-8"))
    assert said["mark"] == [{"name": "Mill", "km": 2.5}]
    assert said["stretch"][0]["surface"] == "cobbles"
    assert said["handling"] == {"skill_percent": 50}
    assert said["course"]["to_km"] == 4.5
    course, _ = read_course_and_weather(path)
    assert [mark.name for mark in course.split_marks] == ["Mill"]
    assert course.rolling_factor.max() == 3.5  # of cobbles, the table of course/features.py


@pytest.mark.parametrize(("name", "value", "words"), [
    ("s:mark.0.km", "99", "99 km is beyond the course"),
    ("s:stretch.0.to_km", "0.5", "is not after from_km"),
    ("s:handling.skill_percent", "5", "5 is out of range"),
    ("s:course.laps", "0", "0 is out of range"),
    ("s:course.laps", "2", "is not a lap"),
    ("s:course.laps", "1.5", "has to be a number"),
])
def test_what_is_wrong_with_a_place_is_said_beside_it(client, folder, name, value, words):
    fields = typed(client, "course", **{
        "s:mark.0.name": "Mill", "s:mark.0.km": "2", "s:stretch.0.from_km": "1",
        "s:stretch.0.to_km": "2", "s:stretch.0.surface": "cobbles", name: value})
    found = checked(client, "course", fields)["messages"]
    assert list(found) == [name]
    assert words in found[name]
    assert client.post(address("course"), data=fields).status_code == 400
    assert (folder / "scenario.toml").read_text(encoding="utf-8") == SCENARIO


def test_a_correction_is_left_undone_and_taken_up_again(client, folder):
    rows = track().replace("<ele>25.", "<ele>425.", 1)  # one height that cannot be
    (folder / "course.gpx").write_text(rows, encoding="utf-8")
    shown = client.get(address("course")).text
    assert 'value="spikes"' in shown
    fields = typed(client, "course")
    assert client.post(address("course"), data={
        **fields, "s:course.keep": ["", "spikes"]}).status_code == 303
    path = folder / "scenario.toml"
    assert tomllib.loads(path.read_text())["course"]["keep"] == ["spikes"]
    again = client.get(address("course")).text
    assert 'value="spikes" checked' in again
    fields = typed(client, "course", **{"s:course.keep": ""})
    assert client.post(address("course"), data=fields).status_code == 303
    assert not tomllib.loads(path.read_text())["course"].get("keep")


def test_the_profile_is_drawn_with_its_marks(client):
    picture = drawn(client, "course", typed(client, "course", **{
        "s:mark.0.name": "Old mill", "s:mark.0.km": "2.5"}))
    assert "data-km" in picture
    assert "Old mill" in picture


@pytest.mark.usefixtures("with_kit")
def test_what_the_evidence_comes_to_is_its_90_percent_range(client, folder):
    effect, = (one for one in read_scenario(folder / "scenario.toml").effects
               if one.item == "Fast tyres")
    tyres = NormalDist(effect.rolling_resistance, effect.rolling_resistance_sd)
    low, high = (f"{tyres.inv_cdf(share):.5f}".replace("-", "−") for share in (0.05, 0.95))
    assert f"{low} to {high} Crr" in html.unescape(drawn(client, "kit", {})).replace("\xa0", " ")


@pytest.mark.usefixtures("with_kit")
def test_sets_are_chosen_from_the_catalogue_and_compared(client, folder):
    fields = typed(client, "compare", **{"s:set.0.name": "As it stands"})
    assert client.post(address("compare"), data=fields).status_code == 303
    fields = typed(client, "compare", **{"s:set.1.name": "All of it"})
    assert client.post(address("compare"), data={
        **fields, "s:set.1.items": ["Visor", "Fast tyres"]}).status_code == 303
    said = tomllib.loads((folder / "scenario.toml").read_text(encoding="utf-8"))
    assert said["set"] == [{"name": "As it stands", "items": []},
                           {"name": "All of it", "items": ["Visor", "Fast tyres"]}]
    answer = client.post("/work", data={"task": "compare", "race": "scenario.toml"})
    assert answer.headers["location"] == "/race/compare?race=scenario.toml"
    state = ended(client)
    assert (state.kind, state.page) == ("done", "compare.html"), state.words
    assert "All of it" in state.words
    assert 'src="/page/compare.html"' in client.get(address("compare")).text


@pytest.mark.usefixtures("with_kit")
def test_an_item_that_is_not_there_is_said_beside_its_set(client):
    fields = typed(client, "compare", **{"s:set.0.name": "Mine", "s:set.0.items": "Visir"})
    found = checked(client, "compare", fields)["messages"]
    assert 'did you mean "Visor"?' in found["s:set.0.items"]


@pytest.mark.usefixtures("with_kit")
def test_what_to_buy_is_worked_out(client, folder):
    client.post("/work", data={"task": "kit", "race": "scenario.toml"})
    state = ended(client)
    assert (state.kind, state.page) == ("done", "kit.html"), state.words
    assert "Visor" in (folder / "kit.html").read_text(encoding="utf-8")


def recorded(folder):
    """A ride that follows the plan, as a table."""
    profile = json.loads((folder / "plan.json").read_text(encoding="utf-8"))["profile"]
    time = np.arange(0.0, profile["time_s"][-1], 1.0)
    course, _ = read_course_and_weather(folder / "scenario.toml")
    distance = np.interp(time, profile["time_s"], profile["distance_m"])
    power = np.interp(time, profile["time_s"][1:], profile["power_w"])
    latitude, longitude, elevation = (np.interp(distance, course.distance, values) for values in (
        course.latitude, course.longitude, course.elevation))
    speed = np.interp(time, profile["time_s"], profile["speed_mps"])
    rows = ["elapsed_s,latitude_deg,longitude_deg,elevation_m,speed_mps,power_w"] + [
        f"{t:.0f},{a:.6f},{b:.6f},{h:.1f},{v:.2f},{p:.0f}" for t, a, b, h, v, p in zip(
            time, latitude, longitude, elevation, speed, power, strict=True)]
    return "\n".join(rows) + "\n"


@pytest.mark.ci
def test_a_ride_dropped_on_a_plan_becomes_a_debrief(client, folder):
    client.post("/work", data={"task": "plan", "race": "scenario.toml"})
    assert ended(client).kind == "done"
    answer = client.post("/ride", data={"race": "scenario.toml"},
                         files={"ride": ("Morning Race.csv", recorded(folder), "")})
    assert answer.status_code == 303, html.unescape(answer.text)
    assert answer.headers["location"] == "/race/debrief?race=scenario.toml"
    state = ended(client)
    assert (state.kind, state.page) == ("done", "debrief.html"), state.words
    assert (folder / "morning-race.csv").is_file()
    assert 'src="/page/debrief.html"' in client.get(address("debrief")).text


@pytest.mark.parametrize(("name", "content"), [
    ("ride.exe", "MZ"), ("ride.csv", "a,b\n1,2\n"), ("ride.gpx", "<gpx>"), ("", "x")])
def test_what_is_no_ride_is_refused_and_not_kept(client, folder, name, content):
    before = sorted(path.name for path in folder.iterdir())
    answer = client.post("/ride", data={"race": "scenario.toml"},
                         files={"ride": (name, content, "")})
    assert answer.status_code == 400
    assert sorted(path.name for path in folder.iterdir()) == before
    assert form_of(client.get(address("rider")).text)


CLUB = """\
name = "Two riders"             # invented
budget = 60
catalogue = "kit.csv"
evidence = "evidence.csv"

[[rider]]
name = "Ann"
file = "rider.toml"

[[race]]
name = "Spring"
scenario = "scenario.toml"
date = 2031-05-04
targets = { Ann = "9:30" }
"""


@pytest.mark.usefixtures("with_kit")
def test_a_season_is_typed_into_its_form(client, folder):
    path = folder / "club.toml"
    path.write_text(CLUB, encoding="utf-8")
    place = address("season").replace("scenario.toml", "club.toml")
    shown = client.get(place).text
    assert "Who rides what" in shown
    assert "Save and plan the season" in shown
    fields = form_of(shown)
    assert fields["s:race.0.date"] == "2031-05-04"
    fields |= {"s:budget": "80,5", "s:rider.1.name": "Bea", "s:rider.1.file": "rider.toml",
               "s:rider.1.owns": "Visor", "s:race.1.name": "Autumn",
               "s:race.1.scenario": "scenario.toml", "s:race.1.date": "2031-09-07",
               "s:race.1.riders": "Bea", "s:stock.0.item": "Visor", "s:stock.0.lent": "true"}
    assert client.post(place, data=fields).status_code == 303
    text = path.read_text(encoding="utf-8")
    said = tomllib.loads(text)
    assert "# invented" in text
    assert said["budget"] == 80.5
    assert said["rider"][1] == {"name": "Bea", "file": "rider.toml", "owns": ["Visor"]}
    assert said["race"][0]["targets"] == {"Ann": "9:30"}  # what the form does not show stays
    assert said["race"][1]["riders"] == ["Bea"]
    assert said["race"][1]["date"] == date(2031, 9, 7)
    assert said["stock"] == [{"item": "Visor", "lent": True}]
    for name, value, words in (("s:race.1.riders", "Bob", 'no rider "Bob"'),
                               ("s:race.0.date", "", "missing"),
                               ("s:race.1.date", "2031-02-30", "date"),
                               ("s:stock.0.item", "Visir", 'mean "Visor"?')):
        wrong = form_of(client.get(place).text) | {name: value}
        found = client.post(place, data=wrong, headers={"accept": "application/json"}).json()
        assert words in found["messages"][name]
    assert path.read_text(encoding="utf-8") == text


@pytest.mark.usefixtures("with_kit")
def test_a_season_loses_no_row_and_no_target(client, folder):
    path = folder / "club.toml"
    autumn = """
[[race]]
name = "Autumn"
scenario = "scenario.toml"
date = 2031-09-07
targets = { Ann = "9:10" }
"""
    path.write_text(f"{CLUB}{autumn}", encoding="utf-8")
    place = address("season").replace("scenario.toml", "club.toml")
    before = path.read_bytes()
    shown = form_of(client.get(place).text)
    assert shown["s:race.2.scenario"] == shown["s:rider.1.file"] == ""  # a new row says nothing
    for name, value, missing in (("s:rider.0.name", "", "s:rider.0.name"),
                                 ("s:race.1.name", "", "s:race.1.name"),
                                 ("s:rider.1.file", "rider.toml", "s:rider.1.name"),
                                 ("s:loan.0.lender", "Ann", "s:loan.0.item"),
                                 ("s:stock.0.owned", "2", "s:stock.0.item"),
                                 ("s:stock.0.lent", "true", "s:stock.0.item"),
                                 ("s:money.0.since", "2031-06-01", "s:money.0.in_all")):
        answer = client.post(place, data=shown | {name: value})
        assert answer.status_code == 400
        assert f'id="{missing}-m">is missing' in answer.text
        assert path.read_bytes() == before
    gone = {name: text for name, text in shown.items() if not name.startswith("s:race.0.")}
    assert client.post(place, data=gone).status_code == 303
    (race,) = tomllib.loads(path.read_text(encoding="utf-8"))["race"]
    assert (race["name"], race["targets"]) == ("Autumn", {"Ann": "9:10"})


@pytest.mark.usefixtures("with_kit")
def test_a_set_without_a_name_is_refused_and_one_without_items_is_saved(client, folder):
    path = folder / "scenario.toml"
    path.write_text(path.read_text(encoding="utf-8")
                    + '\n[[set]]\nname = "A"\nitems = ["Visor"]\n', encoding="utf-8")
    before = path.read_bytes()
    place, shown = address("compare"), typed(client, "compare", **{"s:set.0.items": "Visor"})
    for name, value in (("s:set.0.name", ""), ("s:set.1.items", "Visor")):
        answer = client.post(place, data=shown | {name: value})
        assert answer.status_code == 400
        assert "is missing" in answer.text
        assert path.read_bytes() == before
    unticked = {name: text for name, text in shown.items() if name != "s:set.0.items"}
    assert client.post(place, data=unticked).status_code == 303
    assert tomllib.loads(path.read_text(encoding="utf-8"))["set"] == [{"name": "A", "items": []}]
    assert client.post(place, data=typed(client, "compare", **{"s:set.0.name": ""})
                       ).status_code == 303
    assert "set" not in tomllib.loads(path.read_text(encoding="utf-8"))


@pytest.mark.ci
@pytest.mark.usefixtures("with_kit")
def test_a_season_is_worked_out(client, folder):
    (folder / "club.toml").write_text(CLUB, encoding="utf-8")
    assert 'href="/race/season?race=club.toml"' in client.get("/").text
    answer = client.post("/work", data={"task": "season", "race": "club.toml"})
    assert answer.headers["location"] == "/race/season?race=club.toml#decision"
    state = ended(client)
    assert (state.kind, state.page) == ("done", "club-season.html"), state.words
    assert f'{client.get("/season?race=club.toml").headers["location"]}#decision' == (
        answer.headers["location"])
    shown = client.get(answer.headers["location"]).text
    assert 'src="/page/club-season.html"' in shown
    assert "Two riders" in shown


@pytest.mark.usefixtures("with_kit")
def test_only_tables_by_the_hour_are_offered_as_a_forecast(client, folder):
    (folder / "saturday.csv").write_text(
        "time;wind_from_deg;wind_kmh\n09:00;SW;12\n", encoding="utf-8")
    (folder / "odd.csv").write_bytes(b"\xff\xfe\x00")
    page = client.get(address("weather")).text
    assert '<option value="saturday.csv">' in page
    for name in ("kit.csv", "evidence.csv", "odd.csv"):
        assert f'<option value="{name}"' not in page


def test_tables_that_lie_in_the_folder_can_be_chosen(client, folder):
    assert "Tables in this folder" not in client.get(address("kit")).text
    (folder / "ride.csv").write_text("elapsed_s,power_w\n0,200\n1,210\n", encoding="utf-8")
    assert "Tables in this folder" not in client.get(address("kit")).text
    (folder / "club.csv").write_text(f"Our kit\n{KIT}", encoding="utf-8")
    (folder / "tests.csv").write_text(EVIDENCE, encoding="utf-8")
    page = client.get(address("kit")).text
    assert page.count('<option value="club.csv">') == page.count('<option value="tests.csv">') == 1
    before = (folder / "scenario.toml").read_bytes()
    assert client.post(address("kit"), data=typed(client, "kit")).status_code == 303
    assert (folder / "scenario.toml").read_bytes() == before  # nothing is chosen unasked
    fields = typed(client, "kit", **{"s:kit.catalogue": "club.csv", "s:kit.evidence": "tests.csv"})
    assert client.post(address("kit"), data=fields).status_code == 303
    said = tomllib.loads((folder / "scenario.toml").read_text(encoding="utf-8"))
    assert said["kit"] == {"catalogue": "club.csv", "evidence": "tests.csv"}
    assert "Save writes to club.csv" in client.get(address("kit")).text
    assert "Fast tyres" in drawn(client, "kit", {})
    fields = typed(client, "kit", **{"s:kit.catalogue": "", "s:kit.evidence": ""})
    assert client.post(address("kit"), data=fields).status_code == 303
    assert "kit" not in tomllib.loads((folder / "scenario.toml").read_text(encoding="utf-8"))


def test_a_season_takes_tables_of_the_folder(client, folder):
    (folder / "club.csv").write_text(KIT, encoding="utf-8")
    path = folder / "club.toml"
    path.write_text("\n".join(line for line in CLUB.splitlines() if ".csv" not in line),
                    encoding="utf-8")
    place = address("season").replace("scenario.toml", "club.toml")
    shown = client.get(place).text
    assert "Tables in this folder" in shown
    fields = form_of(shown) | {"s:catalogue": "club.csv"}
    assert client.post(place, data=fields).status_code == 303
    said = tomllib.loads(path.read_text(encoding="utf-8"))
    assert (said["catalogue"], "evidence" in said) == ("club.csv", False)


@pytest.mark.usefixtures("with_kit")
def test_an_empty_currency_shows_which_one_holds(client):
    assert 'placeholder="EUR"' in client.get(address("kit")).text


@pytest.mark.parametrize("page", ["course", "rider", "weather", "kit"])
def test_a_form_says_nothing_that_only_a_file_means(client, page):
    said = client.get(address(page)).text
    assert "relative to this" not in said
    assert "[ ]" not in said


def test_how_a_table_of_efforts_was_read_is_said(client, folder):
    (folder / "best.csv").write_text("minutes,power_w,mood\n5:00,340,fine\n60,260,\n")
    (folder / "rider.toml").write_text('name = "Ann"\nmass_kg = 70\nefforts_csv = "best.csv"\n')
    page = html.unescape(client.get(address("rider")).text)
    assert "How your files were read" in page
    assert "best.csv: not used: the column mood" in page
