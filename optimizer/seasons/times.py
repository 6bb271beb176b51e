"""How fast each entry is with each kit: plans, bounds, and bounds under prices of its items."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.job.plans import day_of
from optimizer.kit.choose import forbidden, search_for
from optimizer.kit.evaluator import pacing_evaluator
from optimizer.kit.labels import best_by_cost, relax
from optimizer.kit.minorant import tangent
from optimizer.seasons.cut import Cut, Pieces

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from optimizer.day import RaceDay
    from optimizer.kit.boxes import Boxes
    from optimizer.kit.evaluator import Evaluator
    from optimizer.kit.minorant import Minorant
    from optimizer.kit.search import Search
    from optimizer.seasons.values import Season

__all__ = ["EntryTimes", "Left", "times_of"]

_PIECES = 12  # of the range of time, the width of the first boxes
_TRIES = 4  # of sets that a pricing leads to
_CLOSE = 0.02  # s between the time of a set and its bound, or the floor under all


@dataclass(frozen=True)
class Left:
    """Sets that an entry may still ride in a better season.

    Attributes
    ----------
    usable : (n,) items
    needed : by place, whether one of its items is always ridden
    span : of the first coordinate of the search, from the point of its bound for all sets
    slowest : the longest time [s]
    """

    usable: NDArray[np.bool_]
    needed: NDArray[np.bool_]
    span: tuple[float, float]
    slowest: float


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

    def all_left(self) -> Left:
        """Give all sets of usable items."""
        offer = self.search.offer
        return Left(offer.usable, np.zeros(len(offer.combinations.places), dtype=bool),
                    (-np.inf, np.inf), self.time(self.search.start) + _CLOSE)

    def boxes(self, left: Left) -> Boxes:
        """Give what is left as a range of coordinates, with the bounds over it."""
        return self.search.narrowed(left.usable, left.needed).boxes()

    def cut(self, rows: tuple[int, ...], left: Left) -> Cut:
        """Bound on the time of what is left, good near the set of `rows`."""
        return _cut(self.boxes(left).chord(rows, left.slowest, left.span))

    def pieces(self, marks: Sequence[tuple[int, ...]], left: Left,
               ends: tuple[float, float], count: int) -> Pieces:
        """Bounds on pieces of what is left that meet at the sets `marks`, and half-way between.

        At least `count` pieces; `ends` of the coordinate `Boxes.along`.
        """
        boxes = self.boxes(left)
        along = boxes.along()
        chosen = self.search.rules.flags(marks)
        places = along.of(chosen, self.search.rules.overlapping(chosen))
        edges = np.unique(np.clip([*ends, *places], *ends))
        while len(edges) - 1 < count and np.ptp(edges) > 0:
            k = int(np.diff(edges).argmax())
            edges = np.insert(edges, k + 1, 0.5 * (edges[k] + edges[k + 1]))
        if len(edges) == 1:
            edges = np.repeat(edges, 2)
        whole = boxes.chord(marks[0], left.slowest, left.span)
        planes = []
        for a, b in itertools.pairwise(edges.tolist()):
            near = int(np.abs(places - 0.5 * (a + b)).argmin())
            low, high = boxes.places((a, b))
            planes.append(boxes.chord(marks[near], left.slowest, (
                max(low, left.span[0]), min(high, left.span[1]))))
        rise = [float(boxes.model.spread(
            plane.value + plane.constant - whole.value - whole.constant, plane.item - whole.item,
            plane.overlap - whole.overlap)[1]) for plane in planes]
        return Pieces(Cut(along.constant, -along.item, -along.overlap), along.slack,
                      tuple(edges.tolist()), tuple(map(_cut, planes)),
                      tuple(max(one, 0.0) for one in rise))

    def known(self) -> dict[tuple[int, ...], float]:
        """Give all sets that have a time."""
        return {known.rows: known.time for known in self.search.sets()}

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
        return tuple(np.flatnonzero(found[0]).tolist()) if search.rules.feasible(found)[0] else near


def _cut(plane: Minorant) -> Cut:
    return Cut(plane.value + plane.constant, -plane.item, -plane.overlap)


def times_of(season: Season, progress: Callable[[str], None] = lambda _words: None,
             evaluators: dict[int, Evaluator] | None = None) -> list[EntryTimes]:
    """Set up the times of all entries; each needs a plan and a bound.

    Parameters
    ----------
    season : riders, races, kit and money
    progress : called with words on what is under way
    evaluators : of the times of sets by entry, where they are known already

    Returns
    -------
    times by entry

    Raises
    ------
    Infeasible
        where an entry has no plan; it names the limit
    """
    out = []
    for number, entry in enumerate(season.entries):
        job = entry.job
        progress(f"{entry.rider} in {entry.race}")
        day = day_of(job)
        evaluator = (evaluators or {}).get(number) or pacing_evaluator(day, job.baseline)
        ruled_out = forbidden(day, job.baseline, job.catalogue, job.rules)
        unsure = []
        for item in job.catalogue.items:
            pool = season.pool_of(entry, item.name)
            if item.name not in entry.borrowed and (pool is None or not (
                    season.pools[pool].rider and season.pools[pool].owned)):
                unsure.append(item.name)  # not the rider's own: others may have it
            if (item.name not in entry.borrowed and item.hire_price is None and not item.owned
                    and (pool is None or not season.pools[pool].owned + season.pools[pool].most)):
                ruled_out.setdefault(item.name, "cannot be had")
        out.append(EntryTimes(search_for(job.rider, job.baseline, job.catalogue, job.effects,
                                         evaluator, ruled_out, unsure=unsure), day))
    return out
