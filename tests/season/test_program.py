"""What the season's programs prove, against every set of a small catalogue."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from optimizer.errors import Infeasible
from optimizer.evidence import Effect
from optimizer.kit import Catalogue, Item
from optimizer.seasons.build import Stock, season_of, season_of_scenarios
from optimizer.seasons.cut import Cut
from optimizer.seasons.narrow import everything, narrowed
from optimizer.seasons.program import by_columns, by_cuts
from optimizer.seasons.solve import solve_season
from optimizer.seasons.times import times_of
from optimizer.seasons.values import Entry, Money
from tests.kit.invented import BASELINE, catalogue, every_set, road, wind
from tests.later import later
from tests.season.invented_seasons import FIRST, job_of, linear_times

GAINS, PRICES = (9.0, 5.0, 4.0, 7.0, 2.0), (50.0, 20.0, 30.0, 40.0, 10.0)


def one_ride(budget):
    """Five things of three places for one ride: times are 1000 s less the gains."""
    places = ("wheels", "wheels", "helmet", "clothing", "clothing")
    items = tuple(Item(f"{k}", place, price)
                  for k, (place, price) in enumerate(zip(places, PRICES, strict=True)))
    effects = tuple(Effect(f"{k}", drag_area=np.array([-gain / 1e3]))
                    for k, gain in enumerate(GAINS))
    season = season_of("one", "EUR", [Entry("Ann", "race", FIRST, FIRST, 1.0, job_of(
        Catalogue(items), effects))], [Money(None, budget)], {}, {}, least_gain=0.0)
    return season, linear_times(season, [1.0])


def exact(there):
    return Cut(1000.0, np.array(GAINS), np.zeros(len(there.search.rules.overlaps)))


@pytest.mark.parametrize(("budget", "limit"), [(60.0, 995.0), (100.0, 985.0), (60.0, 1000.0),
                                               (60.0, 989.5)])
def test_nothing_that_is_better_is_ruled_out(budget, limit):
    season, times = one_ride(budget)
    (there,) = times
    _, best, _ = solve_season(season, times=times)
    rules = there.search.rules
    better = [rows for size in range(4) for rows in itertools.combinations(range(5), size)
              if rules.feasible(rules.flags([rows]))[0]
              and sum(PRICES[k] for k in rows) <= budget
              and 1000.0 - sum(GAINS[k] for k in rows) <= limit]
    assert better
    everywhere = everything(times)
    along = there.boxes(everywhere.entries[0]).along()
    chosen = rules.flags(better)
    values = along.of(chosen, rules.overlapping(chosen))
    rest, ((low, high),) = narrowed(season, times, [[exact(there)]], best, everywhere, limit, None)
    (left,) = rest.entries
    assert low - along.slack <= values.min() <= values.max() <= high + along.slack
    assert left.usable[np.flatnonzero(chosen.any(axis=0))].all()
    for rows in better:
        assert 1000.0 - sum(GAINS[k] for k in rows) <= left.slowest
        for place, needed in zip(rules.places, left.needed, strict=True):
            assert not needed or set(place) & set(rows)
    # And something is: at the tightest limit one of two things at a place, or a whole range.
    assert left.slowest <= limit + 0.01
    if limit < 990.0:
        assert not left.usable.all() or left.needed.any()


def test_where_nothing_is_better_nothing_is_left():
    season, times = one_ride(60.0)
    _, best, _ = solve_season(season, times=times)
    assert best.value == pytest.approx(988.0, abs=0.1)  # 7 and 5 for 40 and 20
    assert narrowed(season, times, [[exact(times[0])]], best, everything(times), 987.5,
                    None) is None


@pytest.mark.parametrize("seed", [6, *later(7)])
def test_pieces_of_a_range_prove_more_than_one_plane_and_not_too_much(seed):
    """The best affordable set lies above a place where pieces meet, then below it."""
    wanted, effects = catalogue(np.random.default_rng(seed), (2, 2, 2, 2))
    job = job_of(wanted, effects, road(np.random.default_rng(seed), length=10_000.0),
                 wind(3.0, 1.0))
    budget = 0.4 * sum(item.cost for item in wanted.items)
    season = season_of_scenarios("one", [("Ann", job)], budget, 0.0)
    (there,) = times = times_of(season)
    search = there.search
    time = {}
    for names in every_set(wanted):
        rows = tuple(search.terms.rows(names))
        time[rows] = search.evaluator.plan(search.terms.setup(BASELINE, rows)).finish_time
    cost = {rows: float(search.terms.cost[list(rows)].sum()) for rows in time}
    best = min((rows for rows in time if cost[rows] <= budget), key=time.get)
    fastest = min(time, key=time.get)
    assert time[fastest] < time[best] - 1.0 < time[()] - 2.0
    there.time(best)
    _, known, _ = solve_season(season, times=times)
    for rows in (fastest, (), best):
        there.search.add_bound(rows)
        cut, whole = there.cut(rows, there.all_left()), everything(times)
        rest, ends = narrowed(season, times, [[cut]], known, whole, time[best] + 2.0, None)
        pieces = there.pieces([rows], rest.entries[0], ends[0], 4)
        one = by_cuts(season, times, [[cut]], 1e-4).bound
        more = by_cuts(season, times, [[cut]], 1e-4, rest=rest, pieces=[pieces])
        assert more.sets
        assert one - 1e-3 <= more.bound <= time[best] + 1e-3
        assert more.bound > time[best] - 3.0


def test_races_of_one_name_are_told_apart():
    season, _ = one_ride(60.0)
    job = season.entries[0].job
    made = season_of_scenarios("thrice", [("Ann", job)] * 3, 60.0, 0.0)
    assert [entry.race for entry in made.entries] == [
        "invented", "invented (2)", "invented (3)"]
    assert not made.dated


@pytest.mark.parametrize(("money", "owned", "binds"), [
    (99.0, 0, "the money does not pay"), (500.0, 1, "of wheel more copies"), (500.0, 2, "")])
def test_a_season_that_cannot_be_names_the_limit_that_binds(money, owned, binds):
    """Two riders who each have to ride the one thing that is lent, and can buy one or none."""
    job = job_of(Catalogue((Item("wheel", "wheels", 50.0),)), ())
    season = season_of("two", "EUR", [Entry(name, "race", FIRST, FIRST, 1.0, job)
                                      for name in ("Ann", "Ben")], [Money(None, money)], {},
                       {"wheel": Stock(lent=True, owned=owned, most=None if not owned else 0)},
                       least_gain=0.0)
    columns = [{(0,): 1000.0}] * 2
    if binds:
        with pytest.raises(Infeasible, match=binds) as told:
            by_columns(season, linear_times(season, [1.0, 1.0]), columns, 1e-4)
        assert told.value.exit_code == 3
    else:
        assert by_columns(season, linear_times(season, [1.0, 1.0]), columns, 1e-4).value == 2000.0
