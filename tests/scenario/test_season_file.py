"""The season's file: what it says, and what is wrong with it in words with a line."""

from __future__ import annotations

from datetime import date

import pytest

from optimizer.errors import InputError
from optimizer.scenario.scenario import read_scenario
from optimizer.scenario.season_file import read_season
from optimizer.scenario.starter import write_starter

CLUB = """\
name = "Two riders"
budget = 500
{top}
[[rider]]
name = "Ann"
file = "race/rider.toml"
owns = ["Visor", "Short-tail helmet"]

[[rider]]
name = "Ben"
file = "race/rider.toml"

[[race]]
name = "Spring"
scenario = "race/scenario.toml"
date = 2031-05-04

[[race]]
name = "Autumn"
scenario = "race/scenario.toml"
date = {autumn}
riders = ["{rider}"]
targets = {{ Ben = "17:30" }}
{end}
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    where = tmp_path_factory.mktemp("club")
    write_starter(where / "race")
    return where


def club(folder, **words):
    text = CLUB.format(**{"top": "", "autumn": "2031-09-07", "rider": "Ben", "end": "", **words})
    (folder / "club.toml").write_text(text, encoding="utf-8")
    return folder / "club.toml"


def test_what_it_says(folder):
    season = read_season(club(folder, end="""
[[stock]]
item = "Fast tyres"
lent = true
owned = 1
most = 2
resale = 40
"""))
    assert [(entry.rider, entry.race) for entry in season.entries] == [
        ("Ann", "Spring"), ("Ben", "Spring"), ("Ben", "Autumn")]
    assert season.entries[2].first == date(2031, 9, 7)
    assert season.entries[2].target == 17 * 60 + 30
    pools = {(pool.item, pool.rider): pool for pool in season.pools}
    assert pools["Fast tyres", ""].owned == 1
    assert pools["Fast tyres", ""].most == 2
    assert pools["Fast tyres", ""].resale == 40
    assert pools["Visor", "Ann"].owned == 1
    assert pools["Visor", "Ben"].owned == 0
    assert pools["Own 50 mm wheels", "Ben"].owned == 1  # the catalogue says so
    assert season.budget == 500


def test_a_budget_and_a_least_gain_of_the_command_line(folder):
    season = read_season(club(folder), budget=50.0, least_gain=2.0)
    assert season.budget == 50.0
    assert season.least_gain == 2.0


LOAN = """
[[loan]]
item = "Visor"
lender = "Ann"
borrower = "Ben"
race = "{race}"
"""


def test_a_loan_is_there_for_its_race_alone(folder):
    season = read_season(club(folder, end=LOAN.format(race="Autumn")))
    assert [entry.borrowed for entry in season.entries] == [(), (), ("Visor",)]


@pytest.mark.parametrize(("words", "line", "problem", "remedy"), [
    ({"rider": "Bne"}, 22, 'there is no rider "Bne"', '"Ben"'),
    ({"autumn": "2031-05-04"}, 21, "Ben rides Spring on the same day", "change a date"),
    ({"end": LOAN.format(race="Spring")}, 29, '"Visor" is with Ann in Spring on the same day',
     "hire a second one"),
    ({"end": '[[stock]]\nitem = "Visor"\nowned = -1'}, 26, "-1 is out of range", ""),
    ({"top": 'currency = "CHF"'}, 15, "counts in EUR, the season in CHF", "one currency"),
    ({"end": '[[stock]]\nitem = "Vizor"'}, 25, 'there is no item "Vizor"', "Visor"),
    ({"end": LOAN.format(race="Autumn").replace("Visor", "Fast tyres")}, 26,
     'Ann does not own "Fast tyres"', "owns"),
    ({"end": "[[money]]\nin_all = 300"}, 2, "is given, and so is [[money]] in steps", "keep one"),
    ({"top": 'evidence = "race/evidence.csv"'}, 3, "belongs to a catalogue", "kit.csv"),
    ({"autumn": '"7 September"'}, 21, "has to be a date, without quotation marks", "2031-05-04"),
    ({"top": "budgte = 3"}, 3, "is not a known key", "budget"),
])
def test_what_is_wrong_is_said_with_its_line(folder, words, line, problem, remedy):
    path = club(folder, **words)
    with pytest.raises(InputError) as found:
        read_season(path)
    error = found.value
    assert error.file == str(path)
    assert f"line {line}" in error.where
    assert problem in error.problem
    assert remedy in error.remedy


def test_money_in_steps_rises(folder):
    text = club(folder).read_text().replace("budget = 500", "")
    steps = "[[money]]\nin_all = 300\n[[money]]\nin_all = {more}\nsince = 2031-06-01\n"
    (folder / "steps.toml").write_text(text + steps.format(more=500))
    season = read_season(folder / "steps.toml")
    assert [money.in_all for money in season.money] == [300, 500]
    assert season.step_at(date(2031, 5, 4)) == 0
    assert season.step_at(date(2031, 9, 7)) == 1
    (folder / "steps.toml").write_text(text + steps.format(more=200))
    with pytest.raises(InputError, match="less than the 300"):
        read_season(folder / "steps.toml")


def test_mistakes_of_all_kinds_are_said_at_once(folder):
    path = club(folder, top='catalogue = "race/kit.csv"', rider="Bne", end=(
        '[[stock]]\nitem = "Vizor"\n\n[[stock]]\nitem = "Race skinsuit"\nmost = 0\nresale = 1e6\n'))
    path.write_text(path.read_text(encoding="utf-8").replace(
        "date = 2031-05-04", "date = 2031-05-04\nweight = -2"), encoding="utf-8")
    with pytest.raises(InputError) as found:
        read_season(path)
    said = str(found.value)
    for words in ("-2 is out of range", 'no rider "Bne"', 'no item "Vizor"',
                  "more than its price", "nobody can have it"):
        assert words in said


def test_days_loans_and_money_are_told_at_once(folder):
    path = club(folder, autumn="2031-05-04", end=(
        "[[money]]\nin_all = 300\n\n[[money]]\nin_all = 200\nsince = 2031-06-01\n"
        + LOAN.format(race="Autumn") + LOAN.format(race="Sprnig")
        + '[[stock]]\nitem = "Fast tyres"\n\n[[stock]]\nitem = "Fast tyres"\n'))
    with pytest.raises(InputError) as found:
        read_season(path)
    said = str(found.value)
    for words in ("Ben rides Spring on the same day", 'no race "Sprnig"', "less than the 300",
                  "so is [[money]]", '"Visor" is with Ann in Spring', '"Fast tyres" appears twice'):
        assert words in said


def test_a_file_of_the_other_kind_is_sent_on(folder):
    with pytest.raises(InputError, match="a scenario, not a season") as found:
        read_season(folder / "race/scenario.toml")
    assert "kitpace plan" in found.value.remedy
    with pytest.raises(InputError, match="season file, not a scenario") as found:
        read_scenario(club(folder))
    assert "kitpace season" in found.value.remedy
