"""The best season against brute force, a knapsack written apart, a network flow, and `kit`."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from scipy.optimize import LinearConstraint, linprog, milp

from optimizer.evidence import Effect
from optimizer.kit import Catalogue, Item, choose_kit
from optimizer.kit.evaluator import pacing_evaluator
from optimizer.seasons.build import Stock, season_of, season_of_scenarios
from optimizer.seasons.solve import solve_season
from optimizer.seasons.times import times_of
from optimizer.seasons.values import Entry, Money
from tests.kit.invented import BASELINE, catalogue, road, wind
from tests.later import later
from tests.season.invented_seasons import (
    COURSE,
    FIRST,
    Linear,
    best_of_all,
    job_of,
    linear_times,
    random_season,
)


def check_kept(season, times, decision):
    """A decision keeps to money, stock, days and rules."""
    spend = sum(season.pools[p].price * n for (p, _), n in decision.bought.items())
    for e, (entry, rows, hired) in enumerate(zip(season.entries, decision.sets, decision.hired,
                                                 strict=True)):
        rules = times[e].search.rules
        assert rules.feasible(rules.flags([rows]))[0]
        spend += sum(entry.job.catalogue.items[k].hire_price for k in hired)
        assert hired <= set(rows)
    assert spend <= season.budget + 1e-6
    for p, pool in enumerate(season.pools):
        count = pool.owned + sum(n for (q, _), n in decision.bought.items() if q == p)
        users = [e for e, entry in enumerate(season.entries)
                 if season.pool_of(entry, pool.item) == p
                 and any(times[e].names[k] == pool.item and k not in decision.hired[e]
                         for k in decision.sets[e])]
        for e in users:
            day = season.entries[e].first
            assert sum(season.in_use(season.entries[f], day, lent=not pool.rider)
                       for f in users) <= count
    for item, most in season.stock:
        assert sum(n for (p, _), n in decision.bought.items()
                   if season.pools[p].item == item) <= most


@pytest.mark.parametrize("seed", [0, 2, 3, 7, *later(1, 4, 5, 6)])
def test_brute_force_on_linear_seasons(seed):
    rng = np.random.default_rng(seed)
    season = random_season(rng)
    times = linear_times(season, rng.uniform(0.5, 2.0, len(season.entries)))
    _, best, gap = solve_season(season, times=times)
    check_kept(season, times, best)
    least = best_of_all(season, times, lambda e, rows: times[e].time(rows))
    assert least <= best.value + 1e-6
    assert best.value - gap <= least + 1e-6
    assert best.value <= least + 0.05 * len(season.entries) + gap
    assert gap <= 0.05 * len(season.entries) + 1e-9  # and it is proven


@pytest.mark.long
@pytest.mark.parametrize("seed", range(100))
def test_brute_force_on_planned_seasons(seed):
    """Every set of every entry by its own plan; the stated gap contains the best of all seasons."""
    rng = np.random.default_rng(1000 + seed)
    course = road(rng, length=float(rng.uniform(6_000, 15_000)))
    season = random_season(rng, course=course, conditions=wind(rng.uniform(0, 5),
                                                               rng.uniform(0, 6)))
    times = times_of(season)
    _, best, gap = solve_season(season, times=times)
    check_kept(season, times, best)
    known = {}

    def time(e, rows):
        if (e, rows) not in known:
            search = times[e].search
            known[e, rows] = search.evaluator.plan(search.terms.setup(BASELINE, rows)).finish_time
        return known[e, rows]

    least = best_of_all(season, times, time)
    assert best.value <= least + max(gap, 0.05 * len(season.entries)) + 0.02
    assert best.value - gap <= least + 0.02


@pytest.mark.parametrize("seed", range(3))
def test_a_multiple_choice_knapsack(seed):
    """One ride, linear: by brute force, and by `scipy.optimize.milp` written apart.

    Kellerer, Pferschy and Pisinger 2004, Knapsack Problems, chapter 11: from each class one thing
    at most, the most profit within the capacity.
    """
    rng = np.random.default_rng(seed)
    classes = [f"other: {k}" for k in range(4)]
    items, effects, profit, weight = [], [], [], []
    for k, place in enumerate(classes):
        for n in range(3):
            profit.append(float(rng.integers(1, 30)))
            weight.append(float(rng.integers(1, 40)))
            items.append(Item(f"{k} {n}", place, weight[-1]))
            effects.append(Effect(f"{k} {n}", drag_area=np.array([-profit[-1] / 1e3])))
    job = job_of(Catalogue(tuple(items)), tuple(effects))
    season = season_of("knapsack", "EUR", [Entry("Ann", "race", FIRST, FIRST, 1.0, job)],
                       [Money(None, 60.0)], {}, {}, least_gain=0.0)
    times = linear_times(season, [1.0])
    _, best, _ = solve_season(season, times=times)
    won = 1000.0 - best.value
    rows = np.kron(np.eye(4), np.ones(3))
    apart = milp(-np.array(profit), constraints=[LinearConstraint(rows, ub=1.0), LinearConstraint(
        np.array(weight)[None], ub=60.0)], integrality=np.ones(12), bounds=(0, 1))
    brute = max(sum(profit[3 * k + n] for k, n in enumerate(some) if n is not None)
                for some in itertools.product([None, 0, 1, 2], repeat=4)
                if sum(weight[3 * k + n] for k, n in enumerate(some) if n is not None) <= 60.0)
    assert -apart.fun == pytest.approx(brute)
    assert won == pytest.approx(brute, abs=0.06)


@pytest.mark.parametrize("seed", range(4))
def test_a_lent_thing_goes_where_a_network_flow_sends_it(seed):
    """Carlisle and Lloyd 1995, Discrete Appl. Math. 59:225: intervals on k copies as a flow.

    Copies flow from day to day; an arc past the days of a race carries what it gains.
    """
    rng = np.random.default_rng(seed)
    n, copies = 7, 2
    starts = rng.integers(0, 8, n)
    ends = starts + rng.integers(0, 3, n)
    gains = rng.uniform(1.0, 20.0, n)
    thing = Catalogue((Item("wheel", "wheels", 100.0),))
    job = job_of(thing, (Effect("wheel", drag_area=np.array([-0.001])),))
    entries = [Entry(f"rider {k}", f"race {k}", FIRST + timedelta(days=int(a)),
                     FIRST + timedelta(days=int(b)), 1.0, job)
               for k, (a, b) in enumerate(zip(starts, ends, strict=True))]
    season = season_of("flow", "EUR", entries, [Money(None, 0.0)], {},
                       {"wheel": Stock(lent=True, owned=copies, most=0)}, least_gain=0.0)
    times = linear_times(season, gains)
    _, best, gap = solve_season(season, times=times)
    check_kept(season, times, best)
    days = int(ends.max()) + 1
    balance = np.zeros((days + 1, days + n))
    for day in range(days):
        balance[day, day], balance[day + 1, day] = -1.0, 1.0
    for k in range(n):
        balance[starts[k], days + k] -= 1.0
        balance[ends[k] + 1, days + k] += 1.0
    supply = np.zeros(days + 1)
    supply[0], supply[-1] = -copies, copies
    flow = linprog(np.concatenate([np.zeros(days), -gains]), A_eq=balance, b_eq=supply,
                   bounds=[(0, copies)] * days + [(0, 1)] * n)
    assert 1000.0 * n - best.value == pytest.approx(-flow.fun, abs=0.05 * n + gap)


def test_a_season_of_one_ride_is_the_choice_of_kit():
    wanted, effects = catalogue(np.random.default_rng(6), (2, 2, 2, 1))
    job = job_of(wanted, effects, road(np.random.default_rng(6), length=10_000.0), wind(3.0, 1.0))
    season = season_of_scenarios("one", [("Ann", job)], 400.0, 0.5)
    times = times_of(season)
    _, best, gap = solve_season(season, times=times)
    day = times[0].day
    choice = choose_kit(day, BASELINE, wanted, effects, 400.0, "EUR", least_gain=0.5,
                        evaluator=pacing_evaluator(day, BASELINE))
    assert gap <= 0.05
    names = tuple(times[0].names[k] for k in best.sets[0])
    bought = sum(wanted[name].cost > 0 for name in choice.best.items)
    assert best.value == pytest.approx(
        choose_value(times[0], choice.best.items) + 0.5 * bought, abs=0.02)
    assert sum(wanted[name].cost for name in names) <= 400.0


def choose_value(there, items):
    return there.time(tuple(there.search.terms.rows(items)))


def test_money_in_steps_buys_what_the_later_race_needs_later():
    """100 before the first race, 300 before the second: gains and prices by hand."""
    things = Catalogue((Item("small", "helmet", 100.0), Item("large", "wheels", 200.0)))
    job = job_of(things, (Effect("small", drag_area=np.array([-0.004])),
                          Effect("large", drag_area=np.array([-0.009]))))
    later = FIRST + timedelta(days=30)
    entries = [Entry("Ann", "first", FIRST, FIRST, 1.0, job),
               Entry("Ann", "second", later, later, 1.0, job)]
    money = [Money(None, 100.0), Money(FIRST + timedelta(days=10), 300.0)]
    season = season_of("steps", "EUR", entries, money, {}, {}, least_gain=0.0)
    times = linear_times(season, [1.0, 1.0])
    _, best, _ = solve_season(season, times=times)
    assert [tuple(times[0].names[k] for k in rows) for rows in best.sets] == [
        ("small",), ("small", "large")]
    assert {(season.pools[p].item, s) for p, s in best.bought} == {("small", 0), ("large", 1)}


@pytest.mark.parametrize(("money", "bought"), [(100.0, True), (99.99, False)])
def test_a_thing_is_had_for_its_price_and_not_for_less(money, bought):
    job = job_of(Catalogue((Item("wheel", "wheels", 100.0),)),
                 (Effect("wheel", drag_area=np.array([-0.009])),))
    season = season_of("price", "EUR", [Entry("Ann", "race", FIRST, FIRST, 1.0, job)],
                       [Money(None, money)], {}, {}, least_gain=0.0)
    _, best, _ = solve_season(season, times=linear_times(season, [1.0]))
    assert bool(best.sets[0]) is bought


def test_resale_counts_only_where_it_is_asked_for():
    things = Catalogue((Item("wheel", "wheels", 300.0),))
    job = job_of(things, (Effect("wheel", drag_area=np.array([-0.009])),))
    for counts in (False, True):
        season = season_of("resale", "EUR", [Entry("Ann", "race", FIRST, FIRST, 1.0, job)],
                           [Money(None, 200.0)], {}, {"wheel": Stock(resale=150.0)},
                           least_gain=0.0, resale_counts=counts)
        _, best, _ = solve_season(season, times=linear_times(season, [1.0]))
        assert bool(best.sets[0]) == counts


OTHER = "round", "flat"  # wheels beside those of the bike, all slower than these


def windy_season(stock, owns, *, order=1, budget=100.0):
    """Two riders in one race, then one of them again, above the limit of the bikes' own wheels."""
    things = [(Item("deep", "wheels", 90.0), -0.006), (Item("round", "wheels", 150.0), 0.004),
              (Item("flat", "wheels", 170.0, requires=("tyres",)), 0.003),
              (Item("tyres", "tyres", 60.0), 0.005), (Item("helmet", "helmet", 80.0), -0.004)]
    job = job_of(Catalogue(tuple(thing for thing, _ in things[::order])),
                 tuple(Effect(thing.name, drag_area=np.array([change]))
                       for thing, change in things), COURSE, wind(15.0, 0.3 + np.pi / 2))
    job = replace(job, baseline=replace(BASELINE, crosswind_limit=5.0), catalogue=replace(
        job.catalogue, items=tuple(replace(thing, crosswind_limit=5.0) if thing.name == "deep"
                                   else thing for thing in job.catalogue.items)))
    entries = [Entry("Ann", "first", FIRST, FIRST, 1.0, job),
               Entry("Ben", "first", FIRST, FIRST, 2.0, job),
               Entry("Ben", "next", FIRST + timedelta(days=1), FIRST + timedelta(days=1), 1.0, job)]
    return season_of("windy", "EUR", entries, [Money(None, budget)], owns, stock,
                     least_gain=0.0, handover=1)


