"""The season as a program in Pyomo on HiGHS: what is bought, hired and ridden.

Its time of an entry comes from cuts or from columns. A cut t >= floor - Σ price x is a lower bound
on the time of every set (`EntryTimes.price`), so that the program with cuts gives a bound on the
season. A column is one set with its time; the program with columns gives the best season made of
the sets that have a time, and, with parts of columns allowed, prices of items to look for others.
Limits of nodes, not of time, end it, so that answers are the same on every machine.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.errors import Infeasible
from optimizer.seasons.values import Money

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from numpy.typing import NDArray

    from optimizer.seasons.cut import Cut, Pieces
    from optimizer.seasons.times import EntryTimes, Left
    from optimizer.seasons.values import Pool, Season

__all__ = ["Decision", "Model", "Prices", "Rest", "by_columns", "by_cuts", "cut_model",
           "prices_by_cuts", "usual_prices"]

_NODES = 20_000
_NODES_IN_PIECES = 1_500  # where bounds hold piece by piece: such programs end slowly
_HALF = 0.5
_ROUNDING = 1e-6
_TIED = 1e-6  # of another figure of merit: less than one drawn day in any chance
_NO_GAIN = 1e-3  # s, the least that a share of a price is by


@dataclass(frozen=True)
class Decision:
    """What a program decides.

    Attributes
    ----------
    sets : row numbers, by entry
    bought : (pool, step) to copies
    hired : by entry the rows
    value : of the objective [s], and `bound`, a lower bound on the best
    """

    sets: tuple[tuple[int, ...], ...]
    bought: Mapping[tuple[int, int], int]
    hired: tuple[frozenset[int], ...]
    value: float
    bound: float


@dataclass(frozen=True)
class Rest:
    """What is left of a season: all that may still be better than what is known.

    Attributes
    ----------
    entries : the sets that each may ride
    bought : (pool, step) to the least and most copies
    hired : (entry, row) to the least and most
    """

    entries: tuple[Left, ...]
    bought: Mapping[tuple[int, int], tuple[float, float]]
    hired: Mapping[tuple[int, int], tuple[float, float]]


class Model:
    """Purchases, hires and money of a season; `use` of an item by an entry is for the caller."""

    def __init__(self, season: Season, times: Sequence[EntryTimes], *, whole: bool,
                 budget: float | None, rest: Rest | None = None) -> None:
        import pyomo.environ as pyo

        self.season, self.times, self.pyo = season, times, pyo
        self.model: Any = pyo.ConcreteModel()
        model, entries = self.model, season.entries
        steps = range(len(season.money))
        self.limited: dict[int, list[tuple[int, int]]] = {}
        self.pools = [[season.pool_of(entry, name) for name in there.names]
                      for entry, there in zip(entries, times, strict=True)]
        domain = pyo.NonNegativeIntegers if whole else pyo.NonNegativeReals
        model.buy = pyo.Var([(p, s) for p, pool in enumerate(season.pools) if pool.most > 0
                             for s in steps], domain=domain,
                            bounds=lambda _, p, _s: (0, season.pools[p].most))
        hirable = [(e, row) for e, (entry, there) in enumerate(zip(entries, times, strict=True))
                   for row, item in enumerate(entry.job.catalogue.items)
                   if item.hire_price is not None and there.search.offer.usable[row]
                   and season.step_at(entry.first) >= 0]
        model.hire = pyo.Var(hirable, bounds=(0, 1),
                             domain=pyo.Binary if whole else pyo.NonNegativeReals)
        if rest is not None:
            for some, limits in ((model.buy, rest.bought), (model.hire, rest.hired)):
                for key, ends in limits.items():
                    some[key].setlb(ends[0])
                    some[key].setub(ends[1])
        model.rows = pyo.ConstraintList()
        for p, pool in enumerate(season.pools):
            if pool.most > 0:
                model.rows.add(sum(model.buy[p, s] for s in steps) <= pool.most)
        for item, count in season.stock:
            some = [model.buy[p, s] for p, pool in enumerate(season.pools)
                    if pool.item == item and pool.most > 0 for s in steps]
            if some:
                model.rows.add(sum(some) <= count)
        self.cost = {key: season.pools[key[0]].price - (
            season.pools[key[0]].resale if season.resale_counts else 0.0) for key in model.buy}
        self.hire_cost = {key: float(entries[key[0]].job.catalogue.items[key[1]].hire_price or 0.0)
                          for key in model.hire}
        self.money_rows: dict[int, int] = {}
        for s in steps:
            limit = season.money[s].in_all if budget is None else min(budget,
                                                                      season.money[s].in_all)
            spent = [self.cost[key] * model.buy[key] for key in model.buy if key[1] <= s]
            spent += [self.hire_cost[key] * model.hire[key] for key in model.hire
                      if season.step_at(entries[key[0]].first) <= s]
            if spent:
                model.rows.add(sum(spent) <= limit)
                self.money_rows[s] = len(model.rows)
        gain = season.least_gain
        self.hurdles = sum(gain * model.buy[key] for key in model.buy
                           if season.pools[key[0]].price > 0)
        self.hurdles += sum(gain * model.hire[key] for key in model.hire)

    def link(self, use: Mapping[tuple[int, int], Any]) -> dict[int, list[tuple[int, int]]]:
        """Let entries use what is there: by number of the row, what it limits."""
        season, model = self.season, self.model
        limited: dict[int, list[tuple[int, int]]] = {}
        hires = set(model.hire)
        by_pool: dict[int, list[tuple[int, int]]] = {}
        for e, row in use:
            pool = self.pools[e][row]
            if self.times[e].names[row] in season.entries[e].borrowed:
                continue
            if pool is None:
                model.rows.add(use[e, row] - (model.hire[e, row] if (e, row) in hires else 0.0)
                               <= 0.0)
                limited[len(model.rows)] = [(e, row)]
            else:
                by_pool.setdefault(pool, []).append((e, row))
        for p, users in by_pool.items():
            seen = set()
            for e, _ in users:
                day = season.entries[e].first
                now = [key for key in users if season.in_use(
                    season.entries[key[0]], day, lent=not season.pools[p].rider)]
                if tuple(now) in seen:
                    continue
                seen.add(tuple(now))
                there = season.pools[p].owned + sum(
                    model.buy[p, s] for s in range(season.step_at(day) + 1) if (p, s) in model.buy)
                model.rows.add(sum(use[key] - (model.hire[key] if key in hires else 0.0)
                                   for key in now) - there <= 0.0)
                limited[len(model.rows)] = now
        for key in hires & set(use):
            model.rows.add(model.hire[key] - use[key] <= 0.0)
            limited[len(model.rows)] = []
        return limited

    def decision(self, values: Any, sets: Sequence[tuple[int, ...]], value: float,
                 bound: float) -> Decision:
        """Read off what is bought and hired for the sets of the entries."""
        hired = [frozenset(row for (e, row), var in self.model.hire.items()
                           if e == number and row in rows and values[var] > _HALF)
                 for number, rows in enumerate(sets)]
        bought = {key: round(values[var]) for key, var in self.model.buy.items()
                  if values[var] > _HALF}
        return Decision(tuple(sets), bought, tuple(hired), value, bound)


def _solve(model: Any, gap: float, nodes: int = _NODES) -> tuple[Any, float, float]:
    """Values, objective and bound of a program; inf where it has no solution, or none is found."""
    from pyomo.contrib.appsi.base import TerminationCondition
    from pyomo.contrib.appsi.solvers import Highs

    solver = Highs()
    solver.config.load_solution = False
    solver.highs_options = {"mip_rel_gap": 0.0, "mip_abs_gap": gap, "mip_max_nodes": nodes,
                            "threads": 1, "random_seed": 1}
    found = solver.solve(model)
    value, bound = found.best_feasible_objective, found.best_objective_bound
    if value is None:
        nothing = found.termination_condition == TerminationCondition.infeasible
        return solver, np.inf, np.inf if nothing else -np.inf if bound is None else float(bound)
    return solver, float(value), float(value if bound is None else bound)


def cut_model(season: Season, times: Sequence[EntryTimes], cuts: Sequence[Sequence[Cut]], *,
              whole: bool, budget: float | None, rest: Rest | None = None,
              ) -> tuple[Model, list[tuple[int, int]]]:
    """Season with times from cuts.

    Parameters
    ----------
    season : riders, races, kit and money
    times : of its entries
    cuts : bounds of each entry
    whole : whether things are indivisible
    budget : money instead of that of the season
    rest : what is left to look at, where it is not all

    Returns
    -------
    model of Pyomo, and what the entries may use (entry, row)
    """
    import pyomo.environ as pyo

    made = Model(season, times, whole=whole, budget=budget, rest=rest)
    model = made.model
    lefts = rest.entries if rest is not None else [there.all_left() for there in times]
    usable = [(e, int(row)) for e, left in enumerate(lefts)
              for row in np.flatnonzero(left.usable)]
    model.use = pyo.Var(usable, bounds=(0, 1), domain=pyo.Binary if whole else pyo.Reals)
    model.time = pyo.Var(range(len(times)))
    made.limited = made.link(model.use)
    overlaps = [(e, t) for e, there in enumerate(times)
                for t in range(len(there.search.rules.overlaps))]
    model.overlap = pyo.Var(overlaps, bounds=(0, 1))
    for e, there in enumerate(times):
        rules = there.search.rules
        start, columns, count = rules.matrix.indptr, rules.matrix.indices, rules.count
        for r, limit in enumerate(rules.limit):
            part = [(float(rules.matrix.data[k]), int(columns[k]))
                    for k in range(start[r], start[r + 1])]
            row = sum(c * (model.overlap[e, k - count] if k >= count else model.use[e, k])
                      for c, k in part if k >= count or (e, k) in model.use)
            if not isinstance(row, (int, float)):
                model.rows.add(row <= float(limit))
        for place in np.flatnonzero(lefts[e].needed):
            model.rows.add(sum(model.use[e, int(row)] for row in rules.places[place]
                               if (e, int(row)) in model.use) >= 1.0)
        for cut in cuts[e]:
            model.rows.add(model.time[e] + sum(
                float(price) * model.use[e, row] for row, price in enumerate(cut.price)
                if price and (e, row) in model.use) + sum(
                float(price) * model.overlap[e, t] for t, price in enumerate(cut.overlap)
                if price) >= cut.floor)
    model.objective = pyo.Objective(expr=made.hurdles + sum(
        entry.weight * model.time[e] for e, entry in enumerate(season.entries)))
    return made, usable


def by_cuts(season: Season, times: Sequence[EntryTimes], cuts: Sequence[Sequence[Cut]],
            gap: float, budget: float | None = None, rest: Rest | None = None,
            pieces: Sequence[Pieces] = ()) -> Decision:
    """Best season by the cuts of each entry.

    Parameters
    ----------
    season : riders, races, kit and money
    times : of its entries
    cuts : bounds of each entry
    gap : s, that the integer program may leave open
    budget : money instead of that of the season
    rest : what is left to look at, where it is not all
    pieces : of the times of its range, by entry

    Returns
    -------
    the season, whose `bound` is one on every season; without `sets` where nothing is possible
    """
    made, usable = cut_model(season, times, cuts, whole=True, budget=budget, rest=rest)
    if pieces:
        _add_pieces(made.model, pieces)
    model = made.model
    solver, value, bound = _solve(model, gap, _NODES_IN_PIECES if pieces else _NODES)
    if not np.isfinite(value):
        return Decision((), {}, (), value, bound)
    by_var = _Values(solver.get_primals())
    sets = [tuple(row for f, row in usable if f == e and by_var[model.use[f, row]] > _HALF)
            for e in range(len(times))]
    return made.decision(by_var, sets, value, bound)


def _add_pieces(model: Any, pieces: Sequence[Pieces]) -> None:
    """Let the time of each entry keep above the plane of its piece."""
    import pyomo.environ as pyo

    def plane(e: int, cut: Cut) -> Any:
        out = cut.floor - sum(float(c) * model.use[e, row] for row, c in enumerate(cut.price)
                              if c and (e, row) in model.use)
        return out - sum(float(c) * model.overlap[e, t] for t, c in enumerate(cut.overlap) if c)

    model.piece = pyo.Var([(e, k) for e, one in enumerate(pieces) for k in range(len(one.planes))],
                          domain=pyo.Binary)
    for e, one in enumerate(pieces):
        along, wide = plane(e, one.along), one.slack + _ROUNDING
        low, high = one.edges[0], one.edges[-1]
        model.rows.add(sum(model.piece[e, k] for k in range(len(one.planes))) == 1.0)
        for k, (below, above) in enumerate(itertools.pairwise(one.edges)):
            off = 1 - model.piece[e, k]
            if above < high:
                model.rows.add(along <= above + wide + (high - above) * off)
            if below > low:
                model.rows.add(along >= below - wide - (below - low) * off)
            model.rows.add(model.time[e] >= plane(e, one.planes[k]) - one.rise[k] * off)


class _Values:
    """Values of variables, by the variable."""

    def __init__(self, values: Any) -> None:
        self._values = values

    def __getitem__(self, var: Any) -> float:
        return float(self._values.get(var, 0.0) or 0.0)


Columns = list[dict[tuple[int, ...], float]]


def _columns(season: Season, times: Sequence[EntryTimes], columns: Columns, *, whole: bool,
             budget: float | None) -> Model:
    import pyomo.environ as pyo

    made = Model(season, times, whole=whole, budget=budget)
    model = made.model
    keys = [(e, k) for e, some in enumerate(columns) for k in range(len(some))]
    model.ride = pyo.Var(keys, domain=pyo.Binary if whole else pyo.NonNegativeReals)
    use: dict[tuple[int, int], Any] = {}
    for e, some in enumerate(columns):
        model.rows.add(sum(model.ride[e, k] for k in range(len(some))) == 1.0)
        holders: dict[int, list[int]] = {}
        for k, rows in enumerate(some):
            for row in rows:
                holders.setdefault(row, []).append(k)
        use.update(((e, row), sum(model.ride[e, k] for k in ks)) for row, ks in holders.items())
    made.limited = made.link(use)
    model.objective = pyo.Objective(expr=made.hurdles + sum(
        season.entries[e].weight * time * model.ride[e, k]
        for e, some in enumerate(columns) for k, time in enumerate(some.values())))
    return made


def by_columns(season: Season, times: Sequence[EntryTimes], columns: Columns, gap: float,
               budget: float | None = None,
               among: tuple[Columns, float] | None = None) -> Decision:
    """Best season made of sets that have a time.

    Parameters
    ----------
    season : riders, races, kit and money
    times : of its entries
    columns : sets of each entry with a time, or another figure of merit
    gap : s, that the integer program may leave open
    budget : money instead of that of the season
    among : another figure of merit of the same sets, and what its weighted sum may be at most

    Returns
    -------
    the season

    Raises
    ------
    Infeasible
        where some entry has no set that can be had beside those of the others
    """
    made = _columns(season, times, columns, whole=True, budget=budget)
    if among:
        made.model.rows.add(sum(
            season.entries[e].weight * score * made.model.ride[e, k]
            for e, some in enumerate(among[0]) for k, score in enumerate(some.values()))
            <= among[1] + _TIED)
    solver, value, bound = _solve(made.model, gap)
    if not np.isfinite(value):
        raise _infeasible(season, times, columns)
    values = _Values(solver.get_primals())
    sets = [next(rows for k, rows in enumerate(some) if values[made.model.ride[e, k]] > _HALF)
            for e, some in enumerate(columns)]
    return made.decision(values, sets, value, bound)


def _infeasible(season: Season, times: Sequence[EntryTimes], columns: Columns) -> Infeasible:
    """Say whether it is the money that binds, or the copies."""
    plenty = sum(pool.price * pool.most for pool in season.pools) + sum(
        item.hire_price or 0.0 for entry in season.entries for item in entry.job.catalogue.items)
    rich = replace(season, money=(Money(None, plenty),))
    if np.isfinite(_solve(_columns(rich, times, columns, whole=True, budget=None).model, 0.0)[1]):
        return Infeasible("the money does not pay what has to be ridden, when it has to be there",
                          "give more money, or name what the riders own instead")
    always = {there.names[row] for there, some in zip(times, columns, strict=True)
              for row in set.intersection(*map(set, some))}
    return Infeasible(
        f"of {' and '.join(sorted(always)) or 'the kit'} more copies have to be ridden at one time "
        "than there are", "add copies to the stock, or name what the riders own instead")


@dataclass(frozen=True)
class Prices:
    """What a mixture of columns says about the worth of copies and money.

    Attributes
    ----------
    value : of the best mixture [s]
    items : (n,) by entry, the price of using an item [s of that entry]
    money : by step, seconds that one more of the currency saves
    """

    value: float
    items: tuple[NDArray[np.float64], ...]
    money: tuple[float, ...]


def prices_by_cuts(season: Season, times: Sequence[EntryTimes], cuts: Sequence[Sequence[Cut]],
                   budget: float | None = None) -> Prices:
    """Prices of items and money where times are those of cuts, with parts of things allowed.

    Parameters
    ----------
    season : riders, races, kit and money
    times : of its entries
    cuts : bounds of each entry
    budget : money instead of that of the season

    Returns
    -------
    prices of items by entry [s], and of money by step [s per unit of it]
    """
    return _prices(cut_model(season, times, cuts, whole=False, budget=budget)[0])


def _prices(made: Model) -> Prices:
    season, times = made.season, made.times
    solver, value, _ = _solve(made.model, 0.0)
    duals = solver.get_duals()
    items = [np.zeros(len(there.names)) for there in times]
    for number, users in made.limited.items():
        dual = abs(float(duals[made.model.rows[number]]))
        for e, row in users:
            items[e][row] += dual / season.entries[e].weight
    money = tuple(abs(float(duals[made.model.rows[made.money_rows[s]]]))
                  if s in made.money_rows else 0.0 for s in range(len(season.money)))
    return Prices(value, tuple(items), money)


def usual_prices(season: Season, times: Sequence[EntryTimes], gains: Sequence[NDArray[np.float64]],
                 money: Sequence[float]) -> list[NDArray[np.float64]]:
    """Prices of items where money is worth so many seconds.

    The price of a copy is shared among the days on which it can be used, in the proportion of what
    it gains there.

    Parameters
    ----------
    season : riders, races, kit and money
    times : of its entries
    gains : (n,) s of each item, by entry
    money : s that one more of the currency saves, by step

    Returns
    -------
    (n,) s of each item, by entry
    """
    users: dict[int, list[tuple[int, int]]] = {}
    for e, (entry, there) in enumerate(zip(season.entries, times, strict=True)):
        for row, name in enumerate(there.names):
            pool = season.pool_of(entry, name)
            if pool is not None and name not in entry.borrowed:
                users.setdefault(pool, []).append((e, row))
    out = [np.full(len(there.names), np.inf) for there in times]
    for p, keys in users.items():
        whole = _price_of_copy(season, season.pools[p], keys, money)
        share: dict[date, float] = {}
        for e, row in keys:  # of those who use it on one day, one can
            worth = season.entries[e].weight * max(float(gains[e][row]), _NO_GAIN)
            day = season.entries[e].first
            share[day] = max(share.get(day, 0.0), worth)
        enough = season.pools[p].owned > 0 and len(keys) == len(share)
        for e, row in keys:
            out[e][row] = 0.0 if enough else whole * share[season.entries[e].first] / sum(
                share.values())
    for e, entry in enumerate(season.entries):
        later = sum(money[max(season.step_at(entry.first), 0):])
        hires = [np.inf if item.hire_price is None else item.hire_price * later + season.least_gain
                 for item in entry.job.catalogue.items]
        price = np.minimum(out[e], hires)
        out[e] = np.where(np.isfinite(price), price, 0.0) / entry.weight
    return out


def _price_of_copy(season: Season, pool: Pool, users: Sequence[tuple[int, int]],
                   money: Sequence[float]) -> float:
    """Seconds that a copy has to save, bought with the money before its first use."""
    first = max(min(season.step_at(season.entries[e].first) for e, _ in users), 0)
    return pool.price * sum(money[first:]) + season.least_gain * (pool.price > 0)
