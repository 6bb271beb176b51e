"""`kitpace season` and a budget that is shared, as a person types them."""

from __future__ import annotations

import csv
import json

import openpyxl
import pytest

from tests.cli.typed import kitpace, starter

CLUB = """\
name = "Two riders"
budget = 300

[[rider]]
name = "Ann"
file = "race/rider.toml"

[[rider]]
name = "Ben"
file = "race/rider.toml"

[[race]]
name = "Spring"
scenario = "race/scenario.toml"
date = 2031-05-04
riders = ["Ann"]

[[race]]
name = "Autumn"
scenario = "race/scenario.toml"
date = 2031-09-07
riders = ["Ben"]

[[stock]]
item = "Short-tail helmet"
lent = true
most = 1
resale = 50
"""


@pytest.fixture(scope="module")
def club(tmp_path_factory):
    where = starter(tmp_path_factory.mktemp("season"), draws=40).parent
    (where / "club.toml").write_text(CLUB)
    return where


@pytest.fixture(scope="module")
def said(club):
    return kitpace("season", "club.toml", "--json", "club.json", "--csv", "club.csv", cwd=club)


def test_the_answer_comes_first(said):
    assert said.returncode == 0, said.stderr
    text = " ".join(said.stdout.split())
    assert text.startswith("Two riders: spend ")
    assert "In this model no other way to spend the money saves more than" in text
    assert 'calls Ann "' in text
    for rider in ("Ann", "Ben"):
        assert f"{rider} gets " in text
    assert max(map(len, said.stdout.splitlines())) <= 80


def test_the_files_say_the_same(said, club):
    document = json.loads((club / "club.json").read_text())
    assert said.returncode == 0
    rows = list(csv.DictReader((club / "club.csv").read_text().splitlines()))
    assert len(rows) == len(document["rides"]) == 2
    for row, ride in zip(rows, document["rides"], strict=True):
        assert float(row["saved_s"]) == pytest.approx(ride["saved_s"], abs=0.06)
        assert ride["saved_low_s"] < ride["saved_s"] < ride["saved_high_s"]
    assert document["spend"] <= 300
    saved = [point["saved_s"] for point in document["frontier"]]
    assert saved == sorted(saved)
    (chosen,) = (point for point in document["frontier"] if point["chosen"])
    assert chosen["saved_s"] == pytest.approx(document["saved_s"], abs=1e-6)
    page = (club / "club-season.html").read_text(encoding="utf-8")
    for words in ("Who rides what where", "What is bought when?", "For each rider",
                  "What would more or less money save?", "qualified mechanic"):
        assert words in page


def test_one_rider_in_two_races_buys_once(club):
    done = kitpace("kit", "race/scenario.toml", "race/scenario.toml", "--budget", "300", "--money",
                   "150,300", "--out", "shared.html", cwd=club)
    assert done.returncode == 0, done.stderr
    text = " ".join(done.stdout.split())
    assert "over 2 rides" in text
    assert "As the money comes" in text
    bought = done.stdout.split("What to buy, in the order of the races.")[1].split("\n\n")[0]
    assert bought.count("Waxed") + bought.count("Fast tyres") >= 1
    for name in ("Waxed", "Fast tyres", "Fitting"):
        assert bought.count(name) <= 1
    assert (club / "shared.html").exists()


@pytest.mark.ci
def test_several_scenarios_have_a_target_each_and_tables(club):
    done = kitpace("kit", "race/scenario.toml", "race/scenario.toml", "--budget", "300", "--by",
                   "target", "--target", "20:00,21:00", "--tables", "shared.xlsx", cwd=club)
    assert done.returncode == 0, done.stderr
    book = openpyxl.load_workbook(club / "shared.xlsx", read_only=True)
    assert book.sheetnames == ["Rides", "Purchases", "Best season at each budget"]
    heads, *rides = book["Rides"].values
    assert heads[:4] == ("Rider", "Race", "Time, s", "Saved, s")
    assert len(rides) == 2
    assert all(time > 600 for _, _, time, *_ in rides)
    assert sum(price for *_, price, _ in list(book["Purchases"].values)[1:]) <= 300


def test_a_second_proof_is_for_one_scenario(club):
    done = kitpace("kit", "race/scenario.toml", "race/scenario.toml", "--budget", "300",
                   "--second-proof", cwd=club)
    assert done.returncode == 2
    assert "needs one scenario" in done.stderr


@pytest.mark.parametrize(("words", "what"), [
    (("--budget", "-5"), "between 0 and 1000000000"),
    (("--by", "target"), "needs a time to beat for each rider"),
    (("--out", "club.toml"), "club.toml"),
])
def test_slips_are_explained(club, words, what):
    done = kitpace("season", "club.toml", *words, cwd=club)
    assert done.returncode == 2
    assert what in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.long
def test_the_criteria_over_draws_say_that_they_prove_nothing(club):
    done = kitpace("season", "club.toml", "--by", "cvar", "--out", "cvar.html", cwd=club)
    assert done.returncode == 0, done.stderr
    assert "that is no proof" in " ".join(done.stdout.split())
