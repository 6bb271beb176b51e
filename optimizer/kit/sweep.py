"""All sets, at all budgets at once, that a bound cannot rule out.

A bound is taken as a plane over groups that add up (`optimizer.kit.groups`). Two things then make
the search short and keep it complete. A partial set is dropped when even the best completion stays
above what is known at every budget it could come to. And within a group, a combination is dropped
when another one costs no more and is better by more than all that the window allows: exchanging
them would lead below the least that any set can reach.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from optimizer.kit.groups import Group, Plane

__all__ = ["best_by_cost", "candidates", "held_below", "least_by_cost"]

_MOST = 200_000  # partial sets at a time
_BLINK = 1e-9  # s
_CENT = 1e-7  # money below which two sums are the same


@dataclass(frozen=True)
class _Partial:
    """Partial sets: cost, value [s], and the combination taken from each group so far (s, g)."""

    cost: NDArray[np.float64]
    value: NDArray[np.float64]
    picks: NDArray[np.int32]

    def take(self, rows: NDArray[np.int64] | NDArray[np.bool_]) -> _Partial:
        return _Partial(self.cost[rows], self.value[rows], self.picks[rows])

    def widened(self) -> _Partial:
        """Return the same with room for one more group."""
        return _Partial(self.cost, self.value, np.pad(self.picks, ((0, 0), (0, 1))))

    def times(self, cost: NDArray[np.float64], value: NDArray[np.float64]) -> Iterator[_Partial]:
        """Yield all extensions by one more group, in portions."""
        portion = max(_MOST // max(len(cost), 1), 1)
        which = np.arange(len(cost), dtype=np.int32)
        for begin in range(0, len(self.cost), portion):
            mine = slice(begin, begin + portion)
            count = len(self.cost[mine])
            yield _Partial((self.cost[mine, None] + cost).ravel(),
                           (self.value[mine, None] + value).ravel(),
                           np.column_stack([np.repeat(self.picks[mine], len(cost), axis=0),
                                            np.tile(which, count)]))


def _nothing(start: float) -> _Partial:
    return _Partial(np.zeros(1), np.array([start]), np.zeros((1, 0), dtype=np.int32))


def _pareto(cost: NDArray[np.float64], value: NDArray[np.float64]) -> NDArray[np.int64]:
    """Row numbers, by rising cost, of what nothing cheaper or equal in cost beats."""
    order = np.lexsort((value, cost))
    if not len(order):
        return order
    best = np.minimum.accumulate(value[order])
    return np.asarray(order[np.concatenate([[True], best[1:] < best[:-1] - 1e-12])])


def _chosen(groups: Sequence[Group], picks: NDArray[np.int32]) -> NDArray[np.bool_]:
    out = np.zeros((len(picks), groups[0].chosen.shape[1]), dtype=bool)
    for g, group in enumerate(groups):
        out |= group.chosen[picks[:, g]]
    return out


def best_by_cost(groups: Sequence[Group], plane: Plane, most: float) -> NDArray[np.bool_]:
    """(s, n) best sets for a plane at budgets up to `most`, cheapest first.

    What reaches across groups is relaxed.
    """
    sets = _nothing(plane.ground)
    for group in groups:
        value = plane.values(group)
        best = _pareto(group.cost, value)
        parts = [sets.take(np.zeros(0, dtype=np.int64)).widened()]
        for part in sets.times(group.cost[best], value[best]):
            within = part.take(part.cost <= most + _CENT)
            if len(within.cost):
                parts.append(within.take(_pareto(within.cost, within.value)))
        sets = _joined(parts)
        sets = sets.take(_pareto(sets.cost, sets.value))
        picks = sets.picks.copy()
        picks[:, -1] = best[picks[:, -1]]
        sets = _Partial(sets.cost, sets.value, picks)
    return _chosen(groups, sets.picks)


def _joined(parts: Sequence[_Partial]) -> _Partial:
    """Portions, at least one, as one."""
    return _Partial(np.concatenate([part.cost for part in parts]),
                    np.concatenate([part.value for part in parts]),
                    np.concatenate([part.picks for part in parts]))


def candidates(groups: Sequence[Group], plane: Plane, edges: NDArray[np.float64],
               ceilings: NDArray[np.float64], most: int = 300_000) -> NDArray[np.bool_] | None:
    """(s, n) every set whose plane lies at or below the ceiling of its budget.

    Budgets from edges[l] up to edges[l + 1] have ceilings[l], falling; None where there are
    more than `most` to go through. Overlaps and requirements across groups are relaxed.
    """
    values = [plane.values(group) for group in groups]
    after = _completions(groups, values, edges[-1])
    tops = edges[1:] - 2 * _CENT
    window = float(np.max(ceilings - plane.ground - _least(after[0], tops)))
    if window < -_BLINK:
        return np.zeros((0, groups[0].chosen.shape[1]), dtype=bool)
    sets = _nothing(plane.ground)
    for g, (group, value) in enumerate(zip(groups, values, strict=True)):
        best = _pareto(group.cost, value)
        near = np.flatnonzero(value <= _least((group.cost[best], value[best]), group.cost)
                              + window + _BLINK)
        parts = [sets.take(np.zeros(0, dtype=np.int64)).widened()]
        count = 0
        for part in sets.times(group.cost[near], value[near]):
            room = np.full(len(part.cost), -np.inf)
            for top, ceiling in zip(tops, ceilings, strict=True):
                np.maximum(room, ceiling - _least(after[g + 1], top - part.cost), out=room)
            parts.append(part.take(part.value <= room + _BLINK))
            count += len(parts[-1].cost)
            if count > most:
                return None
        sets = _joined(parts)
        if not count:
            return np.zeros((0, groups[0].chosen.shape[1]), dtype=bool)
        picks = sets.picks.copy()
        picks[:, -1] = near[picks[:, -1]]
        sets = _Partial(sets.cost, sets.value, picks)
    inside = (sets.cost >= edges[0] - _CENT) & (sets.cost < edges[-1])
    bracket = np.clip(np.searchsorted(edges, sets.cost + _CENT, side="right") - 1, 0,
                      len(ceilings) - 1)
    return _chosen(groups, sets.picks[inside & (sets.value <= ceilings[bracket] + _BLINK)])


def least_by_cost(groups: Sequence[Group], plane: Plane,
                  money: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the least value of a plane that less than `money` buys."""
    values = [plane.values(group) for group in groups]
    best = _completions(groups, values, float(money[-1]))[0]
    return plane.ground + _least(best, money - 2 * _CENT)