@pytest.mark.parametrize("order", [-1, *later(1)])
@pytest.mark.parametrize("budget", [0.0, 100.0, 400.0])
@pytest.mark.parametrize(("stock", "owns", "filled"), [
    ({"round": Stock(lent=True, owned=1)}, {}, ()),
    ({"round": Stock(lent=True)}, {"Ann": ["round"]}, ()),
    ({}, {"Ann": ["round"]}, ("Ann",)),
    ({}, {"Ann": ["flat"], "Ben": ["flat", "tyres"]}, ("Ben",)),
    ({"tyres": Stock(lent=True, owned=1)}, {"Ann": ["flat"], "Ben": ["round"]}, ("Ben",)),
    ({"round": Stock(lent=True, owned=1)}, {"Ann": ["flat", "tyres"], "Ben": ["flat", "tyres"]},
     ("Ann", "Ben"))])
def test_only_ones_own_wheels_have_to_be_ridden(stock, owns, filled, budget, order):
    """Where the bike's may not be; against brute force over all sets of all entries."""
    season = windy_season(stock, owns, order=order, budget=budget)
    times = times_of(season, evaluators={e: Linear() for e in range(3)})
    solver, best, gap = solve_season(season, times=times)
    check_kept(season, times, best)
    for entry, there, rows in zip(season.entries, times, best.sets, strict=True):
        ridden = {there.names[row] for row in rows}
        assert "deep" not in ridden
        assert bool(ridden & set(OTHER)) is (entry.rider in filled)
    least = best_of_all(season, times, lambda e, rows: times[e].time(rows) if all(
        times[e].names[row] != "deep" for row in rows) else np.inf)
    assert best.value - gap - 0.05 <= least <= best.value + 1e-6
    assert best.value - least <= 0.15
    check_kept(season, times, solver.improve(solver.best(0.0), 0.0))
    before = solver.at(season.apart())
    assert [bool({times[0].names[row] for row in rows} & set(OTHER))
            for rows in before.sets] == [entry.rider in filled for entry in season.entries]
