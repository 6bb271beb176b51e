"""What is typed into a form is written as a text editor would, or said to be wrong beside it."""

from __future__ import annotations

import html
import re
import tomllib

import pytest

from tests.window.conftest import RIDER, SCENARIO, track


def form_of(text, mark="data-check>"):
    """Fields of the first form with such a mark, as a browser would send them untouched."""
    form = re.search(rf'<form method="post"[^>]*{mark}(.*?)</form>', text, re.DOTALL)[1]
    found = {}
    for tag, attributes in re.findall(r"<(input|select)\b([^>]*)>", form):
        values = dict(re.findall(r'([a-z-]+)="([^"]*)"', attributes))
        name = html.unescape(values.get("name", ""))
        if tag == "select":
            inside = re.search(rf'<select[^>]*name="{re.escape(values["name"])}".*?</select>', form,
                               re.DOTALL)[0]
            chosen = re.search(r'<option value="([^"]*)" selected>', inside)
            found[name] = html.unescape(chosen[1]) if chosen else ""
        elif values.get("type") != "checkbox" or " checked" in attributes:
            found[name] = html.unescape(values.get("value", ""))
    return found


def address(page, race="scenario.toml"):
    return f"/race/{page}?race={race}"


def typed(client, page, **changes):
    """Fields of a page with some of them typed over."""
    fields = form_of(client.get(address(page)).text)
    assert fields
    return {**fields, **changes}


def checked(client, page, fields):
    answer = client.post(address(page), data=fields, headers={"accept": "application/json"})
    assert answer.status_code == 200
    return answer.json()


def drawn(client, page, fields):
    answer = client.post(f"{address(page)}&drawn", data=fields)
    assert answer.status_code == 200
    return answer.text


@pytest.mark.parametrize("page", ["rider", "weather", "kit", "settings"])
def test_saving_what_was_shown_changes_nothing(client, folder, page):
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    answer = client.post(address(page), data=typed(client, page))
    assert answer.status_code == 303
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_a_figure_is_written_where_it_stands_and_comments_stay(client, folder):
    fields = typed(client, "weather", **{"s:conditions.temperature_c": "21,5",
                                         "s:conditions.wind.speed_kmh": "25"})
    assert client.post(address("weather"), data=fields).status_code == 303
    text = (folder / "scenario.toml").read_text(encoding="utf-8")
    assert text == SCENARIO.replace("temperature_c = 17 ", "temperature_c = 21.5 ").replace(
        "speed_kmh = 12", "speed_kmh = 25")


def test_units_and_points_of_the_compass_are_taken_as_in_tables(client, folder):
    fields = typed(client, "weather", **{"s:conditions.temperature_c": "21 °C",
                                         "s:conditions.wind.speed_kmh": "25 km/h",
                                         "s:conditions.wind.from_deg": "SW"})
    assert client.post(address("weather"), data=fields).status_code == 303
    said = tomllib.loads((folder / "scenario.toml").read_text(encoding="utf-8"))["conditions"]
    assert said["temperature_c"] == 21
    assert said["wind"] == {"speed_kmh": 25, "from_deg": 225}
    fields = typed(client, "rider", **{"r:mass_kg": "69,5 kg", "r:efforts.0.power_w": "301 W"})
    assert client.post(address("rider"), data=fields).status_code == 303
    said = tomllib.loads((folder / "rider.toml").read_text(encoding="utf-8"))
    assert (said["mass_kg"], said["efforts"][0]["power_w"]) == (69.5, 301)


def test_wind_that_is_taken_away_is_no_wind(client, folder):
    fields = typed(client, "weather", **{"s:conditions.wind.speed_kmh": "",
                                         "s:conditions.wind.from_deg": ""})
    assert client.post(address("weather"), data=fields).status_code == 303
    assert "wind" not in tomllib.loads((folder / "scenario.toml").read_text())["conditions"]


