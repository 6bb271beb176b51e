"""Label setting over places: every set, at all budgets at once, below what a minorant allows.

What links items (requirements, exclusions, overlaps) is relaxed with the multipliers of a linear
program (Geoffrion 1974, Math. Programming Study 2:82), so that places add up. A dynamic program
from the last place back then says what a partial set may have cost and be worth at most, so that
some completion stays below the ceiling of its budget; partial sets above that are dropped. Once a
link is decided, what the relaxation lost on it is added again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from optimizer.highs import quiet_highs

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.kit.combinations import Closing, Combinations
    from optimizer.kit.minorant import Minorant

__all__ = ["Offer", "Relaxation", "best_by_cost", "relax", "sets_below"]

_CENT = 1e-7  # money below which two sums are the same
_BLINK = 1e-9  # s
_LEAST = 1e-12  # s, what a dearer set has to be faster


@dataclass(frozen=True)
class Offer:
    """What may be chosen, and at which price: `usable` (n,), `cost` (n,); `held` rows must be."""

    combinations: Combinations
    usable: NDArray[np.bool_]
    cost: NDArray[np.float64]
    held: tuple[int, ...] = ()

    def options(self, place: int) -> NDArray[np.int64]:
        """Rows to choose from at a place; -1 is nothing."""
        rows = self.combinations.places[place]
        must = [k for k in self.held if k in rows]
        if must:
            return np.array(must if self.usable[must[0]] else [], dtype=int)[:1]
        some = rows[self.usable[rows]]
        return some if place in self.combinations.filled else np.append(-1, some)


class Relaxation(NamedTuple):
    """A minorant with its links relaxed: constant + Σ item is never above it.

    `multiplier` (r,) of the rows of the combinations (0 for those of the places), `reduced` (t,)
    cost of the overlaps.
    """

    constant: float
    item: NDArray[np.float64]
    multiplier: NDArray[np.float64]
    reduced: NDArray[np.float64]


def relax(minorant: Minorant, offer: Offer, budget: float) -> Relaxation:
    """Relax a minorant so that dynamic programming over places solves it.

    Parameters
    ----------
    minorant : of the time of sets
    offer : what may be chosen, and what may be together
    budget : money at which it is to be close

    Returns
    -------
    relaxation, at most the minorant
    """
    rules, n = offer.combinations, offer.combinations.count
    cost = np.concatenate([minorant.item, minorant.overlap])
    money = np.concatenate([offer.cost, np.zeros(len(cost) - n)])
    most = np.concatenate([offer.usable.astype(float), np.ones(len(cost) - n)])
    multiplier = np.zeros(len(rules.limit))
    if len(rules.overlaps) or rules.requires or rules.excludes:
        multiplier = _multipliers(cost, np.vstack([rules.coefficients, money]),
                                  np.append(rules.limit, budget), most)[:-1]
        multiplier[:len(rules.places)] = 0.0
    priced = cost + multiplier @ rules.coefficients
    reduced = priced[n:]
    constant = minorant.constant - float(multiplier @ rules.limit) + float(
        np.minimum(reduced, 0.0).sum())
    return Relaxation(constant, priced[:n], multiplier, reduced)


def _multipliers(cost: NDArray[np.float64], rows: NDArray[np.float64],
                 limit: NDArray[np.float64], most: NDArray[np.float64]) -> NDArray[np.float64]:
    """Multipliers (r,) of rows x ≤ limit, with which cost x is least for 0 ≤ x ≤ most.

    Any that are not negative will do, those of the optimum are the best; 0 where there is none.
    """
    import highspy  # without the modelling around it: a search asks a hundred times

    program = highspy.HighsLp()
    program.num_row_, program.num_col_ = rows.shape
    program.col_cost_, program.col_lower_, program.col_upper_ = cost, np.zeros(len(cost)), most
    program.row_lower_, program.row_upper_ = np.full(len(limit), -np.inf), limit
    row, column = np.nonzero(rows)
    program.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    program.a_matrix_.start_ = np.searchsorted(row, np.arange(len(limit) + 1))
    program.a_matrix_.index_, program.a_matrix_.value_ = column, rows[row, column]
    highs = quiet_highs()
    highs.passModel(program)
    highs.run()
    if highs.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        return np.zeros(len(limit))
    return np.asarray(np.maximum(-np.array(highs.getSolution().row_dual), 0.0))


class _Room(NamedTuple):
    """Partial sets up to `cost` may be worth `value` [s] at most; cost rises, value falls."""

    cost: NDArray[np.float64]
    value: NDArray[np.float64]

    def at(self, cost: NDArray[np.float64]) -> NDArray[np.float64]:
        value = np.append(self.value, -np.inf)
        return np.asarray(value[np.searchsorted(self.cost, cost)])


def _rooms(relaxed: Relaxation, offer: Offer, edges: NDArray[np.float64],
           ceilings: NDArray[np.float64]) -> list[_Room]:
    """Find the room before each place in order, and after the last."""
    tops = edges[1:] - _CENT
    rooms = [_staircase(tops, ceilings)]
    for place in reversed(offer.combinations.order):
        price, worth = _options(relaxed, offer, place)[1:]
        rooms.insert(0, _staircase((rooms[0].cost[:, None] - price).ravel(),
                                   (rooms[0].value[:, None] - worth).ravel()))
    return rooms


def _staircase(cost: NDArray[np.float64], value: NDArray[np.float64]) -> _Room:
    order = np.lexsort((-value, -cost))
    order = order[cost[order] > -_CENT]
    if len(order):
        best = np.maximum.accumulate(value[order])
        order = order[np.concatenate([[True], best[1:] > best[:-1]])][::-1]
    return _Room(cost[order], value[order])


def _options(relaxed: Relaxation, offer: Offer, place: int,
             ) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
    """Rows, cost and relaxed value of what can be chosen at a place."""
    rows = offer.options(place)
    return rows, np.append(offer.cost, 0.0)[rows], np.append(relaxed.item, 0.0)[rows]


def best_by_cost(relaxed: Relaxation, offer: Offer, most: float,
                 ) -> tuple[NDArray[np.bool_], NDArray[np.float64], NDArray[np.float64]]:
    """Best sets by relaxed value for every sum up to `most`.

    Parameters
    ----------
    relaxed : values of items
    offer : what may be chosen, and what may be together
    most : money

    Returns
    -------
    (s, n) sets, their cost (s,) and relaxed value (s,) [s], cheapest first
    """
    chosen = np.zeros((1, offer.combinations.count), dtype=bool)
    cost, value = np.zeros(1), np.array([relaxed.constant])
    for place in offer.combinations.order:
        rows, price, worth = _options(relaxed, offer, place)
        total, worth = (cost[:, None] + price).ravel(), (value[:, None] + worth).ravel()
        order = np.lexsort((worth, total))
        order = order[total[order] <= most + _CENT]
        best = np.minimum.accumulate(worth[order])
        order = order[np.concatenate([[True], best[1:] < best[:-1] - _LEAST])[:len(order)]]
        chosen = _extended(chosen, rows, order)
        cost, value = total[order], worth[order]
    return chosen, cost, value


def _extended(chosen: NDArray[np.bool_], rows: NDArray[np.int64],
              which: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Extend sets (s, n) by one of `rows`; `which` of all s times len(rows)."""
    before, option = np.divmod(which, len(rows))
    chosen = chosen[before]
    taken = np.flatnonzero(rows[option] >= 0)
    chosen[taken, rows[option[taken]]] = True
    return chosen