def held_below(groups: Sequence[Group], plane: Plane, budgets: NDArray[np.float64],
               ceilings: NDArray[np.float64]) -> NDArray[np.bool_]:
    """(n,) items of sets whose plane lies at or below the ceiling of a budget they are within."""
    values = [plane.values(group) for group in groups]
    out = np.zeros(groups[0].chosen.shape[1], dtype=bool)
    if not len(budgets):
        return out
    for g, (group, value) in enumerate(zip(groups, values, strict=True)):
        rest = _completions([*groups[:g], *groups[g + 1:]], [*values[:g], *values[g + 1:]],
                            float(budgets.max()) + 2 * _CENT)[0]
        held = np.zeros(len(value), dtype=bool)
        for money, ceiling in zip(budgets, ceilings, strict=True):
            held |= plane.ground + value + _least(rest, money - group.cost) <= ceiling + _BLINK
        out |= group.chosen[held].any(axis=0)
    return out


def _completions(groups: Sequence[Group], values: Sequence[NDArray[np.float64]], most: float,
                 ) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Best completions for less than `most`, by cost, from each group on; last is nothing."""
    after = [(np.zeros(1), np.zeros(1))]
    for group, value in zip(reversed(groups), reversed(values), strict=True):
        best = _pareto(group.cost, value)
        cost = (after[0][0][:, None] + group.cost[best]).ravel()
        total = (after[0][1][:, None] + value[best]).ravel()
        within = cost < most
        cost, total = cost[within], total[within]
        keep = _pareto(cost, total)
        after.insert(0, (cost[keep], total[keep]))
    return after


def _least(best: tuple[NDArray[np.float64], NDArray[np.float64]],
           money: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the least value that `money` buys, inf where nothing can be had for it."""
    cost, value = best
    at = np.searchsorted(cost, money + _CENT, side="right") - 1
    return np.where(at >= 0, value[np.maximum(at, 0)], np.inf)