@pytest.mark.parametrize(("page", "name", "value", "words"), [
    ("weather", "s:conditions.temperature_c", "99",
     "99 is out of range: it has to be at most 55; temperature of the air"),
    ("weather", "s:conditions.temperature_c", "warm", 'has to be a number, not "warm"'),
    ("rider", "r:height_cm", "1.69 m", "; the rider's height, in cm"),
    ("weather", "s:conditions.wind.from_deg", "", "is missing"),
    ("weather", "s:conditions.start_time", "tomorrow", "has to be a date and time"),
    ("settings", "s:options.start", "flying", "a flying start needs its speed"),
    ("settings", "s:options.empty_risk_percent", "80", "80 is out of range"),
    ("rider", "r:mass_kg", "7", "7 is out of range: it has to be at least 30"),
    ("rider", "r:mass_kg", "", "is missing"),
    ("rider", "r:height_cm", "1.8", "1.8 is out of range"),
    ("rider", "r:efforts.1.power_w", "9999", "9999 is out of range: it has to be at most 3000"),
    ("rider", "r:efforts.1.minutes", "5", "there are two efforts of 5 minutes"),
    ("rider", "r:long.run_target_min", "45", "needs both run_target_min and run_fresh_min"),
    ("rider", "r:max_power_w", "100", "is not above critical power"),
    ("rider", "r:recovery_percent", "50", 'is not used with recovery "linear"'),
])
def test_what_is_wrong_is_said_beside_its_field_and_nothing_is_written(
        client, folder, page, name, value, words):
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    fields = typed(client, page, **{name: value})
    found = checked(client, page, fields)
    assert list(found["messages"]) == [name]
    assert words in found["messages"][name]
    answer = client.post(address(page), data=fields)
    assert answer.status_code == 400
    beside = re.search(rf'id="{re.escape(name)}-m">(.*?)</p>', answer.text)[1]
    assert words in html.unescape(beside)
    assert form_of(answer.text)[name] == value  # what was typed is still there
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_the_message_is_that_of_the_command_line(client, folder):
    from optimizer.errors import InputError
    from optimizer.scenario.rider_file import read_rider

    found = checked(client, "rider", typed(client, "rider", **{"r:height_cm": "18"}))
    path = folder / "rider.toml"
    path.write_text(f"height_cm = 18\n{RIDER}", encoding="utf-8")
    with pytest.raises(InputError) as error:
        read_rider(path)
    said = error.value
    assert found["messages"] == {"r:height_cm": f"{said.problem}; {said.remedy}"}


def test_all_that_is_wrong_is_said_at_once(client):
    found = checked(client, "rider", typed(client, "rider", **{
        "r:mass_kg": "7", "r:efforts.0.minutes": "x", "r:height_cm": "0"}))
    assert set(found["messages"]) == {"r:mass_kg", "r:efforts.0.minutes", "r:height_cm"}


def test_the_curve_is_drawn_from_what_is_typed(client, folder):
    fields = typed(client, "rider", **{"r:efforts.1.power_w": "245"})
    assert not checked(client, "rider", fields)["messages"]
    picture = drawn(client, "rider", fields)
    assert "245\u00a0W for 60\u00a0min" in picture
    assert "<svg" in picture
    assert drawn(client, "rider", {**fields, "r:mass_kg": "7"}) == ""
    assert "power_w = 260" in (folder / "rider.toml").read_text(encoding="utf-8")


def test_efforts_are_added_and_taken_away(client, folder):
    fields = typed(client, "rider", **{"r:efforts.2.minutes": "20", "r:efforts.2.power_w": "285"})
    assert client.post(address("rider"), data=fields).status_code == 303
    text = (folder / "rider.toml").read_text(encoding="utf-8")
    assert text == RIDER + "\n[[efforts]]\nminutes = 20\npower_w = 285\n"
    fields = typed(client, "rider", **{"r:efforts.0.minutes": "", "r:efforts.0.power_w": ""})
    assert client.post(address("rider"), data=fields).status_code == 303
    assert tomllib.loads((folder / "rider.toml").read_text(encoding="utf-8"))["efforts"] == [
        {"minutes": 60, "power_w": 260}, {"minutes": 20, "power_w": 285}]


def test_a_row_that_is_partly_filled_is_refused_and_nothing_is_lost(client, folder):
    before = (folder / "rider.toml").read_bytes()
    for changes, name in (({"r:efforts.1.power_w": ""}, "r:efforts.1.power_w"),
                          ({"r:efforts.1.minutes": ""}, "r:efforts.1.minutes"),
                          ({"r:efforts.2.minutes": "20"}, "r:efforts.2.power_w"),
                          ({"r:efforts.0.minutes": "", "r:efforts.0.power_w": "",
                            "r:efforts.1.power_w": ""}, "r:efforts.1.power_w")):
        fields = typed(client, "rider", **changes)
        assert checked(client, "rider", fields)["messages"].keys() == {name}
        answer = client.post(address("rider"), data=fields)
        assert answer.status_code == 400
        beside = re.search(rf'id="{re.escape(name)}-m">(.*?)</p>', answer.text)[1]
        assert "is missing" in html.unescape(beside)
        again = form_of(answer.text)
        assert {key: again[key] for key in changes} == changes
        assert (folder / "rider.toml").read_bytes() == before


