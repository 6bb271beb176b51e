"""Race morning: the kit that is there, the plan that a full run would give for it."""

from __future__ import annotations

import json

import pytest

from optimizer.errors import InputError
from optimizer.job import run
from optimizer.job.replan import replan
from optimizer.report.current import kept_words
from optimizer.report.plan_page import plan_page
from optimizer.scenario import read_scenario
from tests.hardening.corpus import EVIDENCE, KIT, kitpace, race

MORE = KIT + "Deep wheel,rear wheel,300,no,,,\n"


@pytest.fixture(scope="module")
def scenario(tmp_path_factory):
    return race(tmp_path_factory.mktemp("morning"), kit=MORE, evidence=EVIDENCE)


@pytest.fixture(scope="module")
def evening(scenario):
    return run(read_scenario(scenario, budget=600))


def test_the_same_weather_gives_the_same_plan(scenario, evening):
    assert set(evening.choice.best.items) == {"Disc", "Helmet"}
    morning = replan(read_scenario(scenario), evening.choice.best.items)
    assert morning.plan.finish_time == pytest.approx(evening.plan.finish_time, abs=0.01)
    assert morning.choice.best.spend == evening.choice.best.spend > 0
    assert morning.rideable.finish_time == pytest.approx(evening.rideable.finish_time, abs=0.5)
    assert morning.spread == pytest.approx(evening.spread, abs=0.5)


def test_another_wind_gives_what_planning_anew_with_this_kit_gives(scenario, evening):
    wind = (28.0, 60.0)
    morning = replan(read_scenario(scenario, wind=wind), evening.choice.best.items)
    anew = run(read_scenario(scenario, budget=600, wind=wind))
    assert set(anew.choice.best.items) == set(morning.choice.best.items)
    assert morning.plan.finish_time == pytest.approx(anew.plan.finish_time, abs=0.01)
    assert abs(morning.plan.finish_time - evening.plan.finish_time) > 1


def test_cross_wind_beyond_a_limit_takes_the_owned_part_instead(tmp_path, evening):
    rows = [f"{row},{'30' if row.startswith('Disc') else ''}" for row in KIT.splitlines()[1:]]
    kit = "\n".join([KIT.splitlines()[0] + ",crosswind_limit_kmh", *rows]) + "\n"
    scenario = race(tmp_path, kit=kit, evidence=EVIDENCE)
    calm = replan(read_scenario(scenario, wind=(10.0, 125.0)), evening.choice.best.items)
    assert "Disc" in calm.choice.best.items
    storm = replan(read_scenario(scenario, wind=(80.0, 125.0)), evening.choice.best.items)
    assert "Disc" not in storm.choice.best.items
    assert "Helmet" in storm.choice.best.items
    assert "cross wind" in dict(storm.choice.left_out)["Disc"]
    assert storm.choice.best.spend == storm.job.catalogue["Helmet"].cost == 150
    said = kept_words(storm.job.catalogue, storm.choice)
    assert said.startswith("The kit of the earlier plan, except Disc (up to ")
    assert said.endswith("above its limit of 30 km/h). In all, 150 EUR: Helmet.")


def test_what_was_hired_stays_hired_and_costs_what_it_cost(tmp_path, evening):
    rows = [f"{row},{'90' if row.startswith('Disc') else ''}" for row in KIT.splitlines()[1:]]
    kit = "\n".join([KIT.splitlines()[0] + ",hire_price", *rows]) + "\n"
    morning = replan(read_scenario(race(tmp_path, kit=kit, evidence=EVIDENCE)),
                     evening.choice.best.items)
    assert morning.choice.best.spend == 90 + 150
    words = kept_words(morning.job.catalogue, morning.choice)
    assert words == "The kit of the earlier plan, 240 EUR: Disc (hired) and Helmet."
    page = plan_page(morning)
    assert "90 to hire" in page
    assert "Saves on its own" not in page
    assert "The best kit for" not in page


def test_what_is_not_there_excludes_nothing_and_what_needs_it_is_left_at_home(tmp_path, evening):
    kit = (MORE.replace("Helmet,helmet,150,no,,,", "Helmet,helmet,150,no,,Deep wheel,")
           .replace("Old wheel,rear wheel,0,yes,,,", "Old wheel,rear wheel,0,yes,Deep wheel,,"))
    job = read_scenario(race(tmp_path, kit=kit, evidence=EVIDENCE))
    assert job.catalogue["Helmet"].excludes == job.catalogue["Old wheel"].requires
    morning = replan(job, evening.choice.best.items)
    assert set(morning.choice.best.items) == {"Disc", "Helmet"}
    assert morning.plan.finish_time == pytest.approx(evening.plan.finish_time, abs=0.01)


def test_an_item_that_is_gone_is_named(scenario):
    with pytest.raises(InputError, match='"Sail" is not in the catalogue'):
        replan(read_scenario(scenario), ["Sail"])


def test_the_command_keeps_the_kit_and_says_what_changed(scenario):
    first, card = scenario.with_name("evening.json"), scenario.with_name("card.html")
    code, _ = kitpace("plan", scenario, "--budget", 600, "--json", first)
    assert code == 0
    code, said = kitpace("plan", scenario, "--wind", "30@60", "--kit-from", first, "--card", card,
                         "--json", scenario.with_name("morning.json"))
    assert code == 0
    words = " ".join(said.split())
    spent = json.loads(first.read_text())["kit"]["spent"]
    assert f"The kit of the earlier plan, {spent:,.0f} EUR: Disc and Helmet." in words
    assert "Against evening.json" in words
    assert "30 km/h from the east-north-east instead of 12 km/h from the west-south-west" in words
    assert "Wind 30\N{NO-BREAK SPACE}km/h from 60°" in card.read_text(encoding="utf-8")
    document = json.loads(scenario.with_name("morning.json").read_text())
    assert document["kit"]["chosen"] == ["Disc", "Helmet"]
    assert document["kit"]["spent"] == spent > 0
    assert document["kit"]["from_earlier_plan"] is True
    assert document["kit"]["saved_s"] is None


def test_money_for_kit_does_not_go_with_the_kit_of_an_earlier_plan(scenario):
    code, said = kitpace("plan", scenario, "--budget", 600, "--kit-from", "evening.json")
    assert code == 2
    assert "--budget: does nothing with --kit-from" in said