def sets_below(relaxed: Relaxation, offer: Offer, edges: NDArray[np.float64],
               ceilings: NDArray[np.float64], most: int) -> tuple[NDArray[np.bool_] | None, float]:
    """Every set whose minorant is at or below the ceiling of its budget.

    Parameters
    ----------
    relaxed : values of items
    offer : what may be chosen, and what may be together
    edges : (l + 1,) budgets, rising
    ceilings : (l,) s, falling: from edges[l] up to edges[l + 1]
    most : partial sets at a time

    Returns
    -------
    (s, n) sets, None where there are too many; and by how much [s] sets may then be below
    """
    rules = offer.combinations
    rooms = _rooms(relaxed, offer, edges, ceilings)
    chosen = np.zeros((1, rules.count), dtype=bool)
    cost, value = np.zeros(1), np.array([relaxed.constant])
    gap = max(float(rooms[0].at(cost)[0]) - relaxed.constant, 0.0)
    for place, room, closing in zip(rules.order, rooms[1:], rules.closings, strict=True):
        rows, price, worth = _options(relaxed, offer, place)
        cost, value = (cost[:, None] + price).ravel(), (value[:, None] + worth).ravel()
        limit = room.at(cost)
        keep = np.flatnonzero(value <= limit + _BLINK)
        if len(keep) > most:
            return None, gap
        chosen = _extended(chosen, rows, keep)
        cost, value = cost[keep], value[keep] + _lost(relaxed, rules, closing, chosen)
        keep = np.flatnonzero(value <= limit[keep] + _BLINK)
        chosen, cost, value = chosen[keep], cost[keep], value[keep]
    at = np.clip(np.searchsorted(edges, cost + _CENT, side="right") - 1, 0, len(ceilings) - 1)
    inside = (cost >= edges[0] - _CENT) & (value <= ceilings[at] + _BLINK)
    return chosen[inside], 0.0


def _lost(relaxed: Relaxation, rules: Combinations, closing: Closing,
          chosen: NDArray[np.bool_]) -> NDArray[np.float64]:
    """(s,) what the relaxation lost on links that are decided now [s]; inf for broken rules."""
    counts = rules.overlapping(chosen, closing.needed)
    multiplier = relaxed.multiplier[closing.rows]
    reduced = np.zeros(len(rules.overlaps))
    reduced[closing.overlaps] = relaxed.reduced[closing.overlaps]
    lost = (float(multiplier @ rules.limit[closing.rows]) - float(np.minimum(reduced, 0.0).sum())
            - chosen @ (closing.items @ multiplier)
            + counts @ (reduced - closing.counts @ multiplier))
    for first, second, clash in closing.pairs:
        lost[chosen[:, first] & (chosen[:, second] == clash)] = np.inf
    return np.asarray(lost)