def test_efforts_that_are_only_suggested_are_no_efforts(client, folder):
    path = folder / "rider.toml"
    path.write_text("mass_kg = 70\ncritical_power_w = 280\nw_prime_kj = 20\n", encoding="utf-8")
    fields = typed(client, "rider", **{"r:mass_kg": "71"})
    assert fields["r:efforts.0.minutes"] == "4"
    assert client.post(address("rider"), data=fields).status_code == 303
    assert "efforts" not in tomllib.loads(path.read_text(encoding="utf-8"))
    fields = typed(client, "rider", **{"r:efforts.0.minutes": "5"})  # typed, so it is meant
    assert "r:efforts.0.power_w" in checked(client, "rider", fields)["messages"]


def test_a_place_on_the_course_that_is_partly_filled_is_refused(client, folder):
    before = (folder / "scenario.toml").read_bytes()
    for name, value in (("s:mark.0.name", "Bridge"), ("s:corner.0.speed_kmh", "30"),
                        ("s:stretch.0.surface", "cobbles"), ("s:stretch.0.from_km", "1")):
        fields = typed(client, "course", **{name: value})
        found = checked(client, "course", fields)["messages"]
        assert any(words and key.startswith(name[:-len(name.rpartition(".")[2])])
                   for key, words in found.items()), found
        assert client.post(address("course"), data=fields).status_code == 400
        assert (folder / "scenario.toml").read_bytes() == before


def test_a_row_that_is_taken_away_takes_its_own_comments_only(client, folder):
    path = folder / "rider.toml"
    path.write_text(RIDER.replace("power_w = 340", "power_w = 340  # uphill").replace(
        "power_w = 260", "power_w = 260  # on the track"), encoding="utf-8")
    fields = typed(client, "rider", **{"r:efforts.2.minutes": "20", "r:efforts.2.power_w": "285"})
    gone = {name: text for name, text in fields.items() if not name.startswith("r:efforts.0.")}
    assert client.post(address("rider"), data=gone).status_code == 303
    text = path.read_text(encoding="utf-8")
    assert "uphill" not in text
    assert "power_w = 260  # on the track" in text
    assert tomllib.loads(text)["efforts"] == [{"minutes": 60, "power_w": 260},
                                              {"minutes": 20, "power_w": 285}]


def test_two_windows_add_up(client, folder):
    one = typed(client, "weather", **{"s:conditions.temperature_c": "25"})
    other = typed(client, "weather", **{"s:conditions.wind.speed_kmh": "30"})
    assert client.post(address("weather"), data=one).status_code == 303
    assert client.post(address("weather"), data=other).status_code == 303
    conditions = tomllib.loads((folder / "scenario.toml").read_text())["conditions"]
    assert conditions == {"temperature_c": 25, "wind": {"speed_kmh": 30, "from_deg": 250}}


def test_a_text_editor_meanwhile_loses_nothing_and_a_clash_is_said(client, folder):
    path = folder / "scenario.toml"
    fields = typed(client, "weather", **{"s:conditions.temperature_c": "25"})
    path.write_text(SCENARIO.replace("= 17 ", "= 9 ").replace("draws = 20", "draws = 30"),
                    encoding="utf-8")
    answer = client.post(address("weather"), data=fields)
    assert answer.status_code == 400
    assert "was changed here meanwhile: it says 9 now" in html.unescape(answer.text)
    assert "temperature_c = 9 " in path.read_text(encoding="utf-8")
    again = form_of(answer.text)
    assert again["s:conditions.temperature_c"] == "25"
    assert client.post(address("weather"), data=again).status_code == 303
    assert tomllib.loads(path.read_text())["conditions"]["temperature_c"] == 25
    assert "draws = 30" in path.read_text(encoding="utf-8")


def test_rows_that_both_changed_are_not_lost(client, folder):
    path = folder / "rider.toml"
    fields = typed(client, "rider", **{"r:efforts.1.power_w": "255"})
    path.write_text(f"{RIDER}\n[[efforts]]\nminutes = 20\npower_w = 285\n", encoding="utf-8")
    answer = client.post(address("rider"), data=fields)
    assert answer.status_code == 400
    assert "it says 3 rows now" in html.unescape(answer.text)
    assert len(tomllib.loads(path.read_text())["efforts"]) == 3


def test_a_file_that_was_wrong_before_can_be_mended(client, folder):
    path = folder / "rider.toml"
    path.write_text(RIDER.replace("mass_kg = 70", "mass_kg = 7"), encoding="utf-8")
    fields = typed(client, "rider", **{"r:mass_kg": "71"})
    assert client.post(address("rider"), data=fields).status_code == 303
    assert "mass_kg = 71" in path.read_text(encoding="utf-8")


