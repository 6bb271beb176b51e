"""Tables: what is typed is written as the file spells it; messages stand at their cells."""

from __future__ import annotations

import html
import re
import tomllib

import pytest

from optimizer.scenario import read_scenario
from tests.window.conftest import EVIDENCE, KIT, SCENARIO
from tests.window.test_forms import form_of

CRLF = KIT.replace("\n", "\r\n")


def address(page, race="scenario.toml"):
    return f"/race/{page}/table?race={race}"


def cells(client, table, page="kit", **changes):
    shown = client.get(f"/race/{page}?race=scenario.toml").text
    return {**form_of(shown, f'data-grid="{table}">'), **changes}


def checked(client, fields, page="kit"):
    answer = client.post(address(page), data=fields, headers={"accept": "application/json"})
    assert answer.status_code == 200
    return {name: words for name, words in answer.json()["messages"].items() if words}


@pytest.mark.parametrize("table", ["kit", "evidence"])
def test_saving_what_was_shown_changes_nothing(client, with_kit, table):
    before = {path.name: path.read_bytes() for path in with_kit.iterdir()}
    assert client.post(address("kit"), data=cells(client, table)).status_code == 303
    assert {path.name: path.read_bytes() for path in with_kit.iterdir()} == before


def test_one_cell_changes_and_the_rest_of_the_file_does_not(client, with_kit):
    fields = cells(client, "kit", **{"kit.0.price": "49,90"})
    assert fields["kit.1.item"] == "Fast tyres"
    assert client.post(address("kit"), data=fields).status_code == 303
    assert (with_kit / "kit.csv").read_bytes().decode() == CRLF.replace("55,50", "49,90")


def test_a_row_goes_and_another_comes_with_a_column_more(client, with_kit):
    fields = cells(client, "kit", **{
        "kit.0.item": "", "kit.0.place": "", "kit.0.price": "", "kit.0.owned": "",
        "kit.0.mass_change_g": "", "kit.2.item": "Deep wheel", "kit.2.place": "front wheel",
        "kit.2.price": "560", "kit.2.hire_price": "60"})
    assert client.post(address("kit"), data=fields).status_code == 303
    text = (with_kit / "kit.csv").read_bytes().decode()
    assert text == CRLF.replace("Visor;visor;55,50;no;35;a\r\n", "").replace(
        "# mine", "# mine;hire_price") + "Deep wheel;front wheel;560;;;;60\r\n"


def test_what_is_wrong_stands_at_its_cell_all_at_once(client, with_kit):
    fields = cells(client, "kit", **{"kit.0.price": "cheap", "kit.1.place": "nowhere",
                                     "kit.4.item": "Chain", "kit.4.place": "chain"})
    found = checked(client, fields)
    assert set(found) == {"kit.0.price", "kit.1.place", "kit.4.price"}
    assert found["kit.0.price"].startswith('"cheap" is not a number')
    answer = client.post(address("kit"), data=fields)
    assert answer.status_code == 400
    said = re.search(r'value="cheap"[^>]*aria-invalid="true".*?<p class="message"[^>]*>(.*?)</p>',
                     answer.text, re.DOTALL)[1]
    assert html.unescape(said).startswith('"cheap" is not a number')
    assert (with_kit / "kit.csv").read_bytes().decode() == CRLF


def test_a_row_that_would_be_read_as_a_remark_is_refused(client, with_kit):
    fields = cells(client, "kit", **{"kit.2.item": "# 4 wheel", "kit.2.price": "560"})
    found = checked(client, fields)
    assert set(found) == {"kit.2.item"}
    assert "begins with #" in found["kit.2.item"]
    answer = client.post(address("kit"), data=fields)
    assert answer.status_code == 400
    assert "# 4 wheel" in html.unescape(answer.text)
    assert (with_kit / "kit.csv").read_bytes().decode() == CRLF


