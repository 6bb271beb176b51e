"""The best season over the model, with a gap: programs propose, plans judge, bounds prove.

Mixtures of sets that have a time price the items: what a copy is worth at the margin. At these
prices the search of the kit room finds each entry's best set, and proves a floor under all others
(`EntryTimes.price`): a cut. The program with cuts bounds every season and proposes purchases; their
sets get times; the program with columns makes the best season of all sets that have one. That goes
on, with closer planes over what a better season still may ride, until bound and best season meet:
by what each rider may spend (`frontiers`), or by an integer program.
"""

from __future__ import annotations

from copy import copy
from typing import TYPE_CHECKING

import numpy as np

from optimizer.seasons.cut import Cut
from optimizer.seasons.frontiers import Frontiers
from optimizer.seasons.narrow import everything, narrowed
from optimizer.seasons.program import by_columns, by_cuts, prices_by_cuts, usual_prices
from optimizer.seasons.times import times_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from optimizer.seasons.program import Columns, Decision, Rest
    from optimizer.seasons.times import EntryTimes
    from optimizer.seasons.values import Season

__all__ = ["Solver", "solve_season"]

_TOLERANCE, _MOST_OPEN = 0.05, 0.9  # s for an entry, s for all
_IMPROVEMENTS = 6  # of the best season by planes
_SHRINKS = 0.05  # of what is left, below which ruling out does not lead on
_ASIDE = 0.6  # of the tolerance, by which a season has to be better to be looked for
_ROUNDS = 3  # of the program with cuts
_PIECES = 2  # of what an entry may ride, in the first of them; twice as many in each next
_PROGRESS = 0.1  # of what is open, below which another round is not worth it
_PROPOSALS = 8  # of seasons by what is left of each rider
_AGREE = 0.2  # of the tolerance, to which programs are solved


