"""`kitpace kit` as a person types it."""

from __future__ import annotations

import pytest

from tests.cli.typed import kitpace, starter


@pytest.fixture(scope="module")
def race(tmp_path_factory):
    return starter(tmp_path_factory.mktemp("kit")).parent


@pytest.fixture(scope="module")
def said(race):
    return kitpace("kit", "race/scenario.toml", "--budget", "300", "--money", "150,300", "--draws",
                   "60", "--out", "kit.html", cwd=race)


def test_the_answer_comes_first(said):
    assert said.returncode == 0, said.stderr
    first = said.stdout.split("\n\n")[0]
    for words in ("90 % range", "Spend ", "of 300 EUR", "Proven in this model",
                  "how often you could not hold that"):
        assert words in " ".join(first.split())
    # On a busy machine it says what it is at.
    assert all(line.startswith("Weighing kit: ") for line in said.stderr.splitlines())
    assert max(map(len, said.stdout.splitlines())) <= 80


def test_the_tables_follow(said):
    for heading in ("Without it", "Best kit at every price", "No longer", "Next purchase",
                    "EUR in all", "Not chosen"):
        assert heading in " ".join(said.stdout.split())


def test_the_page_holds_all_of_the_frontier(said, race):
    page = (race / "kit.html").read_text(encoding="utf-8")
    assert "Page: kit.html" in said.stdout
    for words in ("What does more money buy?", "What does one purchase save?",
                  "What is not chosen, and why", "qualified mechanic"):
        assert words in page


@pytest.mark.parametrize(("target", "why"), [
    ("57:30", "your current kit beats 57:30 on 100 days in 100 already, so this target is no test"),
    ("10:00", "no kit for 300 EUR beats 10:00 on enough more days")])
def test_a_target_that_kit_does_not_decide_claims_nothing_of_seconds(race, target, why):
    done = kitpace("kit", "race/scenario.toml", "--budget", "300", "--by", "target", "--target",
                   target, "--draws", "60", cwd=race)
    words = " ".join(done.stdout.split())
    assert f"Buy nothing: {why}" in words
    assert "is faster than your current kit" not in words
    assert "On the forecast day the fastest kit for 300 EUR saves" in words


@pytest.mark.ci
def test_a_budget_shared_between_riders(race):
    done = kitpace("kit", "race/scenario.toml", "race/scenario.toml", "--budget", "300", cwd=race)
    assert done.returncode == 0, done.stderr
    assert "over 2 rides" in " ".join(done.stdout.split())
    assert "Who rides what where" in done.stdout


def test_a_shared_budget_is_never_taken_from_one_of_the_files(race):
    done = kitpace("kit", "race/scenario.toml", "race/scenario.toml", cwd=race)
    assert done.returncode == 2
    assert "--budget" in done.stderr


def test_kit_and_plan_choose_the_same(race, said):
    plan = kitpace("plan", "race/scenario.toml", "--budget", "300", "--out", "plan.html", cwd=race)
    spent = [line.split(" of 300 EUR")[0].split("Spend ")[1]
             for line in (" ".join(done.stdout.split()) for done in (said, plan))]
    assert spent[0] == spent[1]


@pytest.mark.parametrize(("words", "what"), [
    (("--budget", "-5"), "between 0 and 1000000000"),
    (("--budget", "much"), "is not a number"),
    (("--by", "target"), "neither works alone"),
    (("--target", "50:00"), "goes with --by target"),
    (("--by", "target", "--target", "fast"), "is not a time"),
    (("--by", "target", "--target", "50:00,52:00"), "has 2 times for 1 scenarios"),
    (("--money", "500,300"), "above zero and rise"),
    (("--money", "some"), "is not a number"),
    (("--level", "2"), "out of range"),
    (("--out", "race"), "is a folder"),
])
def test_slips_are_explained(race, words, what):
    done = kitpace("kit", "race/scenario.toml", *words, cwd=race)
    assert done.returncode == 2
    assert what in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_a_scenario_that_is_not_there(race):
    done = kitpace("kit", "rice/scenario.toml", cwd=race)
    assert done.returncode == 2
    assert "there is no such file" in done.stderr
