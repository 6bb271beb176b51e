"""Bounds on a season from what each rider comes to with each sum of money.

Apart from money, riders share little (lent things, stock), and that is priced (`narrow.split`). For
each rider a lower bound for every sum that may be spent is found, place by place (`places`). Those
of all riders together share out the money exactly, by sums that add up to the budget (the
(min, +) convolution): nothing is lost because things cannot be bought in parts. A sum with which a
rider cannot be in a better season is ruled out. Over what remains the range of times is looked at
again, in ever smaller intervals of money, until few purchases are left. Those are gone through:
what a race comes to with each of them is the least bound on any kit that can be ridden with it,
with nothing lost for curvature.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from optimizer.seasons.narrow import Findings, Linear, split
from optimizer.seasons.places import Grid, Places, Plan, place_numbers
from optimizer.seasons.program import cut_model
from optimizer.side_by_side import side_by_side

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from optimizer.seasons.cut import Cut
    from optimizer.seasons.narrow import Arrays
    from optimizer.seasons.program import Decision, Model, Rest
    from optimizer.seasons.times import EntryTimes
    from optimizer.seasons.values import Season

__all__ = ["Frontiers"]

_PARTS = 8  # of the sums that a rider may spend, first
_ROUNDS = 2  # of ever smaller parts
_ROUNDING = 1e-5  # s
_STEPS, _STALLS = 60, 5  # along the subgradient; steps without a gain until they are halved
_AHEAD = 1.0  # s above the limit, at which steps aim


@dataclass(frozen=True)
class _Kept:
    """Plans of a rider that may be in a better season, and the sets of its entries with each.

    `money` in units; `sets[k][e]` of plan k.
    """

    plans: list[Plan] = field(default_factory=list)
    money: list[int] = field(default_factory=list)
    sets: list[dict[int, list[tuple[int, ...]]]] = field(default_factory=list)


@dataclass(frozen=True)
class _Worth:
    """What a rider's plans come to, linear in the prices (s,) of what riders share.

    Attributes
    ----------
    money : (p,) units
    beside : (p,) s, of purchases and hires, and `links` (p, s) of the shared rows
    sets : by entry its sets, their least `times` (q,) [s] and their `uses` (q, s) of shared rows
    some : by entry the sets of lists one after the other, and where each list begins
    lists : (p, entries) number of the list that holds the sets of a plan
    """

    money: NDArray[np.int64]
    beside: NDArray[np.float64]
    links: NDArray[np.float64]
    sets: list[list[tuple[int, ...]]]
    times: list[NDArray[np.float64]]
    uses: list[NDArray[np.float64]]
    some: list[tuple[NDArray[np.int64], NDArray[np.int64]]]
    lists: NDArray[np.int64]

    def values(self, prices: NDArray[np.float64]) -> NDArray[np.float64]:
        """(p,) s at prices (s,)."""
        out = self.beside + self.links @ prices
        for j, (times, uses, (order, start)) in enumerate(zip(self.times, self.uses, self.some,
                                                              strict=True)):
            least = np.minimum.reduceat((times + uses @ prices)[order], start)
            out = out + least[self.lists[:, j]]
        return out

    def best(self, k: int, prices: NDArray[np.float64]) -> list[int]:
        """By entry the number of the best set with plan k."""
        out = []
        for j, (times, uses, (order, start)) in enumerate(zip(self.times, self.uses, self.some,
                                                              strict=True)):
            one = int(self.lists[k, j])
            end = start[one + 1] if one + 1 < len(start) else len(order)
            mine = order[start[one]:end]
            out.append(int(mine[(times + uses @ prices)[mine].argmin()]))
        return out


class Frontiers:
    """Riders of a season by what they spend, below a limit [s]."""

    def __init__(self, made: Model, grid: Grid, money: float, best: Decision, rest: Rest,
                 limit: float) -> None:
        season = made.season
        self.season, self.times, self.made, self.grid = season, made.times, made, grid
        self.best, self.rest, self.limit = best, rest, limit
        self.cells = grid.cells
        self.kept: dict[str, _Kept] = {}
        found = split(season, made)
        self.parts, self.price = found.parts, found.price
        self.links, self.limits, self.prices = found.links, found.limits, found.worth
        self.constant = found.constant + self.price * money
        self.numbers = place_numbers(made)
        self.spent = {id(var): costs[key] for some, costs in (
            (made.model.buy, made.cost), (made.model.hire, made.hire_cost))
            for key, var in some.items()}
        self.least: dict[str, NDArray[np.float64]] = {}

    @classmethod
    def of(cls, season: Season, times: Sequence[EntryTimes], cuts: Sequence[Sequence[Cut]],
           best: Decision, rest: Rest, limit: float, budget: float | None,
           progress: Callable[[str], None] = lambda _words: None) -> Frontiers | None:
        """Find the plans of all riders that may be in a better season.

        Parameters
        ----------
        season : riders, races, kit and money
        times : of its entries
        cuts : bounds of each entry
        best : season that is known
        rest : what is left so far
        limit : s, value that a better season is below
        budget : money instead of that of the season
        progress : called with words on what is under way

        Returns
        -------
        what is left by rider; None where it is too much, or money has too many values
        """
        made, _ = cut_model(season, times, cuts, whole=False, budget=budget, rest=rest)
        money = season.budget if budget is None else min(budget, season.budget)
        grid = Grid.of(made, money)
        if grid is None:
            return None
        found = cls(made, grid, money, best, rest, limit)
        return found if found._look(progress) else None

    def _look(self, progress: Callable[[str], None]) -> bool:
        """Find plans that may be in a better season; False where they are too many."""
        for name, part in self.parts.items():
            found = self._places(part, Linear(part), self.rest)
            if found is None or not found.decided:
                return False
            self.least[name] = found.sums(self.cells)
        for attempt in range(_ROUNDS):
            last = attempt == _ROUNDS - 1
            others = self._others()
            stages = {f"kit of {name}" if name else "what is lent": partial(
                self._rider, name, others[name], _PARTS << attempt, last) for name in self.parts}
            for name, found in zip(self.parts, side_by_side(stages, progress), strict=True):
                if found is None:
                    return False
                self.least[name], self.kept[name] = found
        return True

    def _others(self) -> dict[str, NDArray[np.float64]]:
        """Sum up what all others come to at least, by what a rider spends."""
        names, cells = list(self.parts), self.cells
        before = [np.where(np.arange(cells + 1) == 0, self.constant, np.inf)]
        for name in names:
            before.append(_together(before[-1], self.least[name]))
        after = [np.where(np.arange(cells + 1) == 0, 0.0, np.inf)]
        for name in reversed(names):
            after.insert(0, _together(after[0], self.least[name]))
        return {name: np.minimum.accumulate(_together(before[k], after[k + 1]))[::-1]
                for k, name in enumerate(names)}

    def _rider(self, name: str, others: NDArray[np.float64], parts: int,
               last: bool) -> tuple[NDArray[np.float64], _Kept] | None:
        """Look at what a rider may spend, part by part."""
        part, least, kept = self.parts[name], self.least[name], _Kept()
        out = np.full(len(least), np.inf)
        alive = np.flatnonzero(least + others <= self.limit)
        if not len(alive):
            return out, kept
        if not part.entries:
            out[alive] = least[alive]
            found = self._places(part, Linear(part), self.rest)
            if last and (found is None or not found.decided
                         or not self._keep(name, found, others, kept)):
                return None
            return out, kept
        edges = np.linspace(alive[0], alive[-1] + 1, parts + 1)
        for low, high in itertools.pairwise(edges):
            here = alive[(alive >= low) & (alive < high)]
            if not len(here):
                continue
            bottom, top = int(here[0]), int(here[-1])
            found = self._between(part, others, bottom, top)
            if found is None:
                continue
            if not found.decided:
                return None
            sums = found.sums(top)
            out[here] = np.maximum(sums[here], least[here])
            if last:
                some = np.full(top + 1, np.inf)
                some[here] = others[here]
                if not self._keep(name, found, some, kept):
                    return None
        return out, kept

    def _between(self, part: Arrays, others: NDArray[np.float64], low: int,
                 high: int) -> Places | None:
        """Places of a rider who spends so much; None where no better season has that."""
        column, unit = part.column, self.grid.unit
        spent = np.zeros(len(part.cost))
        for var, cost in self.spent.items():
            if var in column:
                spent[column[var]] = cost
        linear = Linear(part.within(spent, (low - 0.5) * unit, (high + 0.5) * unit))
        money = unit * np.arange(low, high + 1)
        some = others[low:high + 1]
        limit = float((self.limit - some + self.price * money)[np.isfinite(some)].max())
        if linear.least() > limit + _ROUNDING:
            return None
        found = Findings(self.season, self.times, self.made, self.best, self.rest)
        for _ in range(2):
            found.spans(linear, limit + _ROUNDING, part.entries)
        if linear.least() > limit + _ROUNDING:
            return None
        return self._places(part, linear, found.rest())

    def _places(self, part: Arrays, linear: Linear, rest: Rest) -> Places | None:
        """Places, which may be too many to be decided; None where nothing is possible."""
        least = linear.least()
        if least == np.inf:
            return None
        alone = np.full(len(part.cost), -1)
        for var, k in part.column.items():
            alone[k] = self.numbers.get(var, -1)
        # A program that HiGHS leaves unsolved has no prices, and rules nothing out.
        cost, constant = (linear.reduced(alone) if np.isfinite(least) else
                          (part.cost.copy(), 0.0))
        for (e, _), var in self.made.model.overlap.items():
            if e in part.entries:
                constant += min(float(cost[part.column[id(var)]]), 0.0)
        for e in part.entries:  # of a time nothing but rounding remains
            constant -= abs(float(cost[part.column[id(self.made.model.time[e])]])) * (
                rest.entries[e].slowest)
        return Places(self.made, rest, self.grid, self.numbers, {
            var: float(cost[k]) - self.price * self.spent.get(var, 0.0)
            for var, k in part.column.items() if var in self.numbers}, constant)

    def _keep(self, name: str, places: Places, others: NDArray[np.float64], kept: _Kept) -> bool:
        """Go through the plans that may be in a better season, and the sets they allow."""
        found = places.plans(others, self.limit)
        if found is None:
            return False
        part = self.parts[name]

        def here(e: int, plan: Plan) -> tuple[int, Plan]:
            return e, Plan(plan.buys, tuple(hire for hire in plan.hires if hire[0] == e))

        rooms: dict[tuple[int, Plan], float] = {}
        for plan, _, room in found:
            for e in part.entries:
                key = here(e, plan)
                rooms[key] = max(room, rooms.get(key, 0.0))
        sets = {key: places.kits(*key, room) for key, room in rooms.items()}
        for plan, money, _ in found:
            kept.plans.append(plan)
            kept.money.append(money)
            kept.sets.append({e: sets[here(e, plan)] for e in part.entries})
        return True

    def bound(self) -> tuple[float, list[tuple[int, ...]]]:
        """Lower bound on better seasons [s], and the sets that it comes from; none where inf.

        For each way to buy what is lent the prices of what is shared are made as good as some steps
        along the subgradient do (Held, Wolfe and Crowder 1974, Math. Programming 6:62).
        """
        worths = {name: self._worth(name) for name, kept in self.kept.items() if kept.plans}
        if len(worths) < len(self.kept):
            return np.inf, []
        lent = worths.pop("", None)
        found, sets, prices = np.inf, list[tuple[int, ...]](), self.prices
        order = range(1) if lent is None else np.argsort(lent.values(prices), kind="stable")
        for k in order:
            value, some, prices = self._priced(worths, lent, int(k), prices)
            if value < found:
                found, sets = value, some
        return found, sets

    def _priced(self, worths: dict[str, _Worth], lent: _Worth | None, k: int,
                prices: NDArray[np.float64],
                ) -> tuple[float, list[tuple[int, ...]], NDArray[np.float64]]:
        """Best bound [s] for one way to buy what is lent, its sets, and good prices (s,)."""
        best, at, sets = -np.inf, prices, list[tuple[int, ...]]()
        size, stalled = 1.0, 0
        for _ in range(_STEPS if len(prices) else 1):
            value, slope, here = self._at(worths, lent, k, prices)
            if value > best:
                best, at, sets, stalled, along = value, prices, here, 0, slope
            elif (stalled := stalled + 1) > _STALLS:
                size, stalled, prices, slope, value = 0.5 * size, 0, at, along, best
            ahead = self.limit + _AHEAD - value
            if best >= self.limit or not np.any((slope > 0) | (prices > 0) & (slope != 0)):
                break
            prices = np.maximum(prices + size * ahead / float(slope @ slope) * slope, 0.0)
        return best, sets, at

    def _at(self, worths: dict[str, _Worth], lent: _Worth | None, k: int,
            prices: NDArray[np.float64],
            ) -> tuple[float, NDArray[np.float64], list[tuple[int, ...]]]:
        """Bound [s] at prices (s,) of what is shared, its slope by them, and its sets."""
        cells, slope = self.cells, -self.limits
        before = [np.full(cells + 1, np.inf)]
        base = self.constant + float(self.prices @ self.limits) - float(prices @ self.limits)
        if lent is None:
            before[0][0] = base
        else:
            before[0][lent.money[k]] = base + float(lent.beside[k] + lent.links[k] @ prices)
            slope = slope + lent.links[k]
        least, which = [], []
        for worth in worths.values():
            values = worth.values(prices)
            order = np.argsort(-values, kind="stable")
            one, plan = np.full(cells + 1, np.inf), np.full(cells + 1, -1)
            one[worth.money[order]], plan[worth.money[order]] = values[order], order
            least.append(one)
            which.append(plan)
            before.append(_together(before[-1], one))
        money = int(before[-1].argmin())
        value = float(before[-1][money])
        sets: list[tuple[int, ...]] = [()] * len(self.times)
        if not np.isfinite(value):
            return value, slope, sets
        for (name, worth), so_far, one, plan in list(zip(worths.items(), before, least, which,
                                                         strict=False))[::-1]:
            spent = money - int((so_far[:money + 1] + one[:money + 1][::-1]).argmin())
            number = int(plan[spent])
            slope = slope + worth.links[number]
            for j, (e, q) in enumerate(zip(self.parts[name].entries, worth.best(number, prices),
                                           strict=True)):
                sets[e] = worth.sets[j][q]
                slope = slope + worth.uses[j][q]
            money -= spent
        return value, slope, sets

    def _worth(self, name: str) -> _Worth:
        """Say what plans of a rider come to by the bounds known now."""
        part, kept, links = self.parts[name], self.kept[name], self.links[name].toarray().T
        cost, model = part.cost - links @ self.prices, self.made.model

        def of(plan: Plan) -> dict[int, int]:
            return {**{part.column[id(model.buy[key])]: n for key, n in plan.buys},
                    **{part.column[id(model.hire[key])]: 1 for key in plan.hires}}
        spent = np.zeros(len(cost))
        for var, amount in self.spent.items():
            if var in part.column:
                spent[part.column[var]] = amount
        amounts = np.zeros((len(kept.plans), len(cost)))
        for k, plan in enumerate(kept.plans):
            for column, n in of(plan).items():
                amounts[k, column] = n
        sets, times, uses, some, lists = [], [], [], [], []
        for e in part.entries:
            there, number = self.times[e], dict[tuple[int, ...], int]()
            order, start, mine = list[int](), list[int](), list[int]()
            known: dict[int, int] = {}
            for plan_sets in kept.sets:
                here = plan_sets[e]
                if id(here) not in known:
                    known[id(here)] = len(start)
                    start.append(len(order))
                    order += [number.setdefault(rows, len(number)) for rows in here]
                mine.append(known[id(here)])
            chosen = there.search.rules.flags(number)
            columns = np.array([part.column[id(model.use[e, row])] if (e, row) in model.use else -1
                                for row in range(there.search.rules.count)])
            used = columns >= 0
            flags = chosen[:, used].astype(float)
            time = self.season.entries[e].weight * there.search.lower(chosen) + flags @ cost[
                columns[used]]
            time[~there.search.rules.feasible(chosen)] = np.inf
            sets.append(list(number))
            times.append(time)
            uses.append(flags @ links[columns[used]])
            some.append((np.array(order), np.array(start)))
            lists.append(mine)
        return _Worth(np.array(kept.money), amounts @ (cost - self.price * spent),
                      amounts @ links, sets, times, uses, some,
                      np.array(lists, dtype=int).reshape(len(lists), len(kept.plans)).T)


def _together(one: NDArray[np.float64], other: NDArray[np.float64]) -> NDArray[np.float64]:
    """Least sum of two values, by the sum of what they spend."""
    if np.isfinite(one).sum() > np.isfinite(other).sum():
        one, other = other, one
    out = np.full(len(one), np.inf)
    for k in np.flatnonzero(np.isfinite(one)).tolist():
        np.minimum(out[k:], one[k] + other[:len(other) - k], out=out[k:])
    return out