class Solver:
    """Sets, cuts and prices found so far for one season; it grows as it is asked."""

    def __init__(self, season: Season, times: Sequence[EntryTimes], tolerance: float,
                 progress: Callable[[str], None] = lambda _words: None) -> None:
        self.season, self.times, self.tolerance = season, times, tolerance
        self.progress = progress
        self.cuts: list[list[Cut]] = [[] for _ in times]
        self.weights = np.array([entry.weight for entry in season.entries])
        self.rounds = 0
        self.money: tuple[float, ...] = ()

    @property
    def columns(self) -> Columns:
        """Sets that have a time, by entry."""
        return [there.known() for there in self.times]

    def start(self) -> Decision:
        """Find a first season: that without any item, and what follows from it."""
        for there, entry in zip(self.times, self.season.entries, strict=True):
            self.progress(f"first kits for {entry.rider} in {entry.race}")
            there.time(there.search.start)
        return self.improve(self.best())

    def _price(self, e: int, prices: NDArray[np.float64]) -> tuple[float, tuple[int, ...]]:
        floor, rows = self.times[e].price(prices)
        self.times[e].time(rows)
        self.cuts[e].append(Cut(floor, prices, self._no_overlap(e)))
        return floor, rows

    def price_best(self, best: Decision, budget: float | None = None) -> None:
        """Price each entry's items at what money is worth about the best season: a cut each."""
        planes = [[there.plane(rows)] for there, rows in zip(self.times, best.sets, strict=True)]
        self.money = prices_by_cuts(self.season, self.times, planes, budget).money
        gains = [there.gains(rows) for there, rows in zip(self.times, best.sets, strict=True)]
        for e, here in enumerate(usual_prices(self.season, self.times, gains, self.money)):
            self._price(e, here)

    def best(self, budget: float | None = None) -> Decision:
        """Best season of the sets that have a time."""
        return by_columns(self.season, self.times, self.columns, _AGREE * self.tolerance, budget)

    def _no_overlap(self, e: int) -> NDArray[np.float64]:
        return np.zeros(len(self.times[e].search.rules.overlaps))

    def at(self, season: Season) -> Decision:
        """Best season found with other money, by the sets that have a time and planes near them."""
        other = copy(self)
        other.season = season
        return other.improve(other.best())

    def floor(self, season: Season, best: Decision) -> float:
        """Lower bound [s] on all with other money: a linear program over the cuts known so far."""
        cuts = [[*known, there.cut(rows, there.all_left())] for known, there, rows in zip(
            self.cuts, self.times, best.sets, strict=True)]
        return prices_by_cuts(season, self.times, cuts).value

    def improve(self, best: Decision, budget: float | None = None) -> Decision:
        """Follow planes near the best season, as long as they lead to a better one."""
        for _ in range(_IMPROVEMENTS):
            planes = [[there.plane(rows)] for there, rows in zip(self.times, best.sets,
                                                                 strict=True)]
            found = by_cuts(self.season, self.times, planes, _AGREE * self.tolerance, budget)
            for there, rows in zip(self.times, found.sets, strict=True):
                there.time(rows)
            better = self.best(budget)
            if better.value >= best.value - 0.1 * self.tolerance:
                return min(best, better, key=lambda decision: decision.value)
            best = better
        return best

    def prove(self, best: Decision, budget: float | None = None) -> tuple[Decision, float]:
        """Best season found, and by how much [s] another may be better.

        What cannot be in a season that is better by more than a part of the tolerance is ruled
        out; over what is left bounds are closer, so that more can be; and in the end what is left
        of each rider is gone through, money shared out exactly. Where that is too much an integer
        program does it.
        """
        season, times = self.season, self.times
        bound = self._bound_of_one(budget)
        if best.value - bound <= self.tolerance:
            return best, max(best.value - bound, 0.0)
        limit = best.value - _ASIDE * self.tolerance
        rest = everything(times)
        marks = [[rows] for rows in best.sets]
        for attempt in range(_ROUNDS):
            found = self._narrowed(best, rest, limit, budget)
            if found is None:
                return best, max(best.value - limit, 0.0)
            rest, ends, cuts = found
            self.rounds += 1
            self.progress(f"proof, {best.value - bound:.1f} s open" if np.isfinite(bound)
                          else "proof")
            if attempt == 0:
                best, found_bound = self._by_riders(best, cuts, rest, limit, budget)
                bound = max(bound, found_bound)
                if best.value - bound <= self.tolerance:
                    break
            pieces = [there.pieces(some, here, span, _PIECES << attempt)
                      for there, some, here, span in zip(times, marks, rest.entries, ends,
                                                         strict=True)]
            proposed = by_cuts(season, times, cuts, _AGREE * self.tolerance, budget, rest, pieces)
            before, bound = bound, max(bound, min(proposed.bound, limit))
            if not proposed.sets:
                break
            for there, some, rows in zip(times, marks, proposed.sets, strict=True):
                there.time(rows)
                there.search.add_bound(rows)  # a better origin for the next planes
                some.append(rows)
            best = min(best, self.best(budget), key=lambda decision: decision.value)
            if best.value - bound <= self.tolerance or (
                    bound - before < _PROGRESS * (best.value - bound)):
                break
        return best, max(best.value - bound, 0.0)

    def _by_riders(self, best: Decision, cuts: Sequence[Sequence[Cut]], rest: Rest, limit: float,
                   budget: float | None) -> tuple[Decision, float]:
        """Best season found and a bound [s], by going through what is left of each rider."""
        frontiers = Frontiers.of(self.season, self.times, cuts, best, rest, limit, budget,
                                 self.progress)
        if frontiers is None:
            return best, -np.inf
        bound = -np.inf
        for _ in range(_PROPOSALS):
            value, sets = frontiers.bound()
            bound = max(bound, min(value, limit))
            new = [(there, rows) for there, rows in zip(self.times, sets, strict=False)
                   if rows not in there.search.bounds]
            if best.value - bound <= self.tolerance or not new:
                break
            self.progress(f"proof, {best.value - bound:.1f} s open")
            for there, rows in new:
                there.time(rows)
                there.search.add_bound(rows)
            best = min(best, self.best(budget), key=lambda decision: decision.value)
        return best, bound

    def _narrowed(self, best: Decision, rest: Rest, limit: float, budget: float | None,
                  ) -> tuple[Rest, list[tuple[float, float]], list[list[Cut]]] | None:
        """Rule out what cannot be below a limit [s], as long as that leads on.

        What remains, with the ends of the entries and the cuts over it; None where nothing does.
        """
        left = np.inf
        while True:
            cuts = [[*known, there.cut(rows, some)] for known, there, rows, some in zip(
                self.cuts, self.times, best.sets, rest.entries, strict=True)]
            found = narrowed(self.season, self.times, cuts, best, rest, limit, budget)
            if found is None:
                return None
            (rest, ends), before = found, left
            left = sum(max(high - low, 0.0) for low, high in ends)
            if left >= (1.0 - _SHRINKS) * before:  # of nothing nothing can be ruled out
                return rest, ends, cuts

    def _bound_of_one(self, budget: float | None) -> float:
        """Bound by the search of the kit room, where the season is one ride [s]."""
        season = self.season
        if len(season.entries) > 1 or len(season.money) > 1 or season.stock:
            return -np.inf
        money = season.budget if budget is None else min(budget, season.budget)
        there, weight = self.times[0], float(self.weights[0])
        cost = np.array([0.0 if k is not None and season.pools[k].owned else min(
            np.inf if k is None or season.pools[k].most < 1 else season.pools[k].price,
            np.inf if item.hire_price is None else item.hire_price) for item, k in (
            (item, season.pool_of(season.entries[0], item.name))
            for item in season.entries[0].job.catalogue.items)])
        if not np.array_equal(cost, there.search.terms.cost):
            return -np.inf
        search = there.search.with_hurdles(np.where(cost > 0, season.least_gain / weight, 0.0),
                                           self._no_overlap(0))
        gap = search.prove_best(money)
        return weight * (search.value(search.fastest(money)) - gap)


def solve_season(season: Season, *, tolerance: float | None = None,
                 times: Sequence[EntryTimes] | None = None,
                 progress: Callable[[str], None] = lambda _words: None,
                 ) -> tuple[Solver, Decision, float]:
    """Find the best season over the model.

    Parameters
    ----------
    season : riders, races, kit and money
    tolerance : s, where the search ends; by default a twentieth of a second for each entry, and
        less than a second for all
    times : of the entries, where they are known already
    progress : called with words on what is under way

    Returns
    -------
    solver with all that it found, best season, and by how much [s] another may be better

    Raises
    ------
    Infeasible
        where an entry has no plan; it names the limit
    """
    if tolerance is None:
        tolerance = min(_TOLERANCE * len(season.entries), _MOST_OPEN)
    solver = Solver(season, times or times_of(season, progress), tolerance, progress)
    best = solver.start()
    progress("what money is worth")
    solver.price_best(best)
    best, gap = solver.prove(best)
    return solver, best, gap
