"""The search for the fastest set, at one budget and at all of them.

A few sets are solved with their multipliers and give bounds on all others. Their tangents tell
which sets are worth a plan of their own; those are solved; and then it is shown that no other set
can beat them by more than a tolerance: at all budgets by `optimizer.kit.sweep`, at the one in
question by the mixed-integer program as well, which knows nothing of the sweep.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.kit.groups import gather
from optimizer.kit.master import Master, directions
from optimizer.kit.sieve import Sieve
from optimizer.kit.sweep import best_by_cost

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from optimizer.kit.bound import Bound
    from optimizer.kit.catalogue import Catalogue
    from optimizer.kit.groups import Group, Plane
    from optimizer.kit.judge import Judge
    from optimizer.kit.ledger import Ledger
    from optimizer.physics import Setup

__all__ = ["Known", "Search"]

_ROUNDS = 8  # of tangents and sets that they lead to
_ALONG = 16  # origins of bounds along the frontier
_MOST_PROPOSALS = 200
_TRIED = 2  # sets that a tangent holds for best


@dataclass(frozen=True)
class Known:
    """A set with a plan of its own: row numbers, money, setup, time [s]."""

    rows: tuple[int, ...]
    spend: float
    setup: Setup
    time: float


class Search:
    """Sets and bounds found so far for one catalogue; it grows as it is asked.

    Differences below `tolerance` [s] at the budget, and `along` the frontier, are let be.
    """

    def __init__(self, catalogue: Catalogue, book: Ledger, baseline: Setup, judge: Judge,
                 allowed: NDArray[np.bool_], groups: Sequence[Group], tolerance: float,
                 along: float) -> None:
        self.catalogue, self.book, self.baseline = catalogue, book, baseline
        self.judge, self.allowed, self.groups = judge, allowed, groups
        self.tolerance, self.along = tolerance, along
        self.known: dict[tuple[int, ...], Known] = {}
        self.bounds: dict[tuple[int, ...], Bound] = {}
        first = self.refer(())
        # What the certificate of one plan leaves open, no comparison of sets can close.
        open_here = self.look(()).time - first.value
        self.tolerance, self.along = max(tolerance, open_here), max(along, open_here)
        self.basis = directions(first.bend, book.reach())
        along_first = np.linalg.pinv(self.basis)[:, :1].T @ first.slope  # s, empty without items
        self.basis[:1] *= np.where(along_first < 0, -1.0, 1.0)[:, None]  # slower is more
        self.per_second = 1.0 / max(float(np.abs(along_first).sum()), 1e-9)
        self.spacing = along  # s between the origins of bounds along the frontier

    def look(self, rows: Iterable[int]) -> Known:
        """Judge a set, once."""
        key = tuple(int(row) for row in rows)
        if key not in self.known:
            setup = self.book.terms.setup(self.baseline, key)
            self.known[key] = Known(key, float(self.book.terms.cost[list(key)].sum()), setup,
                                    self.judge.time(setup))
        return self.known[key]

    def settle(self, rows: Iterable[int], within: float) -> Known:
        """Judge a set until time and bound agree `within` [s], or as well as its own plan can."""
        known = self.look(rows)
        for better in (None, self.refer):  # by plans found since, then by one of its own
            if known.rows in self.bounds or known.time - self.lower_of(known) <= within:
                break
            if better is not None:
                better(known.rows)
            known = replace(known, time=min(known.time, self.judge.time(known.setup)))
            self.known[known.rows] = known
        return known

    def lower_of(self, known: Known) -> float:
        """Best bound on one set [s]."""
        return float(self.lower(self.flags([known.rows]))[0])

    def flags(self, sets: Sequence[Sequence[int]]) -> NDArray[np.bool_]:
        """(s, n) sets given by row numbers."""
        out = np.zeros((len(sets), len(self.allowed)), dtype=bool)
        for k, rows in enumerate(sets):
            out[k, list(rows)] = True
        return out

    def refer(self, rows: Iterable[int]) -> Bound:
        """Take a set as the origin of a bound, once."""
        key = tuple(int(row) for row in rows)
        if key not in self.bounds:
            self.bounds[key] = self.judge.bound(self.book.terms.setup(self.baseline, key),
                                                self.book.reach())
        return self.bounds[key]

    def lower(self, chosen: NDArray[np.bool_]) -> NDArray[np.float64]:
        """(s,) best bound on sets (s, n) [s]."""
        theta, corners = self.book.coordinates(chosen), self.book.corners(chosen)
        return np.asarray(np.max([bound.at(theta, corners) for bound in self.bounds.values()],
                                 axis=0))

    def feasible(self, chosen: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """(s,) whether sets (s, n) keep what items require and exclude."""
        row = {name: k for k, name in enumerate(self.book.terms.names)}
        keep: NDArray[np.bool_] = ~np.any(chosen & ~self.allowed, axis=1)
        for k, item in enumerate(self.catalogue.items):
            for name in item.requires:
                keep &= ~chosen[:, k] | chosen[:, row[name]]
            for name in item.excludes:
                keep &= ~(chosen[:, k] & chosen[:, row[name]])
        return np.asarray(keep)

    def mended(self, chosen: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Take out of sets (s, n) what lacks its requirement or meets what it excludes."""
        row = {name: k for k, name in enumerate(self.book.terms.names)}
        out = chosen & self.allowed
        for k, item in enumerate(self.catalogue.items):
            for name in item.excludes:
                out[:, k] &= ~out[:, row[name]]
        for _ in range(len(row)):  # a requirement may require
            before = out.copy()
            for k, item in enumerate(self.catalogue.items):
                for name in item.requires:
                    out[:, k] &= out[:, row[name]]
            if (out == before).all():
                break
        return out

    def fastest(self, budget: float) -> Known:
        """Fastest known set within a budget, the cheapest of equals."""
        return min((known for known in self.known.values() if known.spend <= budget + 1e-9),
                   key=lambda known: (known.time, known.spend, known.rows))

    def best_where(self, row: int, *, held: bool, budget: float, near: Known) -> Known | None:
        """Fastest set within a budget that holds an item, or does not, by tangents at `near`."""
        groups = []
        for group in self.groups:
            here = group.chosen[:, row] == held
            inside = group.chosen[:, row].any()
            groups.append(group.take(here) if inside else group)
        if held and not any(group.chosen[:, row].any() for group in groups):
            return None
        sets = best_by_cost(groups, self._tangent(near.rows), budget)
        sets = sets[self.feasible(sets)]
        if not len(sets):
            return None
        order = np.argsort(self.lower(sets), kind="stable")[:_TRIED]
        return min((self.look(np.flatnonzero(sets[k])) for k in order), key=lambda k: k.time)

    def best_among(self, usable: NDArray[np.bool_], cost: NDArray[np.float64], budget: float,
                   near: Known) -> Known:
        """Fastest set of usable items (n,) at other prices (n,), by tangents at `near`."""
        groups = []
        for group in self.groups:
            kept = group.take(np.asarray(~group.chosen[:, ~usable].any(axis=1)))
            groups.append(replace(kept, cost=kept.chosen @ cost))
        sets = best_by_cost(groups, self._tangent(near.rows), budget)
        sets = self.mended(sets)
        order = np.argsort(self.lower(sets), kind="stable")[:_TRIED]
        return min((self.look(np.flatnonzero(sets[k])) for k in order), key=lambda k: k.time)

    def front(self) -> list[Known]:
        """Return the known sets that no other known set beats, cheapest first."""
        out: list[Known] = []
        for known in sorted(self.known.values(), key=lambda k: (k.spend, k.time, k.rows)):
            if not out or known.time < out[-1].time - 1e-9:
                out.append(known)
        return out

    def explore(self, most: float) -> None:
        """Find and solve what the tangents of bounds, spaced along the frontier, lead to."""
        pool = np.zeros((1, len(self.book.terms.names)), dtype=bool)
        asked: set[tuple[int, ...]] = set()
        for _ in range(_ROUNDS):
            parts = [pool]
            for key in self.bounds.keys() - asked:
                asked.add(key)
                parts.append(best_by_cost(self.groups, self._tangent(key), most))
            pool = np.unique(self.mended(np.concatenate(parts)), axis=0)
            pool, guess = self._front_of(pool)
            self.spacing = max(float(np.ptp(guess)) / _ALONG, self.along)
            ahead = self._beyond(guess)
            if not len(ahead):
                break
            for k in ahead:
                self.refer(np.flatnonzero(pool[k]))
        for chosen in pool:
            self.look(np.flatnonzero(chosen))
        self._settle_front()

    def _settle_front(self) -> None:
        """Settle the sets on the frontier, and those that take their place."""
        settled: set[tuple[int, ...]] = set()
        while ahead := [known for known in self.front() if known.rows not in settled]:
            for known in ahead:
                settled.add(self.settle(known.rows, self.along).rows)

    def _front_of(self, pool: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
        """Return what of the pool may lie on the frontier, with the bound as a guess of time."""
        guess, cost = self.lower(pool), pool @ self.book.terms.cost
        order = np.lexsort((guess, cost))
        best = np.minimum.accumulate(guess[order])
        keep = order[guess[order] <= best + self.along]
        return pool[keep], guess[keep]

    def _beyond(self, guess: NDArray[np.float64]) -> list[int]:
        """Places along the frontier that are too far from every bound's origin."""
        values = [bound.value for bound in self.bounds.values()]
        out: list[int] = []
        for k in np.argsort(-guess):
            if min(abs(guess[k] - value) for value in values) > self.spacing:
                out.append(int(k))
                values.append(float(guess[k]))
        return out

    def prove_front(self, most: float) -> float:
        """Show that no set beats the frontier of known sets; return by how much one still may [s].

        What the bounds cannot rule out is settled.
        """
        front = self.front()
        edges = np.array([known.spend for known in front] + [most + 1.0])
        times = np.array([known.time for known in front])
        rows = [known.rows for known in front]
        used = self._sieve(self.groups).of_use(edges[1:], times - self.along)
        used |= self.flags([*rows, *self.bounds]).any(axis=0)
        groups = gather(self.catalogue, self.book, used & self.allowed)
        sets, open_gap = self._sieve(groups).below(rows, edges, times - self.along)
        sets = sets[self.feasible(sets)]
        at = np.searchsorted(edges, sets @ self.book.terms.cost + 1e-9, side="right") - 1
        for chosen in sets[self.lower(sets) < times[at] - self.along]:
            self.settle(np.flatnonzero(chosen), self.along)
        self._settle_front()
        return max(self.along, self.shortfall(most)) + open_gap

    def _sieve(self, groups: Sequence[Group]) -> Sieve:
        return Sieve(self.book, self.bounds, groups, self.basis,
                     2.0 * self.spacing * self.per_second)

    def _tangent(self, rows: tuple[int, ...]) -> Plane:
        """Tangent of the bound from a set, as it fits that set."""
        self.refer(rows)
        return self._sieve(self.groups).tangent(rows)

    def shortfall(self, budget: float) -> float:
        """By how much the bounds let known sets within a budget beat the frontier [s]."""
        known = [k for k in self.known.values() if k.spend <= budget + 1e-9]
        lower = self.lower(self.flags([k.rows for k in known]))
        front = self.front()
        spends = np.array([k.spend for k in front])
        at = np.searchsorted(spends, [k.spend + 1e-9 for k in known], side="right") - 1
        return float(np.max(np.array([front[k].time for k in at]) - lower))

    def prove_best(self, budget: float) -> float:
        """Show by the mixed-integer program that no set within the budget beats the fastest known.

        Returns by how much one still may [s].
        """
        if not self.allowed.any():
            return self._left_open(budget)
        target = self.settle(self.fastest(budget).rows, self.tolerance)
        used = self._sieve(self.groups).of_use(np.array([budget + 1e-6]),
                                               np.array([target.time - self.tolerance]))
        master = Master(self.catalogue, self.book, list(used & self.allowed), self.bounds[()],
                        self.tolerance)
        near = sorted(self.bounds.values(), key=lambda bound: abs(bound.value - target.time))
        for bound in near[:5]:
            master.add(bound)
        for known in self.known.values():
            if known.time < target.time + 1.0:
                master.exclude(known.rows)
        for _ in range(_MOST_PROPOSALS):
            target = self.settle(self.fastest(budget).rows, self.tolerance)
            near_it = self.book.coordinates(self.flags([target.rows]))[0]
            proposal = master.propose(budget, target.time, near_it)
            if proposal is None:
                self._settle_rivals(budget)
                return self._left_open(budget)
            if float(self.lower(self.flags([proposal]))[0]) < target.time - self.tolerance:
                self.settle(proposal, self.tolerance)
                if proposal in self.bounds:
                    master.add(self.bounds[proposal])
            master.exclude(proposal)
        return float("inf")

    def _settle_rivals(self, budget: float) -> None:
        """Settle known sets that their bounds would let beat the fastest one."""
        target = self.fastest(budget).time - self.tolerance
        rows = [known.rows for known in self.known.values() if known.spend <= budget + 1e-9]
        for known, lower in zip(rows, self.lower(self.flags(rows)), strict=True):
            if lower < target:
                self.settle(known, self.tolerance)

    def _left_open(self, budget: float) -> float:
        """By how much known sets may still beat the fastest one, once others are ruled out [s]."""
        rows = [known.rows for known in self.known.values() if known.spend <= budget + 1e-9]
        least = float(self.lower(self.flags(rows)).min())
        return max(self.tolerance, self.fastest(budget).time - least)

