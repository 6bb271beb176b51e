"""How fast each entry is with each kit: plans, bounds, and bounds under prices of its items."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.job.plans import day_of
from optimizer.kit.choose import forbidden, search_for, strongest_crosswind
from optimizer.kit.evaluator import pacing_evaluator
from optimizer.kit.labels import best_by_cost, relax
from optimizer.kit.minorant import tangent
from optimizer.seasons.cut import Cut

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from optimizer.day import RaceDay
    from optimizer.kit.evaluator import Evaluator
    from optimizer.kit.search import Search
    from optimizer.seasons.values import Season

__all__ = ["EntryTimes", "times_of"]

_PIECES = 12  # of the range of time, the width of the first boxes
_TRIES = 4  # of sets that a pricing leads to
_MARGIN = 0.02  # of the gain of an item, by which a set is made the best
_CLOSE = 0.02  # s between the time of a set and its bound, or the floor under all


class EntryTimes:
    """Times of sets in one entry, from its search; sets are row numbers of its catalogue."""

    def __init__(self, search: Search, day: RaceDay) -> None:
        self.search, self.day = search, day
        model = search.model
        ends = model.ends(search.basis[:1], search.bounds[()].point)
        self.reach = float(np.ptp(ends)) / search.per_second  # s between slow and fast sets, about
        search.spacing = max(self.reach / _PIECES, search.along)
        self._free = np.zeros(search.rules.count)
        self._no_overlap = np.zeros(len(search.rules.overlaps))

    @property
    def names(self) -> tuple[str, ...]:
        """Items of the catalogue."""
        return self.search.terms.names

    def time(self, rows: tuple[int, ...]) -> float:
        """Time of a set [s], within `_CLOSE` of its bound where its plan allows."""
        return self.search.tighten(rows, _CLOSE).time

    def gains(self, rows: tuple[int, ...]) -> NDArray[np.float64]:
        """(n,) seconds that each item saves by itself, by the slopes of the plan for a set."""
        self.search.add_bound(rows)
        return -tangent(self.search.bounds[rows], self.search.model).item

    def plane(self, rows: tuple[int, ...]) -> Cut:
        """Plane that is close to the time near a set, and no bound."""
        search = self.search
        search.add_bound(rows)
        near = tangent(search.bounds[rows], search.model)
        here = search.rules.flags([rows])
        off = self.time(rows) - float(near.of(here, search.rules.overlapping(here))[0])
        return Cut(near.constant + off, -near.item, -near.overlap)

    def chord(self, rows: tuple[int, ...]) -> Cut:
        """Bound on the time of all sets that are not slower than without any item."""
        search = self.search
        floor = search.chord(rows, self.time(()) + _CLOSE)
        return Cut(floor.value + floor.constant, -floor.item, -floor.overlap)

    def settle(self, prices: NDArray[np.float64], rows: tuple[int, ...]) -> NDArray[np.float64]:
        """Change prices as little as it takes to make a set the best at them, about."""
        search, plane = self.search, self.plane(rows)
        rules, here = search.rules, set(rows)

        def time(some: set[int]) -> float:
            chosen = rules.flags([sorted(some)])
            return -float(plane.price @ chosen[0] + plane.overlap @ rules.overlapping(chosen)[0])

        now, out = time(here), prices.copy()
        for row in rows:
            gain = time(here - {row}) - now
            out[row] = min(out[row], (1.0 - _MARGIN) * gain - _CLOSE)
        for row in map(int, np.flatnonzero(search.offer.usable)):
            if row not in here:
                same = {k for k in here if rules.place_of[k] == rules.place_of[row]}
                gain = now - time((here - same) | {row})
                charged = gain + float(out[list(same)].sum())
                out[row] = max(out[row], charged + _MARGIN * abs(gain) + _CLOSE)
        return out

    def known(self) -> dict[tuple[int, ...], float]:
        """Give all sets that have a time."""
        return {rows: known.time for rows, known in self.search.known.items()}

    def price(self, prices: NDArray[np.float64]) -> tuple[float, tuple[int, ...]]:
        """Least time plus prices (n,) of items [s] over all sets: a lower bound, and a set near it.

        The bound is what the plans of a few sets prove for all others.
        """
        search = self.search.with_hurdles(prices, self._no_overlap)
        best = search.fastest(np.inf).rows
        floor = -np.inf
        for _ in range(_TRIES):
            guess = self._guess(search, best)
            if search.value(search.evaluate(guess)) < search.value(search.evaluate(best)):
                best = guess
            search.add_bound(best)
            found, rows = search.floor(best)
            floor = max(floor, found)
            if rows == best or search.value(search.evaluate(best)) - floor <= _CLOSE:
                break
            if search.value(search.evaluate(rows)) < search.value(search.evaluate(best)):
                best = rows
            else:  # its bound is too low
                search.add_bound(rows)
        return floor, best

    def _guess(self, search: Search, near: tuple[int, ...]) -> tuple[int, ...]:
        """Best set by the tangent nearest to one."""
        from dataclasses import replace

        value = search.value(search.evaluate(near))
        origin = min(search.bounds, key=lambda rows: abs(
            search.bounds[rows].value - value + search.model.hurdles(
                search.rules.flags([near]))[0]))
        free = replace(search.offer, cost=self._free)
        relaxed = relax(tangent(search.bounds[origin], search.model), free, 1.0)
        found = search.rules.repair(best_by_cost(relaxed, free, 1.0)[0][-1:])
        return tuple(np.flatnonzero(found[0]).tolist())


def times_of(season: Season, progress: Callable[[str], None] = lambda _words: None,
             evaluators: dict[int, Evaluator] | None = None) -> list[EntryTimes]:
    """Set up the times of all entries; each needs a plan and a bound.

    Raises Infeasible, which names the limit, where an entry has no plan.
    """
    out = []
    for number, entry in enumerate(season.entries):
        job = entry.job
        progress(f"{entry.rider} in {entry.race}")
        day = day_of(job)
        evaluator = (evaluators or {}).get(number) or pacing_evaluator(day, job.baseline)
        ruled_out = forbidden(job.catalogue, job.rules,
                              strongest_crosswind(day.course, day.conditions))
        for item in job.catalogue.items:
            pool = season.pool_of(entry, item.name)
            if (item.name not in entry.borrowed and item.hire_price is None and not item.owned
                    and (pool is None or not season.pools[pool].owned + season.pools[pool].most)):
                ruled_out.setdefault(item.name, "cannot be had")
        out.append(EntryTimes(search_for(job.rider, job.baseline, job.catalogue, job.effects,
                                         evaluator, ruled_out), day))
    return out
