"""The card: where its lines begin, what each saves, and that limits are kept."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from optimizer.course import Mark
from optimizer.course.laps import Laps
from optimizer.errors import Infeasible
from optimizer.pacing import (
    constant_power,
    constant_speed,
    figure_unit,
    rideable,
    simulate,
    solve,
)
from optimizer.pacing.blocks import _Line, _Maker, line_saves
from optimizer.pacing.solver import StepTooLong
from optimizer.pacing.terrain import climbs_and_descents
from optimizer.rider.effort import EffortLimit
from optimizer.rider.recovery import SLOWING
from tests.pacing.random_problems import random_problem
from tests.published.uniform_course import stretches

BIKE = {"mass": 82.0, "area": 0.26, "rolling": 0.004, "efficiency": 0.976, "power": 270.0,
        "inertia": 83.5}
EFFORT = {"effort_rate": 0.97}


def hilly(**fields):
    """Plan of two climbs with a valley road between, in a wind, under an effort limit."""
    grade = np.repeat([0.0, 0.05, -0.04, 0.0, 0.03, -0.03, 0.0], [60, 60, 60, 80, 60, 50, 30])
    return solve(random_problem(8, **({"steps": 400, "length": 25e3, "start_speed": 8.0,
                                       "grade": grade, "wind": 5.0} | EFFORT | fields)))


def marks(every, length):
    return [Mark(f"mark {k}", every * k) for k in range(1, round(length / every))]


@pytest.mark.parametrize(("power", "unit"), [(130, 1.0), (198, 2.0), (300, 2.0), (480, 5.0)])
def test_units_of_about_a_percent(power, unit):
    assert figure_unit(power) == unit


@pytest.mark.parametrize("least", [0.0, 0.3, 2.0])
def test_division_against_every_one(least):
    plan = hilly()
    places = marks(3000.0, 25e3)
    maker = _Maker(plan, places, 4, rolling=False, laps=None)
    at = [0, *(int(np.argmin(np.abs(plan.distance - place.distance))) for place in places), 400]

    def loss(edges):
        total = least * (len(edges) - 1)
        for a, b in itertools.pairwise(edges):
            w, power = maker.weight[a:b], plan.power[a:b]
            total += 0.5 * float(w @ (power - np.average(power, weights=w)) ** 2)
        return total

    best = min(loss((0, *inner, 400)) for count in range(4)
               for inner in itertools.combinations(at[1:-1], count))
    lines = maker.divide(0.0, least)
    found = [at[lines[0].begin], *(at[line.end] for line in lines)]
    assert loss(found) == pytest.approx(best, rel=1e-9)


def test_the_loss_foreseen_is_that_of_rides():
    """Second order in what a line's power is off: within a tenth of true rides at their best."""
    plan = hilly()
    maker = _Maker(plan, marks(1500.0, 25e3), 8, rolling=False, laps=None)
    few, more = maker.divide(0.0, 3.0), maker.divide(0.0, 0.0)
    assert len(few) < len(more)
    foreseen, ridden = ([sum(maker.costs(0, 0.0)[0][line.begin, line.end] for line in lines)
                         for lines in (few, more)],
                        [maker.optimised(lines).time - plan.finish_time for lines in (few, more)])
    assert ridden == pytest.approx(foreseen, rel=0.15, abs=0.1)


def test_lines_against_every_three_of_a_windy_road():
    """Tail wind, head wind, tail wind: few lines leave a limit unspent, not foreseen."""
    n = 160
    wind = np.repeat([-5.0, 5.0, -5.0], [50, 80, 30])
    problem = random_problem(8, steps=n, length=16e3, start_speed=8.0, grade=np.zeros(n),
                             headwind=wind, crosswind=np.zeros(n), effort_rate=1.01, w_prime=10e3)
    plan = solve(problem)
    maker = _Maker(plan, marks(2000.0, 16e3), 8, rolling=False, laps=None)
    last = maker.strips[0].nodes.shape[1] - 1

    def priced(card):
        return card.time + maker.least * card.parts

    every = [maker.optimised(tuple(
        _Line(0, a, b, rolls=False) for a, b in itertools.pairwise((0, *inner, last))))
        for count in range(3) for inner in itertools.combinations(range(1, last), count)]
    assert len(min(every, key=priced).lines) > 1
    assert min(map(priced, maker.best())) <= min(map(priced, every)) + 0.5 * maker.least


def kept(problem, ridden):
    assert ridden.reserve.min() >= problem.reserve_floor - 1e-6 * problem.w_prime
    assert np.all(ridden.power <= problem.power_limit)
    if problem.effort is not None:
        spent = (ridden.power / problem.critical_power) ** 4 - problem.effort.per_second
        assert float(spent @ np.diff(ridden.time)) <= problem.effort.budget + 1e-3


