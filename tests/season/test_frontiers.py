"""Bounds by what each rider spends, against every season there is."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from optimizer.evidence import Effect
from optimizer.kit import Catalogue, Item
from optimizer.seasons import frontiers
from optimizer.seasons.build import season_of
from optimizer.seasons.frontiers import Frontiers
from optimizer.seasons.narrow import everything
from optimizer.seasons.program import prices_by_cuts
from optimizer.seasons.solve import solve_season
from optimizer.seasons.values import Entry, Money
from tests.later import later
from tests.season.invented_seasons import (
    FIRST,
    best_of_all,
    job_of,
    linear_times,
    random_season,
)


def bound_of(season, times, best, above):
    rest = everything(times)
    cuts = [[there.cut(rows, some)] for there, rows, some in zip(times, best.sets, rest.entries,
                                                                 strict=True)]
    found = Frontiers.of(season, times, cuts, best, rest, best.value + above, None)
    return None if found is None else found.bound(), cuts


@pytest.mark.parametrize("seed", [0, 2, 3, 7, *later(1, 4, 5, 6)])
def test_the_bound_is_below_the_best_season_and_close(seed):
    rng = np.random.default_rng(seed)
    season = random_season(rng)
    times = linear_times(season, rng.uniform(0.5, 2.0, len(season.entries)))
    _, best, _ = solve_season(season, times=times)
    (value, sets), _ = bound_of(season, times, best, 3.0)

    def least(e, rows):  # the laws are linear in drag, their bounds in drag per mass
        search = times[e].search
        return float(search.lower(search.rules.flags([rows]))[0])
    truth = best_of_all(season, times, least)
    assert truth - 1.0 <= value <= truth + 1e-6
    assert len(sets) == len(times)


def test_money_that_cannot_be_split_is_not_lost():
    """Two riders, three things each: half of a thing would be a bound, but nobody sells it."""
    prices, gains = (70.0, 60.0, 50.0), (9.0, 7.0, 5.0)
    things = Catalogue(tuple(Item(f"{k}", f"place {k}", price) for k, price in enumerate(prices)))
    job = job_of(things, tuple(Effect(f"{k}", drag_area=np.array([-gain / 1e3]))
                               for k, gain in enumerate(gains)))
    entries = [Entry(rider, "race", FIRST, FIRST, 1.0, job) for rider in ("Ann", "Ben")]
    season = season_of("two", "EUR", entries, [Money(None, 165.0)], {}, {}, least_gain=0.0)
    times = linear_times(season, [1.0, 1.1])
    _, best, _ = solve_season(season, times=times)
    most = max(sum(gain for _, gain in some) for n in range(7) for some in itertools.combinations(
        [(p, g * scale) for scale in (1.0, 1.1) for p, g in zip(prices, gains, strict=True)], n)
        if sum(price for price, _ in some) <= 165.0)
    (value, _), cuts = bound_of(season, times, best, 3.0)
    assert value == pytest.approx(2000.0 - most, abs=0.01)
    assert prices_by_cuts(season, times, cuts).value < value - 1.0  # what parts of things come to


def test_what_cannot_be_gone_through_is_not_ruled_out(monkeypatch):
    """Too many ways to spend a part of the money: no bound, where none of them was looked at."""
    season = random_season(np.random.default_rng(0))
    times = linear_times(season, np.ones(len(season.entries)))
    _, best, _ = solve_season(season, times=times)
    whole, made = [], frontiers.Places

    def undecided(model, rest, *more):
        whole.append(rest)  # the first to be asked for is that of all money
        found = made(model, rest, *more)
        found.decided = rest is whole[0]
        return found

    monkeypatch.setattr(frontiers, "Places", undecided)
    assert bound_of(season, times, best, 3.0)[0] is None


def test_prices_below_a_cent_are_left_to_the_program():
    things = Catalogue((Item("a", "wheels", 10.001), Item("b", "helmet", 20.0)))
    job = job_of(things, (Effect("a", drag_area=np.array([-0.004])),
                          Effect("b", drag_area=np.array([-0.006]))))
    season = season_of("fine", "EUR", [Entry("Ann", "race", FIRST, FIRST, 1.0, job)],
                       [Money(None, 25.0)], {}, {}, least_gain=0.0)
    times = linear_times(season, [1.0])
    _, best, gap = solve_season(season, times=times)
    assert best.value == pytest.approx(994.0, abs=0.05)
    assert gap <= 0.05
    assert bound_of(replace(season), times, best, 3.0)[0] is None
