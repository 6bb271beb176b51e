"""How fast each entry is with each kit: plans, bounds, and bounds under prices of its items."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.job.plans import day_of
from optimizer.kit.choose import forbidden, search_for
from optimizer.kit.evaluator import pacing_evaluator
from optimizer.kit.labels import best_by_cost, relax
from optimizer.kit.minorant import tangent
from optimizer.seasons.cut import Cut, Halves

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from optimizer.day import RaceDay
    from optimizer.kit.evaluator import Evaluator
    from optimizer.kit.minorant import Minorant
    from optimizer.kit.search import Search
    from optimizer.seasons.values import Season

__all__ = ["EntryTimes", "times_of"]

_PIECES = 12  # of the range of time, the width of the first boxes
_TRIES = 4  # of sets that a pricing leads to
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

    def along(self) -> Minorant:
        """Coordinate along which times differ most, as a sum over items and overlaps."""
        return self.search.along_first()

    def chord(self, rows: tuple[int, ...], span: tuple[float, float] = (-np.inf, np.inf),
              slowest: float = np.inf) -> Cut:
        """Bound on the time of all sets that are not slower than without any item.

        Of those only whose `along` is within a span, and which take `slowest` [s] at most.
        """
        search = self.search
        floor = search.chord(rows, min(self.time(()) + _CLOSE, slowest), span)
        return Cut(floor.value + floor.constant, -floor.item, -floor.overlap)

    def halves(self, rows: tuple[int, ...], span: tuple[float, float], slowest: float) -> Halves:
        """Bounds as `chord` gives them, below and above the place of a set in a span."""
        search, along = self.search, self.along()
        here = search.rules.flags([rows])
        place = float(along.of(here, search.rules.overlapping(here))[0])
        place = min(max(place, span[0]), span[1])
        slack = 2.0 * along.slack
        whole = self.chord(rows, span, slowest)
        low = self.chord(rows, (span[0], place + slack), slowest)
        high = self.chord(rows, (place - slack, span[1]), slowest)
        rise = [-float(search.model.spread(whole.floor - half.floor, half.price - whole.price,
                                           half.overlap - whole.overlap)[0])
                for half in (low, high)]
        return Halves(Cut(along.constant, -along.item, -along.overlap), slack, place, span, whole,
                      low, high, (max(rise[0], 0.0), max(rise[1], 0.0)))

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
        ruled_out = forbidden(day, job.catalogue, job.rules)
        for item in job.catalogue.items:
            pool = season.pool_of(entry, item.name)
            if (item.name not in entry.borrowed and item.hire_price is None and not item.owned
                    and (pool is None or not season.pools[pool].owned + season.pools[pool].most)):
                ruled_out.setdefault(item.name, "cannot be had")
        out.append(EntryTimes(search_for(job.rider, job.baseline, job.catalogue, job.effects,
                                         evaluator, ruled_out), day))
    return out
