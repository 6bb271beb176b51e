"""Batch files: combinations, single cases, names, refusals."""

from __future__ import annotations

from datetime import time

import pytest

from optimizer.errors import InputError, InputErrors
from optimizer.scenario.batch_file import read_batch
from optimizer.scenario.named_files import named_files


@pytest.fixture
def folder(tmp_path):
    for name in ("flat/scenario.toml", "hills/scenario.toml", "anna/rider.toml", "ben.toml",
                 "west.csv"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("")
    return tmp_path


def batch(folder, text, name="squad.toml"):
    (folder / name).write_text(text)
    return read_batch(folder / name)


def test_every_combination_is_a_case_with_a_name_that_says_it(folder):
    found = batch(folder, """
        scenarios = ["flat/scenario.toml", "hills/scenario.toml"]
        riders = ["anna/rider.toml", "ben.toml"]
        forecasts = ["west.csv", "25@225", "0@0"]
        budgets = [0, 500.0]
        """)
    assert found.name == "squad"
    assert len(found.cases) == 2 * 2 * 3 * 2
    assert len({case.name for case in found.cases}) == 24
    assert found.cases[0].name == "course flat, rider anna, west, budget 0"
    assert found.cases[-1].name == "course hills, rider ben, 0 km/h from 0°, budget 500"
    assert found.cases[3].wind == (25.0, 225.0)
    assert found.cases[3].forecast is None
    assert found.cases[0].forecast == folder / "west.csv"


def test_single_cases_beside_the_product(folder):
    found = batch(folder, """
        name = "June"
        scenarios = ["flat/scenario.toml"]
        [[case]]
        scenario = "hills/scenario.toml"
        start_time = 07:30:00
        forecast = "30@10"
        name = "early"
        [[case]]
        scenario = "flat/scenario.toml"
        """)
    assert [case.name for case in found.cases] == ["flat", "early", "flat (2)"]
    assert found.cases[1].start_time == time(7, 30)


def test_a_spreadsheet(folder):
    found = batch(folder, "\ufeffScenario;Rider;Forecast;Budget;Start time;Name\n"
                  "flat/scenario.toml;ben.toml;12,5@40;99,50;09:30;\n"
                  "hills/scenario.toml;;west.csv;;;Hills\n\n", "squad.csv")
    first, second = found.cases
    assert (first.budget, first.wind, first.start_time) == (99.5, (12.5, 40.0), time(9, 30))
    assert second.name == "Hills"
    assert second.rider is None
    assert second.budget is None


@pytest.mark.parametrize(("text", "says"), [
    ("", "has 0 cases"),
    ("scenarios = []", "has 0 cases"),
    ('riders = ["ben.toml"]', "names no scenarios"),
    ('scenarios = ["none.toml"]', 'no file "none.toml"'),
    ('scenarios = ["flat"]', 'no file "flat"'),
    ('scenarios = ["a\\u0000b"]', "no file"),
    ('scenarios = ["flat/scenario.toml"]\nforecasts = ["windy@west"]', "is not a wind"),
    ('scenarios = ["flat/scenario.toml"]\nforecasts = ["-5@10"]', "out of range"),
    ('scenarios = ["flat/scenario.toml"]\nbudgets = [-1]', "out of range"),
    ('scenarios = ["flat/scenario.toml"]\nbudgets = [nan]', "not a finite number"),
    ('scenarios = ["flat/scenario.toml"]\nwinds = []', "not a known key"),
    ('[[case]]\nname = "x"', "is missing"),
    ('[[case]]\nscenario = "flat/scenario.toml"\nrider = "no.toml"', "case 1, rider"),
])
def test_slips_are_named(folder, text, says):
    with pytest.raises(InputError) as error:
        batch(folder, text)
    assert says in str(error.value)


@pytest.mark.parametrize(("row", "says"), [
    ("none.toml,,", "row 2, column scenario"), (",,", "has 0 cases"),
    ("flat/scenario.toml,12@,", "row 2, column forecast"),
    ("flat/scenario.toml,,noon", "row 2, column start_time")])
def test_slips_in_a_spreadsheet_are_named(folder, row, says):
    with pytest.raises(InputError) as error:
        batch(folder, f"scenario,forecast,start_time\n{row}\n", "squad.csv")
    assert says in str(error.value)


def test_too_many_cases_are_refused(folder):
    with pytest.raises(InputError, match="10,000"):
        batch(folder, f'scenarios = ["flat/scenario.toml"]\nbudgets = {list(range(10_001))}')


def test_files_that_files_name(folder):
    (folder / "flat" / "scenario.toml").write_text(
        'rider = "../anna/rider.toml"\nname = "west"\n[kit]\nrules = ["r.toml", "none.toml"]\n')
    (folder / "flat" / "r.toml").write_text('name = "scenario.toml"\n')  # a ring ends
    (folder / "anna" / "rider.toml").write_text('efforts_csv = "../west.csv"\n')
    found = named_files(folder / "flat" / "scenario.toml")
    assert {path.name for path in found} == {"scenario.toml", "rider.toml", "west.csv", "r.toml"}


def test_all_mistakes_of_a_table_are_told_at_once(folder):
    with pytest.raises(InputErrors) as told:
        batch(folder, "scenario,rider,forecast,budget,start_time\n"
              "flat/scenario.toml,nobody.toml,,,\nflat/scenario.toml,,,much,\n"
              "hills/scenario.toml,,,,noon\n,ben.toml,,,\nhills/scenario.toml,,25@900,,\n",
              "squad.csv")
    assert [one.where for one in told.value.found] == [
        "row 2, column rider", "row 3, column budget", "row 4, column start_time",
        "row 5, column scenario", "row 6, column forecast"]
    assert "25@225" in told.value.samples[str(folder / "squad.csv")]


def test_a_table_of_unknown_headings_is_shown_right_ones(tmp_path):
    path = tmp_path / "batch.csv"
    path.write_text("foo\nbar\n", encoding="utf-8")
    with pytest.raises(InputError) as told:
        read_batch(path)
    said = str(told.value)
    assert 'there is no column "scenario"; not known: foo' in said
    assert "a right row: race/scenario.toml,windy," in said
    assert "under the headings: scenario,name," in said