@pytest.mark.parametrize("fields", [
    EFFORT, {"recovery": 0.6, "reserve_floor": 2000.0, "effort_rate": None},
    {"recovery_law": SLOWING}, {"pedalling_speed": 13.0}])
def test_figures_are_round_and_within_the_limits(fields):
    plan = hilly(**fields)
    problem, places = plan.problem, marks(2000.0, 25e3)
    ridden = rideable(plan, places, blocks=4, rounding=10.0)
    assert 1 <= len(ridden.lines) <= 4
    assert ridden.blocks[0].start == 0.0
    assert ridden.blocks[0].place == "start"
    assert ridden.blocks[-1].end == pytest.approx(25e3)
    for before, after in itertools.pairwise(ridden.blocks):
        assert before.end == after.start
        assert after.place == places[round(after.start / 2000) - 1].name
    unit = 1.0 if ridden.even else 10.0
    for block in ridden.blocks:
        for power in (block.power, block.climb, block.descent):
            assert power is None or power % unit == pytest.approx(0.0, abs=1e-9)
            assert power is None or 0 <= power <= problem.power_limit.max()
    kept(problem, ridden)
    assert ridden.price == pytest.approx(ridden.finish_time - plan.finish_time)
    exact = rideable(plan, places, blocks=4, rounding=0.0)
    kept(problem, exact)
    assert exact.finish_time <= ridden.finish_time + 0.05
    again = simulate(problem, ridden.asked)
    assert float(again.finish_time) == pytest.approx(ridden.finish_time, abs=1e-3)
    assert again.power == pytest.approx(ridden.power, abs=0.1)


@pytest.mark.parametrize("seed", range(6))
def test_never_slower_than_even_power(seed):
    problem = random_problem(seed, steps=300, length=20e3, start_speed=8.0, effort_rate=0.97,
                             wind=6.0)
    plan = solve(problem)
    ridden = rideable(plan, marks(1000.0, 20e3))
    even = constant_power(plan, rounding=1.0)
    assert ridden.finish_time <= even.finish_time + 1e-6
    assert ridden.even_price == pytest.approx(even.price)
    if ridden.even:
        assert len(ridden.blocks) == 1
    else:
        assert ridden.finish_time < even.finish_time - line_saves(plan.finish_time)


def test_every_line_saves_what_it_has_to():
    """By rides of our own: leave one out, and no figures for the rest win back what it saved."""
    from scipy.optimize import minimize_scalar

    plan = hilly()
    ridden = rideable(plan, marks(1500.0, 25e3), rounding=0.0, rolling=False)
    assert len(ridden.lines) == len(ridden.saves) >= 2
    least = line_saves(plan.finish_time)
    assert all(saved >= least for saved in ridden.saves)
    at = np.searchsorted(plan.distance, [block.start + 1.0 for block in ridden.blocks]) - 1
    powers = np.array([block.power for block in ridden.blocks])
    limit = plan.problem.effort
    for k in range(1, len(powers)):
        def time(share, k=k):
            """One power for two lines; all powers scaled alike to the effort that is allowed."""
            trial = powers.copy()
            trial[k - 1:k + 1] = share * powers[k - 1] + (1 - share) * powers[k]
            number = np.searchsorted(at, np.arange(plan.problem.steps), side="right") - 1
            for _ in range(8):
                ride = simulate(plan.problem, trial[number])
                spent = (ride.power / plan.problem.critical_power) ** 4 @ np.diff(ride.time)
                trial *= (float(limit.allowed(ride.finish_time)) / spent) ** 0.25
            return float(simulate(plan.problem, trial[number]).finish_time)

        best = minimize_scalar(time, bounds=(0.0, 1.0), method="bounded",
                               options={"xatol": 0.02}).fun
        # Scaling all alike is not quite the best that the others can do.
        assert best - ridden.finish_time > 0.9 * ridden.saves[k] > 0


def test_climbs_and_descents_have_figures_where_it_rolls():
    problem = stretches([900.0] * 16, step=30.0, grades=[0.03, -0.03] * 8, start_speed=8.0,
                        w_prime=15e3, **BIKE)
    plan = solve(replace(problem, effort=EffortLimit(4.0, 1.0)))
    ridden = rideable(plan, [], rounding=1.0)
    (line,) = ridden.lines
    assert line.climb > line.power > line.descent
    assert line.comes == "rolling, 14 km"
    assert ridden.hills_save > line_saves(plan.finish_time)
    one = rideable(plan, [], rounding=1.0, rolling=False)
    assert one.lines[0].climb is None
    assert one.finish_time > ridden.finish_time + 0.8 * ridden.hills_save
    way = climbs_and_descents(problem)
    for kind, figure in ((1, line.climb), (0, line.power), (-1, line.descent)):
        assert ridden.power[way == kind] == pytest.approx(figure)
    time = np.diff(ridden.time)
    assert line.mean == pytest.approx(ridden.power @ time / time.sum())


