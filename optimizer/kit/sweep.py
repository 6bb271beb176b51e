"""All sets, at all budgets at once, that a bound cannot rule out.

On a piece of its range a bound is linear in what items add (`Plane`). Items that have something
to do with each other are gathered into groups, so that groups simply add up. Two things then make
the search short and keep it complete. A partial set is dropped when even the best completion stays
above what is known at every budget it could come to. And within a group, a combination is dropped
when another one costs no more and is better by more than all that the window allows: exchanging
them would lead below the least that any set can reach.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from optimizer.kit.bound import Bound
    from optimizer.kit.catalogue import Catalogue
    from optimizer.kit.ledger import Ledger

__all__ = ["Group", "Plane", "best_by_cost", "candidates", "gather", "least_by_cost", "plane_of",
           "tangent_of"]

_LARGEST_GROUP = 30_000  # combinations
_MOST = 3_000_000  # partial sets at a time
_BLINK = 1e-9  # s
_CENT = 1e-7  # money below which two sums are the same


@dataclass(frozen=True)
class Group:
    """Combinations of some places, k of them, feasible among themselves.

    Attributes
    ----------
    chosen : (k, n) items
    cost : (k,)
    overlaps : (k, t) 1 where an overlap counts; of those that reach into another group, 1
        where the payer is chosen
    across : (t,) whether an overlap reaches into another group
    """

    chosen: NDArray[np.bool_]
    cost: NDArray[np.float64]
    overlaps: NDArray[np.float64]
    across: NDArray[np.bool_]

    def take(self, rows: NDArray[np.bool_]) -> Group:
        """Return some of the combinations."""
        return Group(self.chosen[rows], self.cost[rows], self.overlaps[rows], self.across)


@dataclass(frozen=True)
class Plane:
    """A linear function [s] that lies below a bound on a part of its range.

    A set gives start + Σ item + Σ overlap; `slack` [s] is to be taken off for what is not linear.
    """

    start: float
    item: NDArray[np.float64]
    overlap: NDArray[np.float64]
    slack: float

    def values(self, group: Group) -> NDArray[np.float64]:
        """(k,) what each combination adds, at its best where an overlap reaches elsewhere."""
        loss = np.where(group.across, np.minimum(self.overlap, 0.0), self.overlap)
        return np.asarray(group.chosen @ self.item + group.overlaps @ loss)


def gather(catalogue: Catalogue, book: Ledger, allowed: NDArray[np.bool_]) -> list[Group]:
    """Gather the places into groups that add up.

    Groups grow with requirements and exclusions first, then with overlaps by size, as long as they
    stay small; what still reaches from one group to another is relaxed, to be checked at the end.
    """
    terms = book.terms
    place_of = {int(row): k for k, rows in enumerate(book.places) for row in rows}
    row = {name: k for k, name in enumerate(terms.names)}
    links = [(np.inf, k, row[name]) for k, item in enumerate(catalogue.items)
             for name in (*item.requires, *item.excludes)]
    links += [(float(np.abs(over.loss).mean()), over.payer, partner)
              for over in terms.overlaps for partner in over.partners]
    choices = [1 + int(allowed[rows].sum()) for rows in book.places]
    home = list(range(len(book.places)))
    for _, first, second in sorted(links, key=lambda link: (-link[0], link[1], link[2])):
        a, b = home[place_of[first]], home[place_of[second]]
        if a != b and choices[a] * choices[b] <= _LARGEST_GROUP:
            choices[a] *= choices[b]
            home = [a if h == b else h for h in home]
    groups = [_group(catalogue, book, allowed, [k for k, h in enumerate(home) if h == label])
              for label in dict.fromkeys(home)]
    return groups or [_group(catalogue, book, allowed, [])]


def _group(catalogue: Catalogue, book: Ledger, allowed: NDArray[np.bool_],
           places: list[int]) -> Group:
    items, terms = catalogue.items, book.terms
    row = {name: k for k, name in enumerate(terms.names)}
    options = [[-1, *(int(r) for r in book.places[k] if allowed[r])] for k in places]
    picks = np.array(list(itertools.product(*options)), dtype=int)
    chosen = np.zeros((len(picks), len(items) + 1), dtype=bool)
    np.put_along_axis(chosen, picks, values=True, axis=1)
    chosen = chosen[:, :-1]
    inside = {int(r) for k in places for r in book.places[k]}
    keep = np.ones(len(chosen), dtype=bool)
    for k in inside:
        for name in items[k].requires:
            if row[name] in inside:
                keep &= ~chosen[:, k] | chosen[:, row[name]]
        for name in items[k].excludes:
            if row[name] in inside:
                keep &= ~(chosen[:, k] & chosen[:, row[name]])
    chosen = chosen[keep]
    overlaps = book.overlapping(chosen)
    across = np.zeros(len(terms.overlaps), dtype=bool)
    for t, over in enumerate(terms.overlaps):
        if over.payer in inside and not inside.issuperset(over.partners):
            across[t] = True
            overlaps[:, t] = chosen[:, over.payer]
    return Group(chosen, chosen @ terms.cost, overlaps, across)


def tangent_of(bound: Bound, book: Ledger) -> Plane:
    """Return the bound without its bend: no bound any more, but close to the time."""
    return _plane(bound, book, bound.slope, bound.value)


def plane_of(bound: Bound, book: Ledger, basis: NDArray[np.float64],
             ends: NDArray[np.float64]) -> Plane:
    """Plane below the bound where the coordinates along `basis` (k, d) lie within `ends`.

    `ends` (k, 2) are measured from the bound's own point. On a piece [a, b] the square of a
    coordinate y lies below its chord, (a + b) y - a b.
    """
    inverse = np.linalg.pinv(basis)
    bend = inverse.T @ bound.bend @ inverse
    size = np.abs(ends).max(axis=1) + 1e-15
    coupling = np.abs(bend - np.diag(np.diag(bend))) * size[None, :] / size[:, None]
    kappa = np.diag(bend) + coupling.sum(axis=1)
    slope = bound.slope - 0.5 * (kappa * ends.sum(axis=1)) @ basis
    return _plane(bound, book, slope, bound.value + 0.5 * float(kappa @ ends.prod(axis=1)))


def _plane(bound: Bound, book: Ledger, slope: NDArray[np.float64], value: float) -> Plane:
    """Write value + slope · (θ - point), less bound.value, as a plane over items.

    Times the effective mass M it is linear, and is divided by the usual one; what the rest of M
    does to the distance from bound.value is left to the caller, by `Ledger.effective_range`.
    """
    usual = book.usual_effective
    cut = len(book.start)
    crr = float(bound.point[-1] / bound.point[-2])
    mass = float(bound.point[-2] / bound.point[-4])
    corners = bound.corner_price * (bound.cornering**2 - book.cornering**2)
    rest = value - bound.value + corners - float(slope @ bound.point)
    rolling = book.rolling(mass, crr)
    sums = np.concatenate([[slope[:cut] @ book.start], book.item @ slope[:cut]])
    terms = (sums + slope[-1] * rolling + rest * book.effective) / usual
    terms[1:] -= bound.corner_price * book.cornering**2 * book.corner_terms()
    low, high = book.mass_range
    crrs = book.spread(float(book.crr[0]), book.crr[1:])
    product = max(high - mass, mass - low) * max(float(crrs[1]) - crr, crr - float(crrs[0]))
    return Plane(float(terms[0]), terms[1:], book.overlap @ slope[:cut] / usual,
                 abs(float(slope[-1])) * product / usual)


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
    sets = _nothing(plane.start)
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
               ceilings: NDArray[np.float64]) -> NDArray[np.bool_] | None:
    """(s, n) every set whose plane lies at or below the ceiling of its budget.

    Budgets from edges[l] up to edges[l + 1] have ceilings[l], falling; None where there are
    too many. Overlaps and requirements across groups are relaxed.
    """
    values = [plane.values(group) for group in groups]
    after = _completions(groups, values, edges[-1])
    tops = edges[1:] - 2 * _CENT
    window = float(np.max(ceilings - plane.start - _least(after[0], tops)))
    if window < -_BLINK:
        return np.zeros((0, groups[0].chosen.shape[1]), dtype=bool)
    sets = _nothing(plane.start)
    for g, (group, value) in enumerate(zip(groups, values, strict=True)):
        best = _pareto(group.cost, value)
        near = np.flatnonzero(value <= _least((group.cost[best], value[best]), group.cost)
                              + window + _BLINK)
        parts = [sets.take(np.zeros(0, dtype=np.int64)).widened()]
        for part in sets.times(group.cost[near], value[near]):
            room = np.full(len(part.cost), -np.inf)
            for top, ceiling in zip(tops, ceilings, strict=True):
                np.maximum(room, ceiling - _least(after[g + 1], top - part.cost), out=room)
            parts.append(part.take(part.value <= room + _BLINK))
        sets = _joined(parts)
        if not len(sets.cost):
            return np.zeros((0, groups[0].chosen.shape[1]), dtype=bool)
        if len(sets.cost) > _MOST // 10:
            return None
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
    return plane.start + _least(best, money - 2 * _CENT)


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
