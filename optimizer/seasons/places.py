"""One rider's part of a season, place by place: what is bought for a place, and what races take.

Prices on what links places (overlaps, requirements) and riders (lent things, stock) let the
program of a rider fall apart into places. At each of them there are a few purchases and hires, and
then each race takes the best of what is there. Only money still links places, and that is shared
out exactly: a knapsack with a choice at each place, over all sums that can be spent (Kellerer,
Pferschy and Pisinger 2004, Knapsack Problems, chapter 11).
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    from optimizer.seasons.program import Model, Rest

__all__ = ["Grid", "Places", "Plan", "place_numbers"]

_CELLS = 50_000
_MOST_BUYS, _MOST_WAYS = 1_000, 2_000  # to buy for one place, and to hire besides
_MOST_PLANS = 20_000


class Plan(NamedTuple):
    """Purchases ((pool, step), copies) and hires (entry, row) of a rider."""

    buys: tuple[tuple[tuple[int, int], int], ...]
    hires: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Grid:
    """Money as whole numbers of a `unit`, up to `cells` of them."""

    unit: float
    cells: int

    @classmethod
    def of(cls, made: Model, budget: float) -> Grid | None:
        """Largest unit of which all prices are multiples; None where there are too many of it."""
        amounts = [*made.cost.values(), *made.hire_cost.values()]
        cents = [round(100 * amount) for amount in amounts]
        if any(abs(100 * amount - cent) > 1e-6 or cent < 0
               for amount, cent in zip(amounts, cents, strict=True)):
            return None
        unit = max(math.gcd(*cents), 1)
        if budget * 100 > unit * _CELLS:
            return None
        return cls(unit / 100, math.floor(budget * 100 / unit + 1e-6))

    def of_money(self, money: float) -> int:
        """Whole number of units."""
        return round(money / self.unit)


def place_numbers(made: Model) -> dict[int, int]:
    """Give the number of the place of each purchase, use and hire, by the id of its variable.

    Places that have things in common, in another race's catalogue, have one number.

    Parameters
    ----------
    made : program of the season

    Returns
    -------
    number by the id of a variable
    """
    season, parent = made.season, dict[object, object]()

    def root(key: object) -> object:
        parent.setdefault(key, key)
        while parent[key] != key:
            key = parent[key]
        return key

    of: dict[int, object] = {}
    for some in (made.model.use, made.model.hire):
        for (e, row), var in some.items():
            item = season.entries[e].job.catalogue.items[row]
            of[id(var)] = season.entries[e].rider, item.place
            pool = made.pools[e][row]
            if pool is not None and season.pools[pool].rider:
                parent[root(pool)] = root(of[id(var)])
    of.update({id(var): p for (p, _), var in made.model.buy.items()})
    numbers: dict[object, int] = {}
    return {var: numbers.setdefault(root(key), len(numbers)) for var, key in of.items()}


class Places:
    """Places of one rider, at given prices.

    `reduced` costs [s] by the id of a variable, without the money they cost; `constant` [s].
    `decided` is whether all places could be gone through.
    """

    def __init__(self, made: Model, rest: Rest, grid: Grid, numbers: Mapping[int, int],
                 reduced: Mapping[int, float], constant: float) -> None:
        self.made, self.rest, self.grid, self.reduced = made, rest, grid, reduced
        self.constant = constant
        model, season = made.model, made.season
        self._pools: dict[int, list[int]] = {}
        self._slots: dict[int, dict[tuple[int, int], list[int]]] = {}
        for (p, step), var in model.buy.items():
            if id(var) in reduced and step == 0:
                self._pools.setdefault(numbers[id(var)], []).append(p)
        for (e, row), var in model.use.items():
            if id(var) in reduced:
                slot = e, made.times[e].search.rules.place_of[row]
                self._slots.setdefault(numbers[id(var)], {}).setdefault(slot, []).append(row)
        self.numbers = sorted({*self._pools, *self._slots})
        self._step = {e: season.step_at(season.entries[e].first)
                      for slots in self._slots.values() for e, _ in slots}
        self.decided = all(math.prod(map(len, self._buys(number))) <= _MOST_BUYS
                           for number in self.numbers)
        self.options = [list(self._at(number)) for number in self.numbers] if self.decided else []

    def _buys(self, number: int) -> list[list[tuple[tuple[int, int], int] | None]]:
        """Say which copies of each pool of a place may be bought, with the money of which step."""
        season, found = self.made.season, []
        for p in self._pools.get(number, []):
            ends = {s: self.rest.bought.get((p, s), (0, season.pools[p].most))
                    for s in range(len(season.money))}
            here: list[tuple[tuple[int, int], int] | None] = [
                ((p, s), n) for s, (low, high) in ends.items()
                for n in range(max(int(low), 1), int(high) + 1)]
            if not any(low > 0 for low, _ in ends.values()):
                here.append(None)
            found.append(here)
        return found

    def _at(self, number: int) -> Iterator[tuple[Plan, int, float]]:
        """Purchases and hires at a place, their money in units and value [s]."""
        model = self.made.model
        for some in itertools.product(*self._buys(number)):
            buys = tuple(one for one in some if one is not None)
            cost = sum(n * self.grid.of_money(self.made.cost[key]) for key, n in buys)
            value = sum(n * self.reduced[id(model.buy[key])] for key, n in buys)
            steps = {p: s for (p, s), _ in buys}
            ways: list[tuple[tuple[tuple[int, int], ...], int, float]] = [((), cost, value)]
            for (e, place), rows in self._slots.get(number, {}).items():
                free, hired = self._free(e, place, rows, steps), self._hired(e, rows)
                mine: list[tuple[tuple[tuple[int, int], ...], int, float]] = [
                    ((), 0, min(free.values()))] if free else []
                mine += [(((e, row),), self.grid.of_money(self.made.hire_cost[e, row]), worth)
                         for row, worth in hired.items()]
                ways = [((*hires, *more), money + c, v + w) for hires, money, v in ways
                        for more, c, w in mine if money + c <= self.grid.cells]
                if len(ways) > _MOST_WAYS:
                    self.decided = False
                    return
            yield from ((Plan(buys, hires), money, v) for hires, money, v in ways)

    def _free(self, e: int, place: int, rows: Sequence[int],
              steps: Mapping[int, int]) -> dict[int, float]:
        """Rows, -1 for none, that an entry can take at a place without a hire, and their value [s].

        `steps` of the money that buys pools.
        """
        made, season, rest = self.made, self.made.season, self.rest.entries[e]
        if any(self.rest.hired.get((e, row), (0, 1))[0] > 0 for row in rows):
            return {}
        out = {} if rest.needed[place] else {-1: 0.0}
        for row in rows:
            pool = made.pools[e][row]
            if made.times[e].names[row] in season.entries[e].borrowed or (
                    pool is not None and (
                        not season.pools[pool].rider or season.pools[pool].owned > 0
                        or steps.get(pool, len(season.money)) <= self._step[e])):
                out[row] = self.reduced[id(made.model.use[e, row])]
        return out

    def _hired(self, e: int, rows: Sequence[int]) -> dict[int, float]:
        model, ends = self.made.model, {row: self.rest.hired.get((e, row), (0, 1)) for row in rows}
        some = [row for row in rows if ends[row][0] > 0] or rows
        return {row: self.reduced[id(model.use[e, row])] + self.reduced[id(model.hire[e, row])]
                for row in some if (e, row) in model.hire and ends[row][1] > 0}

    def sums(self, high: int) -> NDArray[np.float64]:
        """Least value [s] for each sum that is spent exactly, 0 to `high` units."""
        out = np.full(high + 1, np.inf)
        out[0] = self.constant
        for options in self.options:
            out = _added(out, _by_cost(options))
        return out

    def plans(self, others: NDArray[np.float64], limit: float,
              ) -> list[tuple[Plan, int, float]] | None:
        """Plans that with `others` (m,) [s], by what this rider spends, may be within a limit [s].

        With the units of money that each spends, and what it leaves to the limit [s]. None where
        there are too many.
        """
        room = [others]
        for options in reversed(self.options):
            room.insert(0, _added(room[0][::-1], _by_cost(options))[::-1])
        found = [(Plan((), ()), 0, self.constant)]
        for options, after in zip(self.options, room[1:], strict=True):
            found = [(Plan(plan.buys + more.buys, plan.hires + more.hires), money + cost, v + worth)
                     for plan, money, v in found for more, cost, worth in options
                     if money + cost < len(others) and v + worth + after[money + cost] <= limit]
            if len(found) > _MOST_PLANS:
                return None
        return [(plan, money, limit - v - float(others[money])) for plan, money, v in found]

    def kits(self, e: int, plan: Plan, room: float) -> list[tuple[int, ...]]:
        """Give the sets of an entry with a plan that are within `room` [s] of the best of them."""
        steps = {p: s for (p, s), _ in plan.buys}
        hired = {row for f, row in plan.hires if f == e}
        found: list[tuple[tuple[int, ...], float]] = [((), 0.0)]
        for number in self.numbers:
            for (f, place), rows in self._slots.get(number, {}).items():
                if f != e:
                    continue
                free = ({row: 0.0 for row in rows if row in hired}
                        or self._free(e, place, rows, steps))
                least = min(free.values())
                found = [(some + ((row,) if row >= 0 else ()), lost + worth - least)
                         for some, lost in found for row, worth in free.items()
                         if lost + worth - least <= room]
        return [tuple(sorted(rows)) for rows, _ in found]


def _by_cost(options: Sequence[tuple[Plan, int, float]]) -> dict[int, float]:
    out: dict[int, float] = {}
    for _, cost, value in options:
        out[cost] = min(out.get(cost, np.inf), value)
    return out


def _added(sums: NDArray[np.float64], options: Mapping[int, float]) -> NDArray[np.float64]:
    """Least value by the sum spent, with one more choice."""
    out = np.full(len(sums), np.inf)
    for cost, value in options.items():
        if cost < len(sums):
            np.minimum(out[cost:], sums[:len(sums) - cost] + value, out=out[cost:])
    return out