def test_the_message_is_that_of_the_command_line(client, with_kit):
    from optimizer.errors import InputError
    from optimizer.scenario.evidence_file import read_evidence

    found = checked(client, cells(client, "evidence", **{"evidence.1.figure": "saves 5 bananas"}))
    path = with_kit / "evidence.csv"
    path.write_text(EVIDENCE.replace("Crr -0.0006", "saves 5 bananas"), encoding="utf-8")
    with pytest.raises(InputError) as error:
        read_evidence(path)
    assert list(found) == ["evidence.1.figure"]
    assert found["evidence.1.figure"].startswith(error.value.problem)


def test_a_table_that_changed_meanwhile_is_not_lost(client, with_kit):
    path = with_kit / "kit.csv"
    fields = cells(client, "kit", **{"kit.0.price": "49"})
    changed = CRLF + "Chain;chain;40;no;;\r\n"
    path.write_bytes(changed.encode())
    answer = client.post(address("kit"), data=fields)
    assert answer.status_code == 400
    assert "was changed outside of this page; nothing was written" in answer.text
    assert "Price of &#34;Visor&#34; is 55,50 in the file, 49 here" in answer.text
    assert "&#34;Chain&#34; is in the file only" in answer.text
    assert path.read_bytes().decode() == changed
    again = form_of(answer.text, 'data-grid="kit">')
    assert again["kit.0.price"] == "49"
    assert client.post(address("kit"), data=again).status_code == 303
    text = path.read_bytes().decode()
    assert "Chain" not in text
    assert "Visor;visor;49;no;35" in text
    assert "# for next season" in text


def test_tables_are_begun_with_the_scenario_that_names_them(client, folder):
    shown = client.get("/race/kit?race=scenario.toml").text
    assert "Nothing could be bought yet" in shown
    fields = cells(client, "kit", **{"kit.0.item": "Visor", "kit.0.place": "visor",
                                     "kit.0.price": "55"})
    assert client.post(address("kit"), data=fields).status_code == 303
    text = (folder / "scenario.toml").read_text(encoding="utf-8")
    assert text.startswith(SCENARIO)
    assert tomllib.loads(text)["kit"] == {"catalogue": "kit.csv", "evidence": "evidence.csv"}
    job = read_scenario(folder / "scenario.toml")
    assert [item.name for item in job.catalogue.items] == ["Visor"]


def test_a_forecast_takes_the_place_of_one_wind(client, folder):
    fields = cells(client, "forecast", "weather", **{
        "forecast.0.time": "09:00", "forecast.0.wind_from_deg": "SW", "forecast.0.wind_kmh": "18",
        "forecast.1.time": "10:00", "forecast.1.wind_from_deg": "230",
        "forecast.1.wind_kmh": "2x"})
    path = folder / "scenario.toml"
    path.write_text(SCENARIO.replace("[options]", "start_time = 2031-06-15T09:30:00\n[options]"),
                    encoding="utf-8")
    assert list(checked(client, fields, "weather")) == ["forecast.1.wind_kmh"]
    fields["forecast.1.wind_kmh"] = "25"
    assert client.post(address("weather"), data=fields).status_code == 303
    said = tomllib.loads(path.read_text(encoding="utf-8"))["conditions"]
    assert said["forecast"] == "forecast.csv"
    assert "wind" not in said
    job = read_scenario(path)
    assert job.conditions.wind_east.shape[0] == 2


def test_a_table_that_cannot_be_read_is_told_and_left(client, with_kit):
    (with_kit / "kit.csv").write_text("what;ever\n1;2\n", encoding="utf-8")
    shown = client.get("/race/kit?race=scenario.toml").text
    assert "there is no column" in html.unescape(shown)


@pytest.mark.usefixtures("with_kit")
@pytest.mark.parametrize("table", ["", "nothing", "forecast"])
def test_only_tables_of_the_page_are_written(client, table):
    answer = client.post(address("kit"), data={"table": table, "kit.0.item": "x"})
    assert answer.status_code == 404


@pytest.mark.usefixtures("with_kit")
def test_markup_in_cells_is_shown_as_text(client):
    fields = cells(client, "kit", **{"kit.0.note": '"><script>alert(1)</script>'})
    assert client.post(address("kit"), data=fields).status_code == 303
    assert "<script>alert" not in client.get("/race/kit?race=scenario.toml").text
