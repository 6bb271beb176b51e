"""The start page, and work: planned, stopped, refused, with files whole."""

from __future__ import annotations

import json
import os
import time

import pytest

from optimizer.window.tasks import compare, plan
from tests.report.spaces import loose_units
from tests.window.conftest import EVIDENCE, KIT


def ended(client, seconds=120.0):
    """State of the work once nothing runs any more."""
    until = time.monotonic() + seconds
    while client.site.work.state.kind == "running":
        assert time.monotonic() < until
        time.sleep(0.05)
    return client.site.work.state


def test_the_start_page_shows_what_lies_in_the_folder(client, folder):
    (folder / "tables").mkdir()
    (folder / "tables" / "kit.csv").write_text("item,place,price\n", encoding="utf-8")
    (folder / ".hidden.toml").write_text("x = 1\n", encoding="utf-8")
    text = client.get("/").text
    for words in ("Heron Lane 5", "Not planned yet", "rider.toml", "course.gpx", "tables/kit.csv"):
        assert words in text
    assert "hidden" not in text


def test_the_weather_that_is_assumed_stands_beside_the_answer(client, folder):
    path = folder / "scenario.toml"
    client.post("/work", data={"task": "plan", "race": "scenario.toml"})
    assert ended(client).kind == "done"
    pages = ("/", "/race?race=scenario.toml")
    for page in pages:
        assert "Assumed:" not in client.get(page).text
    said = path.read_text(encoding="utf-8")
    path.write_text(said.replace("wind = {", "# wind = {").replace("temperature_c", "# t"),
                    encoding="utf-8")
    for page in pages:
        text = client.get(page).text
        assert "Assumed: no wind, 20\N{NO-BREAK SPACE}°C." in text
        assert 'href="/race/weather?race=scenario.toml"' in text
    path.write_text(said.replace("wind = {", 'forecast = "x.csv" # {').replace(
        "temperature_c", "# t"), encoding="utf-8")
    assert "Assumed:" not in client.get("/").text


def test_a_scenario_that_cannot_be_read_says_so_on_the_start_page(client, folder):
    path = folder / "scenario.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(f"{text}laps = = 2\n", encoding="utf-8")
    line = text.count("\n") + 1
    text = client.get("/").text
    assert "is not valid TOML" in text
    assert f"line {line}," in text


def test_a_plan_writes_report_json_and_card_and_is_told(client, folder):
    answer = client.post("/work", data={"task": "plan", "race": "scenario.toml"})
    assert answer.status_code == 303
    state = ended(client)
    assert (state.kind, state.page) == ("done", "report.html"), state.words
    document = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    assert document["name"] == "Heron Lane 5"
    shown = client.get("/race", params={"race": "scenario.toml"}).text
    whole = round(document["rideable"]["finish_time_s"])
    clock = f"{whole // 60}:{whole % 60:02d}"
    assert clock in shown
    assert clock in state.words
    assert clock in client.get("/").text
    assert clock in client.get("/page/report.html").text
    low, high = (round(document["rideable"]["spread_s"][point]) for point in ("5", "95"))
    assert f"{low // 60}:{low % 60:02d} to {high // 60}:{high % 60:02d}" in client.get("/").text
    assert (folder / "card.html").is_file()
    assert "A file changed" not in shown
    for page in ("course", "rider", "weather", "kit", "settings", "compare", "debrief"):
        shown += client.get(f"/race/{page}", params={"race": "scenario.toml"}).text
    assert loose_units(shown + client.get("/").text) == []
    rider = folder / "rider.toml"
    later = time.time() + 10
    os.utime(rider, (later, later))
    assert "A file changed since" in client.get("/").text


@pytest.mark.parametrize("moment", ["reading the files", "writing the report"])
def test_a_plan_is_as_old_as_the_files_that_it_was_made_from(client, folder, moment):
    """Whoever saves while a plan runs is told, also after a reload: it may rest on either file."""
    rider = folder / "rider.toml"

    def progress(words):
        if words == moment:
            time.sleep(0.05)  # clocks of file systems are coarse
            rider.write_text(rider.read_text(encoding="utf-8").replace("70", "75"),
                             encoding="utf-8")

    plan(lambda _: None, str(folder), "scenario.toml", keep_kit=False)
    shown = ("/", "/race?race=scenario.toml")
    assert not any("A file changed since" in client.get(page).text for page in shown)
    plan(progress, str(folder), "scenario.toml", keep_kit=False)
    assert all("A file changed since" in client.get(page).text for page in shown)
    plan(lambda _: None, str(folder), "scenario.toml", keep_kit=False)
    assert not any("A file changed since" in client.get(page).text for page in shown)


def test_pages_of_other_work_are_told_to_be_older_than_the_files(client, folder):
    scenario = folder / "scenario.toml"
    sets = ("\n[[set]]\nname = 'A'\nitems = []\n\n[[set]]\nname = 'B'\nitems = ['Visor']\n"
            "\n[kit]\ncatalogue = 'kit.csv'\nevidence = 'evidence.csv'\n")
    (folder / "kit.csv").write_text(KIT, encoding="utf-8")
    (folder / "evidence.csv").write_text(EVIDENCE, encoding="utf-8")
    scenario.write_text(scenario.read_text(encoding="utf-8") + sets, encoding="utf-8")

    def progress(words):
        if words != "reading the files":
            (folder / "kit.csv").write_text(KIT.replace("120", "130"), encoding="utf-8")

    time.sleep(0.05)
    compare(lambda _: None, str(folder), "scenario.toml")
    page = "/race/compare?race=scenario.toml"
    assert "was worked out: work it out again" not in client.get(page).text
    compare(progress, str(folder), "scenario.toml")
    assert "was worked out: work it out again" in client.get(page).text


def test_what_cannot_be_planned_is_told_as_on_the_command_line(client, folder):
    path = folder / "rider.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("mass_kg = 70", "mass_kg = 7"),
                    encoding="utf-8")
    client.post("/work", data={"task": "plan", "race": "scenario.toml"})
    state = ended(client)
    assert state.kind == "failed"
    assert "line 2, mass_kg: 7 is out of range" in state.words
    assert "mass_kg: 7 is out of range" in client.get(
        "/race", params={"race": "scenario.toml"}).text
    assert sorted(p.name for p in folder.iterdir()) == ["course.gpx", "rider.toml",
                                                        "scenario.toml"]


def test_work_can_be_stopped_and_leaves_the_folder_whole(client, folder):
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    client.post("/work", data={"task": "plan", "race": "scenario.toml"})
    assert client.post("/work", data={"task": "plan", "race": "scenario.toml"}).status_code == 400
    assert client.post("/work/stop").status_code == 303
    assert client.site.work.state.kind == "stopped"
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_a_report_of_somebody_else_is_kept(client, folder):
    (folder / "report.html").write_text("mine", encoding="utf-8")
    client.post("/work", data={"task": "plan", "race": "scenario.toml"})
    state = ended(client)
    assert state.kind == "failed"
    assert "kitpace did not write it" in state.words
    assert (folder / "report.html").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("task", ["", "delete", "plan; rm"])
def test_only_known_work_is_begun(client, task):
    answer = client.post("/work", data={"task": task, "race": "scenario.toml"})
    assert answer.status_code == 400
    assert client.site.work.state.kind == "idle"
