"""What the bounds leave of all sets: those that may still be faster than times to beat.

Sets are told apart by cells, each of them around the origin of a bound. In a cell that bound is a
plane (`optimizer.kit.groups`), through which `optimizer.kit.sweep` goes at all budgets at once. A
cell that holds too much to go through is cut in two, and the plane of a half lies closer.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

from optimizer.kit.groups import (
    bends,
    combination,
    farther,
    heights,
    plane_of,
    tangent_of,
)
from optimizer.kit.sweep import candidates, held_below, least_by_cost

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    from optimizer.kit.bound import Bound
    from optimizer.kit.groups import Group, Plane
    from optimizer.kit.ledger import Ledger

__all__ = ["Sieve"]

_GROWTH = 3.0  # of cells beyond the last origin
_MOST_CUTS = 3  # of a cell in two
_MOST_CUT = 15  # cells
_MOST_CANDIDATES = 30_000  # that are gone through without cutting


class Sieve:
    """Sets of some groups against the bounds found so far, by the rows that were their origins.

    Along `basis` (k, d), the first of it that of time, cells beyond the last origin begin with a
    `width`.
    """

    def __init__(self, book: Ledger, bounds: Mapping[tuple[int, ...], Bound],
                 groups: Sequence[Group], basis: NDArray[np.float64], width: float) -> None:
        self.book, self.bounds, self.groups = book, bounds, groups
        self.basis, self.width = basis, width
        self._cut = 0  # cells
        self._rows: dict[tuple[int, ...], list[int]] = {}  # of sets in the groups

    def tangent(self, origin: tuple[int, ...]) -> Plane:
        """Tangent of the bound from a set, with heights that fit it."""
        return self._fitted(tangent_of(self.bounds[origin], self.book), origin)

    def of_use(self, budgets: NDArray[np.float64],
               times: NDArray[np.float64]) -> NDArray[np.bool_]:
        """(n,) items that may be in a set within one of the budgets and faster than its time."""
        out = np.zeros(len(self.book.item), dtype=bool)
        for origin, nearer, cell in self._cells():
            near = least_by_cost(self.groups, nearer, budgets) <= 0.0
            if not near.any():
                continue
            plane = self._plane(origin, cell)
            ceilings = self._ceilings(times, origin, plane)
            near &= least_by_cost(self.groups, plane, budgets) <= ceilings
            out |= held_below(self.groups, plane, budgets[near], ceilings[near])
        return out

    def below(self, fronts: Sequence[tuple[int, ...]], edges: NDArray[np.float64],
              times: NDArray[np.float64]) -> tuple[NDArray[np.bool_], float]:
        """(s, n) sets that may be faster than the times, by what they cost, and a gap.

        From edges[l] up to edges[l + 1] the time is times[l], of about the set fronts[l]. The gap
        is by how much [s] what was too much to go through may beat its time.
        """
        found, gap = [np.zeros((0, len(self.book.item)), dtype=bool)], 0.0
        for origin, nearer, cell in self._cells():
            near = np.flatnonzero(least_by_cost(self.groups, nearer, edges[1:]) <= 0.0)
            sets, open_here = self._in_cell(origin, cell, fronts, edges, times, near, _MOST_CUTS)
            found.extend(sets)
            gap = max(gap, open_here)
        return np.unique(np.concatenate(found), axis=0), gap

    def _cells(self) -> Iterator[tuple[tuple[int, ...], Plane, NDArray[np.float64]]]:
        """Cells (d, 2), coordinates from their origins, that together hold all sets.

        Along the first direction, that of time, a cell reaches from its bound's origin half way
        to the next ones. With each a plane that is above 0 for what is slower than all in it.
        """
        book, basis = self.book, self.basis
        if not len(basis):
            yield (), farther(book, np.zeros(len(book.low)), 0.0), np.zeros((0, 2))
            return
        origins = sorted((float(basis[0] @ bound.point), key) for key, bound in self.bounds.items())
        middles = [0.5 * (one[0] + other[0]) for one, other in itertools.pairwise(origins)]
        for k, (at, origin) in enumerate(origins):
            ends = self._ends(self.bounds[origin])
            low = [middles[k - 1] - at] if k else self._outwards(ends[0, 0])
            high = [middles[k] - at] if k < len(middles) else self._outwards(ends[0, 1])
            for a, b in itertools.pairwise(sorted({*low, *high})):
                nearer = self._fitted(farther(book, basis[0], at + b), origin)
                yield origin, nearer, np.vstack([[[a, b]], ends[1:]])

    def _in_cell(self, origin: tuple[int, ...], cell: NDArray[np.float64],
                 fronts: Sequence[tuple[int, ...]], edges: NDArray[np.float64],
                 times: NDArray[np.float64], mine: NDArray[np.int64], cuts: int,
                 ) -> tuple[list[NDArray[np.bool_]], float]:
        """Return what may be faster than its time at `mine`, places on a frontier, in a cell."""
        if not len(mine):
            return [], 0.0
        plane = self._plane(origin, cell)
        ceilings = self._ceilings(times, origin, plane)
        mine = mine[least_by_cost(self.groups, plane, edges[mine + 1]) <= ceilings[mine]]
        found, gap = [], 0.0
        for begin, end, height in self._runs(fronts, mine, origin):
            here, these = plane.at(height), slice(begin, end)
            sets = candidates(self.groups, here, edges[begin:end + 1], ceilings[these],
                              _MOST_CANDIDATES)
            if sets is not None:
                found.append(sets)
            elif cuts and self._cut < _MOST_CUT:
                self._cut += 1
                bend = bends(self.bounds[origin], self.basis, np.abs(cell).max(axis=1))
                lost = bend * np.ptp(cell, axis=1)**2
                for half in _halves(cell, int(lost.argmax())):
                    more, open_here = self._in_cell(origin, half, fronts, edges, times,
                                                    np.arange(begin, end), cuts - 1)
                    found.extend(more)
                    gap = max(gap, open_here)
            else:
                least = least_by_cost(self.groups, here, edges[begin + 1:end + 1])
                gap = max(gap, float(np.max(ceilings[these] - least)))
        return found, gap

    def _runs(self, fronts: Sequence[tuple[int, ...]], mine: NDArray[np.int64],
              origin: tuple[int, ...]) -> Iterator[tuple[int, int, NDArray[np.float64]]]:
        """Begin and end of runs in `mine`, places on a frontier, with the heights they share."""
        tangent = tangent_of(self.bounds[origin], self.book)
        fits = heights(self.groups, tangent, self._combinations([fronts[k] for k in mine]))
        begin = 0
        for end in range(1, len(mine) + 1):
            apart = end == len(mine) or mine[end] != mine[end - 1] + 1
            if not apart:
                here = fits[begin:end + 1]
                apart = bool(np.any(here[:, :, 0].max(axis=0) > here[:, :, 1].min(axis=0)))
            if apart:
                yield int(mine[begin]), int(mine[end - 1]) + 1, self._height(
                    tangent, fits[begin:end])
                begin = end

    def _ends(self, bound: Bound) -> NDArray[np.float64]:
        """(d, 2) coordinates along the basis that sets can have, from the bound's origin."""
        book = self.book
        ends = book.ends(self.basis, bound.point)
        wider = book.usual_effective / book.effective_range[0]
        return np.column_stack([np.minimum(ends[:, 0], 0.0), np.maximum(ends[:, 1], 0.0)]) * wider

    def _outwards(self, end: float) -> list[float]:
        """Return breaks from near an origin to the end of the range, farther and farther apart."""
        breaks = [self.width]
        while breaks[-1] < abs(end):
            breaks.append(_GROWTH * breaks[-1])
        return [float(np.copysign(min(here, abs(end)), end)) for here in breaks]

    def _ceilings(self, times: NDArray[np.float64], origin: tuple[int, ...],
                  plane: Plane) -> NDArray[np.float64]:
        """Values of a plane from which on a set cannot be faster than `times` [s]."""
        low, high = self.book.effective_range
        ahead = times - self.bounds[origin].value
        return np.asarray(ahead + np.abs(ahead) * (high - low) / (high + low) + plane.slack)

    def _fitted(self, plane: Plane, origin: tuple[int, ...]) -> Plane:
        """Plane with heights that fit a set."""
        fits = heights(self.groups, plane, self._combinations([origin]))
        return plane.at(self._height(plane, fits))

    def _plane(self, origin: tuple[int, ...], cell: NDArray[np.float64]) -> Plane:
        """Plane in a cell, with heights that fit the origin."""
        return self._fitted(plane_of(self.bounds[origin], self.book, self.basis, cell), origin)

    def _height(self, plane: Plane, fits: NDArray[np.float64]) -> NDArray[np.float64]:
        """(r,) heights for sets with fits (s, r, 2) that have some in common [s]."""
        tolls = [float(plane.toll[list(rows)].max(initial=0.0))
                 for rows in self.book.terms.regions]
        low, high = fits[:, :, 0].max(axis=0), fits[:, :, 1].min(axis=0)
        return np.asarray(0.5 * (low + np.minimum(high, np.maximum(tolls, low))))

    def _combinations(self, sets: Sequence[tuple[int, ...]]) -> NDArray[np.int64]:
        """(s, g) rows of sets in the groups."""
        for rows in sets:
            if rows not in self._rows:
                flags = np.zeros(len(self.book.item), dtype=bool)
                flags[list(rows)] = True
                self._rows[rows] = [combination(group, flags) for group in self.groups]
        return np.array([self._rows[rows] for rows in sets], dtype=np.int64).reshape(
            len(sets), len(self.groups))


def _halves(cell: NDArray[np.float64], d: int) -> list[NDArray[np.float64]]:
    """Cut a cell (d, 2) in the middle along one direction."""
    low, high = cell.copy(), cell.copy()
    low[d, 1] = high[d, 0] = cell[d].mean()
    return [low, high]
