"""What the bounds leave of all sets: those that may still be faster than times to beat.

Sets are separated by boxes along the direction in which a bound is most curved, which is about
that of time. In each box the bound of the nearest origin is an affine minorant, below whose
ceilings `optimizer.kit.labels` finds every set. A box that leaves too much is halved: first its
budgets, then the box itself, in which the minorant then is closer.
"""

from __future__ import annotations

import heapq
import itertools
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.kit.combinations import distinct
from optimizer.kit.labels import best_by_cost, relax, sets_below
from optimizer.kit.minorant import Minorant, curvatures, minorant, minorant_near

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from optimizer.kit.bound import Bound
    from optimizer.kit.labels import Offer
    from optimizer.kit.set_model import SetModel

__all__ = ["Boxes"]

_GROWTH = 3.0  # of boxes beyond the last origin
_HALVINGS = 6  # of a box, its halves and so on
_FEW_LABELS = 4_000  # the same, where a piece is soon halved
_MOST_LABELS = 20_000  # partial sets at a time that are gone through without halving


class Boxes:
    """All sets in boxes, by the bounds found so far.

    `bounds` by the rows that were their origins, () for one that is good for all sets. Along
    `basis` (k, d), the first of it that of time, boxes beyond the last origin begin with a `width`.
    """

    def __init__(self, model: SetModel, bounds: Mapping[tuple[int, ...], Bound], offer: Offer,
                 basis: NDArray[np.float64], width: float) -> None:
        self.model, self.bounds, self.offer = model, bounds, offer
        self.basis, self.width = basis, width

    def sets_below(self, edges: NDArray[np.float64],
                   times: NDArray[np.float64]) -> tuple[NDArray[np.bool_], float]:
        """(s, n) sets that may be faster than the times, by what they cost, and a gap.

        From edges[l] up to edges[l + 1] the time is times[l], falling. The gap is by how much [s]
        what was too much to go through may beat its time.
        """
        found, gap = [np.zeros((0, len(self.offer.cost)), dtype=bool)], 0.0
        nearest = self._nearest(edges[1:])
        for origin, box in self:
            near = np.flatnonzero(nearest <= self.interval(origin, box)[1])
            if len(near):
                spent = float(self.offer.cost[list(origin)].sum())
                sets, left = self._in_box(origin, box, edges[near[0]:], times[near[0]:], spent,
                                            _HALVINGS)
                found.extend(sets)
                gap = max(gap, left)
        return distinct(found), gap

    def floor(self, rows: tuple[int, ...], target: float,
              most: int) -> tuple[float, NDArray[np.bool_]]:
        """Lower bound [s] on time and hurdles of all sets, whatever they cost, but for some (s, n).

        Up to `target`, and good near the set of `rows`. The piece along the first direction that
        is lowest is halved, up to `most` times.
        """
        free = replace(self.offer, cost=np.zeros(self.offer.combinations.count))
        at = {origin: float(self.basis[0] @ bound.point) for origin, bound in self.bounds.items()}
        found = [np.zeros((0, len(self.offer.cost)), dtype=bool)]
        queue: list[tuple[float, float, float]] = []

        def look(low: float, high: float) -> None:
            origin, box = self._nearest_origin(at, low, high)
            affine = minorant_near(self.bounds[origin], self.model, self.basis, box, rows, target)
            relaxed = relax(affine, free, 1.0)
            value = affine.value + float(best_by_cost(relaxed, free, 1.0)[2][-1])
            if value < target:
                sets, _ = sets_below(relaxed, free, np.array([0.0, 1.0]),
                                     np.array([target - affine.value]), _FEW_LABELS)
                if sets is not None:
                    found.append(sets)
                    return
                heapq.heappush(queue, (value, low, high))

        low, high = at[()] + self._ends(())[0]
        # Nothing is lost at a set that is on the edge of a piece.
        place = float(self.basis[0] @ self.model.coordinates(
            self.offer.combinations.flags([rows]))[0])
        for pair in itertools.pairwise(sorted({low, high, min(max(place, low), high)})):
            look(*pair)
        for _ in range(most):
            if not queue:
                break
            _, low, high = heapq.heappop(queue)
            look(low, 0.5 * (low + high))
            look(0.5 * (low + high), high)
        return min([target, *(value for value, *_ in queue[:1])]), distinct(found)

    def chord(self, rows: tuple[int, ...], slowest: float,
              within: tuple[float, float] = (-np.inf, np.inf)) -> Minorant:
        """Minorant of all sets that take `slowest` [s] at most, good near the set of `rows`.

        Of sets only whose first coordinate, from the point of the bound for all sets, is `within`.
        """
        at = {origin: float(self.basis[0] @ bound.point) for origin, bound in self.bounds.items()}
        low, high = self._ends(())[0]
        low, high = max(low, within[0]), min(high, within[1])
        origin, box = self._nearest_origin(at, float(at[()] + low), float(at[()] + max(low, high)))
        return minorant_near(self.bounds[origin], self.model, self.basis, box, rows, slowest)

    def places(self, along: tuple[float, float]) -> tuple[float, float]:
        """Range of the first coordinate of sets whose `along` is in a range."""
        masses = np.array(self.model.effective_range) / self.model.usual_effective
        return float((along[0] / masses).min()), float((along[1] / masses).max())

    def _nearest_origin(self, at: Mapping[tuple[int, ...], float], low: float, high: float,
                        ) -> tuple[tuple[int, ...], NDArray[np.float64]]:
        """Nearest origin whose bound is good for a piece, with the piece as a box about it."""
        for origin in sorted(at, key=lambda key: (abs(0.5 * (low + high) - at[key]), key)):
            box = np.vstack([[[low - at[origin], high - at[origin]]], self._ends(origin)[1:]])
            if origin == () or self._covers(origin, box):
                break
        return origin, box

    def __iter__(self) -> Iterator[tuple[tuple[int, ...], NDArray[np.float64]]]:
        """Origins and boxes (k, 2), coordinates from the origin, that together contain all sets."""
        at = {origin: float(self.basis[0] @ bound.point) for origin, bound in self.bounds.items()}
        low, high = at[()] + self._ends(())[0]
        origins = np.unique(list(at.values()))
        steps = self.width * _GROWTH ** np.arange(40)
        breaks = np.concatenate([[low], origins[0] - steps[::-1],
                                 0.5 * (origins[1:] + origins[:-1]), origins[-1] + steps, [high]])
        breaks = np.unique(np.clip(breaks, low, high))
        if len(breaks) == 1:
            breaks = np.repeat(breaks, 2)
        for a, b in itertools.pairwise(breaks):
            origin = min(at, key=lambda key: (abs(0.5 * (a + b) - at[key]), key))
            box = np.vstack([[[a - at[origin], b - at[origin]]], self._ends(origin)[1:]])
            if not self._covers(origin, box):
                origin = ()
                box = np.vstack([[[a - at[()], b - at[()]]], self._ends(())[1:]])
            yield origin, box

    def _covers(self, origin: tuple[int, ...], box: NDArray[np.float64]) -> bool:
        """Whether the bound from an origin is good for all of a box."""
        drag = np.linalg.pinv(self.basis)[0]
        return float(np.abs(drag) @ np.abs(box).max(axis=1)) <= self.bounds[origin].within

    def _in_box(self, origin: tuple[int, ...], box: NDArray[np.float64],
                edges: NDArray[np.float64], times: NDArray[np.float64], budget: float,
                halvings: int) -> tuple[list[NDArray[np.bool_]], float]:
        """Find what in a box may be faster than the times, with links relaxed as at a budget."""
        affine = minorant(self.bounds[origin], self.model, self.basis, box)
        sets, gap = sets_below(relax(affine, self.offer, budget), self.offer, edges,
                               affine.ceilings(times), _MOST_LABELS)
        if sets is not None:
            return [sets], 0.0
        if not halvings:
            return [], gap
        half = len(times) // 2
        if half:
            parts = [(box, edges[:half + 1], times[:half]), (box, edges[half:], times[half:])]
        else:
            kappa = curvatures(self.bounds[origin], self.basis, np.abs(box).max(axis=1))
            widest = int((kappa * np.ptp(box, axis=1)**2).argmax())
            parts = [(piece, edges, times) for piece in _halves(box, widest)]
        found, gap = [], 0.0
        for piece, money, targets in parts:
            more, left = self._in_box(origin, piece, money, targets,
                                      float(money[len(targets) // 2]), halvings - 1)
            found.extend(more)
            gap = max(gap, left)
        return found, gap

    def _ends(self, origin: tuple[int, ...]) -> NDArray[np.float64]:
        """(k, 2) coordinates along the basis that sets can have, from an origin."""
        ends = self.model.ends(self.basis, self.bounds[origin].point)
        per = self.model.usual_effective / np.array(self.model.effective_range)
        return np.column_stack([(ends[:, :1] * per).min(axis=1), (ends[:, 1:] * per).max(axis=1)])

    def along(self) -> Minorant:
        """Coordinate of time, from the point of the bound for all sets, times M over the usual M.

        It may miss by `slack`.
        """
        point = self.bounds[()].point
        start, item, overlap, slack = self.model.along(self.basis[:1], point)
        return Minorant(float(start[0]), item[:, 0], overlap[:, 0], float(slack[0]), 0.0, 0.0)

    def interval(self, origin: tuple[int, ...], box: NDArray[np.float64]) -> tuple[float, float]:
        """Least and most that `along` can be in a box."""
        apart = float(self.basis[0] @ (self.bounds[origin].point - self.bounds[()].point))
        ends = [(apart + end) * mass / self.model.usual_effective
                for end in box[0].tolist() for mass in self.model.effective_range]
        return min(ends), max(ends)

    def _nearest(self, budgets: NDArray[np.float64]) -> NDArray[np.float64]:
        """Least value of `along` that each budget buys."""
        along = self.along()
        _, cost, value = best_by_cost(relax(along, self.offer, float(np.median(budgets))),
                                      self.offer, float(budgets[-1]))
        return value[np.searchsorted(cost, budgets, side="right") - 1] - along.slack


def _halves(box: NDArray[np.float64], d: int) -> list[NDArray[np.float64]]:
    """Cut a box (k, 2) in the middle along one direction."""
    low, high = box.copy(), box.copy()
    low[d, 1] = high[d, 0] = box[d].mean()
    return [low, high]
