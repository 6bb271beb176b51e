"""The page's own planner against the command line's: golden plans by Python, made again in Node."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.errors import Infeasible
from optimizer.job import Job, Options
from optimizer.job.plans import draws_of
from optimizer.kit import setup_of
from optimizer.pacing import plan_ride
from optimizer.rider import Position
from optimizer.scenario import read_scenario
from optimizer.uncertainty import ride_days
from tests.pacing.random_days import BIKE, random_day
from tests.report.made_up import simple_result
from tests.report.tried import Try, answers_of_the_page, plan_tried

COURSES = Path(__file__).parents[2] / "courses"
OTHER = ("Light tyres", "Deep wheels")
AGREED = 0.05  # s; on three demos and six random scenarios the worst of 144 tries is 0.03 s


def tries_of(result):
    """Kit, wind to 60 km/h, temperature and rider, each by itself, then all at once."""
    cp, w_prime = result.job.rider.critical_power, result.job.rider.w_prime
    mass, items = result.job.rider.mass, result.choice.best.items
    return [
        Try(), Try(items=()), Try(items=items[:len(items) // 2]),
        *(Try(wind=wind) for wind in ((60.0, 10.0), (60.0, 190.0), (45.0, 280.0), (0.0, 0.0))),
        Try(celsius=-5), Try(celsius=38), Try(critical_power=0.85 * cp),
        Try(critical_power=1.1 * cp), Try(w_prime=0.6 * w_prime), Try(w_prime=1.5 * w_prime),
        Try(mass=mass - 8.0), Try(mass=mass + 12.0),
        Try(items=(), wind=(50.0, 60.0), celsius=25, critical_power=0.95 * cp, mass=mass + 4.0)]


def compare(result, tries, name, told=None):
    """Assert agreement, and say how close it is; `told` is what the page says, where known."""
    error, answers = told or answers_of_the_page(result, tries)
    assert error < AGREED
    worst = 0.0
    for tried, answer in zip(tries, answers, strict=True):
        try:
            plan = plan_tried(result, tried)
        except Infeasible:
            assert answer is None, tried
            continue
        assert answer is not None, tried
        off = answer["time"][-1] - plan.finish_time
        worst = max(worst, abs(off))
        assert abs(off) < AGREED, (tried, off)
        assert answer["agreed"], tried
    slowest = max(answer["seconds"] for answer in answers if answer)
    print(f"{name}: {len(tries)} tries, largest difference {worst:.4f} s, slowest {slowest:.2f} s")


@pytest.fixture(scope="module")
def told(result):
    """What the page answers to all that is tried here: by the try, and how far off it is."""
    tries = tries_of(result)
    cp = result.job.rider.critical_power
    asked = {**dict(enumerate([*tries[:5], tries[-2], tries[-1]])), "other kit": Try(items=OTHER),
             "weak": Try(critical_power=0.9 * cp), "strong": Try(critical_power=1.1 * cp),
             "beyond": Try(critical_power=1.01 * result.job.rider.max_power)}
    error, answers = answers_of_the_page(result, list(asked.values()))
    return asked, error, dict(zip(asked, answers, strict=True))


def test_the_page_plans_as_the_command_line_does(result, told):
    asked, error, answers = told
    compare(result, [asked[k] for k in range(7)], "made up",
            (error, [answers[k] for k in range(7)]))


@pytest.mark.long
@pytest.mark.parametrize("course", ["petrel-flats", "tarn-loop", "quern-pass"])
def test_on_the_demo_courses(course):
    result = simple_result(read_scenario(COURSES / course / "scenario.toml"))
    compare(result, tries_of(result), course)


def random_job(seed, kit):
    """A random course, wind and rider: several positions, any recovery, heat, a forecast."""
    rng = np.random.default_rng(seed)
    day = random_day(seed, minutes=(12.0, 100.0))
    rider = replace(
        day.rider, recovery=("linear", "partial", "slowing", "linear", "partial")[seed % 5],
        recovery_share=0.6 if seed % 5 in {1, 4} else 1.0,
        heat_response="unacclimatised" if seed % 2 else "none",
        positions=(*day.rider.positions, Position("upright", 0.36, 1.04))
        if seed % 3 == 0 else day.rider.positions)
    air = day.conditions
    if seed % 2:
        time = np.arange(-1, 8) * 1800.0
        air = replace(air, wind_time=time, wind_east=rng.normal(0.0, 4.0, (len(time), 1)),
                      wind_north=rng.normal(0.0, 4.0, (len(time), 1)),
                      temperature_change=np.linspace(-1.0, 6.0, len(time))[:, None],
                      gust=np.zeros((len(time), 1)))
    options = Options(draws=50, empty_risk=0.1 if seed % 5 == 2 else None)
    return Job("random", day.course, air, rider, BIKE, kit.catalogue, kit.effects, 1000.0, "EUR",
               options)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(20, 26))
def test_on_random_scenarios(result, seed):
    found = simple_result(random_job(seed, result.job))
    compare(found, tries_of(found), f"random {seed}")


# --- ranges and card --------------------------------------------------------------------------


def test_the_range_of_a_difference_is_that_of_common_days(result, told):
    # Both sets ridden on the same drawn days, each by its own plan: what the page sums from
    # items to first order.
    job, day, best = result.job, result.day, result.choice.best
    other = plan_ride(day, setup_of(job.baseline, job.catalogue, job.effects, OTHER))
    draws = draws_of(job, day)
    drawn = (ride_days(other, day, draws, job.effects, OTHER).time[-1]
             - ride_days(result.plan, day, draws, job.effects, best.items).time[-1])
    low, high = np.percentile(drawn, [5.0, 95.0])
    answer, same = told[2]["other kit"], told[2][0]
    assert answer["difference"] == pytest.approx([low, high], abs=0.1 * (high - low))
    assert same["difference"] == pytest.approx([0.0, 0.0], abs=0.01)
    # The finish itself is known less well than the difference.
    assert np.diff(answer["range"])[0] > 1.5 * np.diff(answer["difference"])[0]


def test_the_tried_card_keeps_the_limits_and_says_its_time(result, told):
    tested = result.job.rider.critical_power
    weak, strong = told[2]["weak"], told[2]["strong"]
    for answer in (weak, strong):
        card = answer["card"]
        assert card["finish"] == pytest.approx(answer["time"][-1] + card["price"])
        assert card["price"] > -AGREED  # no card is faster than the fastest plan
        assert card["clock"][0] == 0.0
        assert np.all(np.diff(card["clock"]) > 0)
        assert len(card["watts"]) == len(result.rideable.lines)
    change = np.mean(strong["card"]["watts"]) - np.mean(weak["card"]["watts"])
    assert change == pytest.approx(0.2 * tested, rel=0.3)


def test_more_than_the_power_limit_is_no_plan(told):
    assert told[2]["beyond"] is None