def test_what_is_wrong_in_another_file_is_told_and_does_not_hinder(client, folder):
    (folder / "course.gpx").write_text("<gpx>", encoding="utf-8")
    fields = typed(client, "weather", **{"s:conditions.temperature_c": "25"})
    found = checked(client, "weather", fields)
    assert found["messages"] == {}
    assert any("course.gpx" in note for note in found["notes"])
    assert client.post(address("weather"), data=fields).status_code == 303
    assert "temperature_c = 25" in (folder / "scenario.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("page", ["rider", "weather", "nothing"])
def test_a_race_that_is_not_there_is_told(client, page):
    answer = client.get(address(page, "elsewhere.toml"))
    assert answer.status_code in {400, 404}


def test_a_dropped_track_becomes_a_race(client, folder):
    answer = client.post("/new", files={"gpx": ("My Loop (1).GPX", track(), "")},
                         data={"name": ""})
    assert answer.status_code == 303
    assert answer.headers["location"] == "/race/rider?race=my-loop-1.toml"
    said = tomllib.loads((folder / "my-loop-1.toml").read_text(encoding="utf-8"))
    assert said["name"] == "Heron Lane"
    assert (said["course"]["gpx"], said["rider"]) == ("my-loop-1.gpx", "rider.toml")
    again = client.post("/new", files={"gpx": ("My Loop (1).GPX", track(), "")},
                        data={"name": "Second"})
    assert "my-loop-1-2.toml" in again.headers["location"]
    assert (folder / "my-loop-1.gpx").read_text(encoding="utf-8") == track()


@pytest.mark.parametrize(("name", "content", "words"), [
    ("course.gpx", "<gpx></gpx>", "course.gpx"),
    ("course.gpx", "MZ\x90\0", "course.gpx"),
    ("run.exe", track(), "is not a GPX file"),
    ("../../up.gpx", "nothing", "up.gpx"),
    ("evil.gpx", '<!DOCTYPE x [<!ENTITY a "b">]><gpx>&a;</gpx>', "document type"),
])
def test_what_is_no_course_is_refused_and_not_kept(client, folder, name, content, words):
    before = sorted(path.name for path in folder.iterdir())
    answer = client.post("/new", files={"gpx": (name, content, "")}, data={"name": "x"})
    assert answer.status_code == 400
    assert words in html.unescape(answer.text)
    assert sorted(path.name for path in folder.iterdir()) == before
    assert sorted(path.name for path in folder.parent.iterdir()) == [folder.name]


def test_a_rider_who_has_no_file_yet_gets_one(client, folder):
    (folder / "rider.toml").unlink()
    fields = typed(client, "rider")
    assert (fields["r:efforts.0.minutes"], fields["r:efforts.1.minutes"]) == ("4", "20")
    fields |= {"r:mass_kg": "63", "r:efforts.0.power_w": "250", "r:efforts.1.power_w": "200"}
    assert client.post(address("rider"), data=fields).status_code == 303
    said = tomllib.loads((folder / "rider.toml").read_text(encoding="utf-8"))
    assert said == {"mass_kg": 63, "efforts": [{"minutes": 4, "power_w": 250},
                                               {"minutes": 20, "power_w": 200}]}
    assert "# height_cm = 180 " in (folder / "rider.toml").read_text(encoding="utf-8")


def test_another_rider_is_taken(client, folder):
    (folder / "second.toml").write_text("mass_kg = 60\n", encoding="utf-8")
    text = client.get(address("rider")).text
    assert '<option value="second.toml">' in text
    assert client.post(address("rider"), data={
        "s:rider": "second.toml", "was s:rider": "rider.toml"}).status_code == 303
    assert 'rider = "second.toml"' in (folder / "scenario.toml").read_text(encoding="utf-8")
    answer = client.post(address("rider"), data={
        "s:rider": "../../passwd.toml", "was s:rider": "second.toml"})
    assert answer.status_code == 400
    assert "outside of the opened folder" in answer.text
    assert 'rider = "second.toml"' in (folder / "scenario.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("start", ["", 'start = "standing"\n'])
def test_a_list_offers_each_choice_once(client, folder, start):
    (folder / "scenario.toml").write_text(SCENARIO + start)
    text = client.get(address("settings")).text
    inside = re.search(r'<select[^>]*name="s:options.start".*?</select>', text, re.DOTALL)[0]
    assert re.findall(r">(\w+)</option>", inside) == ["standing", "flying"]
    fields = typed(client, "settings")
    assert fields["s:options.start"] == ("standing" if start else "")