def test_what_is_printed_is_what_is_ridden():
    plan = hilly()
    ridden = rideable(plan, marks(1500.0, 25e3), rolling=False)
    middle = 0.5 * (plan.distance[1:] + plan.distance[:-1])
    for block in ridden.blocks:
        inside = (middle > block.start) & (middle < block.end) & (ridden.power > 0)
        free = inside & (ridden.speed[1:] < 0.999 * plan.problem.speed_limit[1:])
        assert ridden.power[free] == pytest.approx(block.power)
        assert block.mean == pytest.approx(block.power)


def test_laps_share_their_lines():
    lap = np.repeat([0.0, 0.05, -0.05, 0.0], 25)
    problem = random_problem(8, steps=300, length=18e3, wind=0.0, start_speed=8.0,
                             effort_rate=0.97, grade=np.tile(lap, 3),
                             speed_limit=np.full(301, np.inf))
    plan = solve(problem)
    places = [Mark("", lap * 6000.0 + at) for lap in range(3) for at in (1500.0, 3000.0, 4500.0)]
    laps = Laps((0.0, 6000.0, 12000.0, 18000.0))
    ridden = rideable(plan, places, laps=laps)
    assert 1 < len(ridden.lines) <= 4
    assert len(ridden.blocks) == 3 * len(ridden.lines)
    assert ridden.laps == laps
    for block in ridden.blocks:
        first = ridden.lines[block.line]
        assert (block.start - first.start) % 6000.0 == pytest.approx(0.0, abs=1e-6)
        assert block.power == first.power
    kept(problem, ridden)
    apart = rideable(plan, places, blocks=12)
    assert ridden.finish_time < apart.finish_time + 0.005 * plan.finish_time
    assert rideable(plan, places, blocks=1, laps=Laps((0.0, 6000.0, 12000.0))).laps is None


def test_constant_power_is_the_highest_that_the_reserve_allows():
    problem = stretches([10e3], step=50.0, start_speed=11.0, w_prime=15e3, **BIKE)
    ridden = constant_power(solve(problem))
    power = ridden.blocks[0].power
    # By hand: what is above CP uses the reserve up at the finish.
    assert (power - 270.0) * ridden.finish_time == pytest.approx(15e3, rel=2e-3)
    assert ridden.price >= 0
    # What a card would say keeps 3 % of the reserve.
    card = constant_power(solve(problem), rounding=1.0)
    assert card.blocks[0].power == np.floor(270.0 + 0.97 * 15e3 / card.finish_time)


def test_constant_speed_on_the_flat_is_that_of_the_power():
    """Power balance by hand: CP and the whole reserve, at one speed from the start on."""
    from scipy.optimize import brentq

    problem = stretches([10e3], step=50.0, start_speed=45.0, w_prime=15e3, **BIKE)

    def missing(v):
        force = 0.5 * 1.2234 * 0.26 * v**2 + 82.0 * 9.80665 * 0.004
        return 0.976 * (270.0 + 15e3 / (10e3 / v)) - force * v

    assert constant_speed(problem) == pytest.approx(10e3 / brentq(missing, 5.0, 20.0), rel=1e-3)


def test_no_speed_can_be_held_up_a_wall():
    wall = stretches([1000.0, 500.0], step=25.0, grades=[0.0, 0.5], start_speed=8.0,
                     w_prime=15e3, **BIKE)
    assert np.isnan(constant_speed(wall))


def test_a_wall_has_a_line_of_its_own():
    """Even a crawl up takes more than CP; one power for all leaves too little for the climb."""
    problem = stretches([8000.0, 60.0], step=10.0, grades=[0.0, 0.5], start_speed=8.0,
                        w_prime=20e3, lowest_speed=0.4, **(BIKE | {"power": 100.0}))
    plan = solve(problem)
    with pytest.raises(Infeasible, match=r"climb at 8\.\d+ km .*critical power.*one power"):
        constant_power(plan)
    ridden = rideable(plan, [Mark("foot", 8000.0)])
    assert [line.place for line in ridden.lines] == ["start", "foot"]
    assert np.isnan(ridden.even_price)
    kept(problem, ridden)


def test_steps_that_are_too_long_are_named():
    problem = stretches([4000.0, 400.0, 2000.0], step=200.0, grades=[0.0, 0.12, 0.0],
                        start_speed=8.0, w_prime=20e3, **BIKE)
    with pytest.raises(StepTooLong, match="step of 200 m"):
        constant_power(solve(problem))
