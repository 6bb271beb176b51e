"""The search for the fastest set, at one budget and at all of them.

A few sets are solved with their multipliers and give bounds on all others. Their tangents tell
which sets are worth a plan of their own; those are solved; and then branch and bound
(`optimizer.kit.boxes`) shows that no other set can beat them by more than a tolerance. At one
budget an integer program shows it as well, which shares the bounds and the rules with that search,
but none of its pruning.
"""

from __future__ import annotations

import itertools
from copy import copy
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from optimizer.kit.boxes import Boxes
from optimizer.kit.combinations import distinct
from optimizer.kit.labels import Offer, best_by_cost, relax, sets_below
from optimizer.kit.minorant import directions, minorant, tangent
from optimizer.side_by_side import side_by_side

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    from optimizer.kit.bound import Bound
    from optimizer.kit.evaluator import Evaluator
    from optimizer.kit.set_model import SetModel
    from optimizer.physics import Setup

__all__ = ["EvaluatedSet", "Search"]

_PROGRAM_ITEMS = 100  # up to which the integer program is asked: with more it takes long
_MOST_PROPOSALS = 50  # of the integer program
_NEAREST = 2  # bounds that it takes besides the one for all sets
_ROUNDS = 8  # of tangents and sets that they lead to
_ALONG = 16  # origins of bounds along the frontier
_PART = 0.35  # of the range of drag, within which a bound is good
_TRIED = 2  # sets that a tangent holds for best
_BLINK = 2e-3  # s
_MOST_HALVES = 40  # of boxes, where a floor is looked for
_WINDOW = 0.5  # s above the best tangent where sets are looked for first
_MOST_LABELS = 200_000  # partial sets at a time, where one set is looked for
_PARTS, _MANY = 8, 24  # parts in which so many sets or more are shared out between two cores
_Asked = TypeVar("_Asked")
_Answer = TypeVar("_Answer")


@dataclass(frozen=True)
class EvaluatedSet:
    """A set with a plan of its own: row numbers, money, setup, time [s]."""

    rows: tuple[int, ...]
    spend: float
    setup: Setup
    time: float


class Search:
    """Sets and bounds found so far for one catalogue; it grows as it is asked.

    `usable` (n,) items, and those that are `there` (n,) at no cost, of which a first set is made
    where some place has to be filled. Differences below `tolerance` [s] at the budget, and `along`
    the frontier, are not looked into. Sets are compared by their value: their time and the hurdles
    of their items.
    """

    def __init__(self, model: SetModel, baseline: Setup, evaluator: Evaluator,
                 usable: NDArray[np.bool_], there: NDArray[np.bool_], tolerance: float,
                 along: float) -> None:
        self.model, self.baseline, self.evaluator = model, baseline, evaluator
        self.terms, self.rules = model.terms, model.terms.combinations
        self.offer = Offer(self.rules, usable, self.terms.cost)
        self.known: dict[tuple[int, ...], EvaluatedSet] = {}
        self.bounds: dict[tuple[int, ...], Bound] = {}
        self._within = np.inf
        start = self._start(replace(self.offer, usable=there), 0.0, ())
        self.start = () if start is None else tuple(np.flatnonzero(start[0]).tolist())
        first = self.add_bound(())
        # What the certificate of one plan leaves open, no comparison of sets can close.
        open_here = self.evaluate(()).time - first.value  # no items, no hurdles
        self.evaluate(self.start)
        self.tolerance, self.along = max(tolerance, open_here), max(along, open_here)
        self.basis = directions(first.curvature, model.half_range())
        by_direction = np.linalg.pinv(self.basis)
        along_first = by_direction[:, :1].T @ first.slope  # s, empty without items
        self.basis[:1] *= np.where(along_first < 0, -1.0, 1.0)[:, None]  # slower is more
        self.per_second = 1.0 / max(float(np.abs(along_first).sum()), 1e-9)
        self.spacing = along  # s between the origins of bounds along the frontier
        self._within = _PART * float(model.half_range()[0]) + float(
            np.abs(by_direction[0, 1:]) @ np.abs(model.ends(self.basis[1:], first.point)).max(
                axis=1, initial=0.0))

    def with_hurdles(self, hurdle: NDArray[np.float64], overlap: NDArray[np.float64]) -> Search:
        """Return the same search, what it knows shared, with other hurdles (n,), (t,) [s]."""
        other = copy(self)
        other.model = replace(self.model, hurdle=hurdle, overlap_hurdle=overlap)
        return other

    def value(self, known: EvaluatedSet) -> float:
        """Time of a set and the hurdles of its items [s]."""
        return known.time + self._hurdles(known.rows)

    def _hurdles(self, rows: Iterable[int]) -> float:
        return float(self.model.hurdles(self.rules.flags([rows]))[0])

    def floor(self, rows: Iterable[int]) -> tuple[float, tuple[int, ...]]:
        """Lower bound [s] on the values of all sets of usable items at any price; a set near it.

        It is as high as the bound on the set of `rows`, where no other set is below that.
        """
        key = tuple(int(row) for row in rows)
        target = float(self.lower(self.rules.flags([key]))[0]) - _BLINK
        least, others = self._boxes(self.bounds).floor(key, target, _MOST_HALVES)
        if len(others):
            lower = self.lower(others)
            k = int(lower.argmin())
            if lower[k] < target:
                return min(least, float(lower[k])), tuple(np.flatnonzero(others[k]).tolist())
        return least, key

    def narrowed(self, usable: NDArray[np.bool_], needed: NDArray[np.bool_]) -> Search:
        """Return the same search, what it knows shared, over some of its sets.

        Those of `usable` items (n,) with one at each place `needed`.
        """
        other = copy(self)
        other.model = self.model.narrowed(usable, needed)
        other.offer = replace(self.offer, usable=usable)
        return other

    def boxes(self) -> Boxes:
        """Return all sets in boxes, by the bounds found so far."""
        return self._boxes(self.bounds)

    def evaluate(self, rows: Iterable[int]) -> EvaluatedSet:
        """Find the time of a set, once."""
        key = tuple(int(row) for row in rows)
        if key not in self.known:
            setup = self.terms.setup(self.baseline, key)
            self.known[key] = EvaluatedSet(key, float(self.terms.cost[list(key)].sum()), setup,
                                           self.evaluator.time(setup))
        return self.known[key]

    def _evaluate_all(self, sets: Sequence[tuple[int, ...]]) -> None:
        """Find the times of sets that are not known; no time depends on those of the others."""
        def times(some: Sequence[tuple[int, ...]]) -> list[float]:
            return [self.evaluator.time(self.terms.setup(self.baseline, key)) for key in some]

        new = [key for key in sets if key not in self.known]
        for key, time in zip(new, _in_parts(times, new), strict=True):
            self.known[key] = EvaluatedSet(key, float(self.terms.cost[list(key)].sum()),
                                           self.terms.setup(self.baseline, key), time)

    def tighten(self, rows: Iterable[int], within: float) -> EvaluatedSet:
        """Evaluate a set until time and bound agree `within` [s], or as well as its plan can."""
        known = self.evaluate(rows)
        for better in (None, self.add_bound):  # by plans found since, then by one of its own
            if known.rows in self.bounds or self.value(known) - self.lower_of(known) <= within:
                break
            if better is not None:
                better(known.rows)
            known = replace(known, time=min(known.time, self.evaluator.time(known.setup)))
            self.known[known.rows] = known
        return known

    def add_bound(self, rows: Iterable[int]) -> Bound:
        """Take a set as the origin of a bound, once."""
        key = tuple(int(row) for row in rows)
        self.add_bounds([key])
        return self.bounds[key]

    def add_bounds(self, sets: Iterable[Iterable[int]]) -> None:
        """Take each of some sets as the origin of a bound, once."""
        new = [key for key in dict.fromkeys(tuple(int(row) for row in rows) for rows in sets)
               if key not in self.bounds]
        self.bounds.update(zip(new, self.evaluator.bounds(
            [self.terms.setup(self.baseline, key) for key in new], self.model.half_range(),
            self._within), strict=True))

    def lower(self, chosen: NDArray[np.bool_]) -> NDArray[np.float64]:
        """(s,) best bound on the values of sets (s, n) [s]."""
        theta, corners = self.model.coordinates(chosen), self.model.corners(chosen)
        bounds = np.max([bound.at(theta, corners) for bound in self.bounds.values()], axis=0)
        return np.asarray(bounds + self.model.hurdles(chosen))

    def lower_of(self, known: EvaluatedSet) -> float:
        """Best bound on the value of one set [s]."""
        return float(self.lower(self.rules.flags([known.rows]))[0])

    def fastest(self, budget: float) -> EvaluatedSet:
        """Known set of the least value within a budget, the cheapest of equals."""
        return self.front(budget)[-1]

    def cheapest(self, budget: float, least_gain: float) -> EvaluatedSet:
        """Cheapest known set that is at most `least_gain` [s] behind the fastest in a budget."""
        front = self.front(budget)
        enough = self.value(front[-1]) + least_gain
        return next(known for known in front if self.value(known) <= enough)

    def sets(self) -> list[EvaluatedSet]:
        """Return the known sets that the rules allow; what else is known is there for its bound."""
        known = list(self.known.values())
        return known if not self.rules.filled else list(itertools.compress(
            known, self.rules.feasible(self.rules.flags([one.rows for one in known]))))

    def _within_budget(self, budget: float) -> list[EvaluatedSet]:
        return [known for known in self.sets() if known.spend <= budget + 1e-9]

    def front(self, budget: float = np.inf) -> list[EvaluatedSet]:
        """Return the known sets in a budget that no other known set beats, cheapest first."""
        out: list[EvaluatedSet] = []
        valued = ((known.spend, self.value(known), known.rows, known)
                  for known in self._within_budget(budget))
        least = np.inf
        for _, value, _, known in sorted(valued, key=lambda entry: entry[:3]):
            if value < least - 1e-9:
                out.append(known)
                least = value
        return out

    def best_where(self, row: int, *, held: bool, budget: float,
                   near: EvaluatedSet) -> EvaluatedSet | None:
        """Fastest set within a budget that has an item, or has not, by tangents at `near`."""
        if held:
            return self._best(replace(self.offer, held=(row,)), budget, near,
                              self.rules.needed(row))
        usable = self.offer.usable.copy()
        usable[row] = False
        return self._best(replace(self.offer, usable=usable), budget, near, [])

    def best_where_each(self, asked: Sequence[tuple[int, bool, float]], *,
                        near: EvaluatedSet) -> list[EvaluatedSet | None]:
        """Give `best_where` for each row that shall be held, or not, within its budget."""
        self.add_bound(near.rows)  # the last one: from here on no answer depends on the others

        def answers(some: Sequence[tuple[int, bool, float]]) -> list[EvaluatedSet | None]:
            return [self.best_where(row, held=held, budget=budget, near=near)
                    for row, held, budget in some]

        found = _in_parts(answers, asked)
        self.known.update({known.rows: known for known in found
                           if known is not None and known.rows not in self.known})
        return found

    def best_among(self, usable: NDArray[np.bool_], cost: NDArray[np.float64], budget: float,
                   near: EvaluatedSet) -> EvaluatedSet:
        """Fastest set of usable items (n,) at other prices (n,), by tangents at `near`."""
        found = self._best(Offer(self.rules, usable, cost), budget, near, [])
        return self.evaluate(self.start) if found is None else found

    def _best(self, offer: Offer, budget: float, near: EvaluatedSet,
              some: Sequence[int]) -> EvaluatedSet | None:
        """Fastest set of an offer, by the tangent at `near`; None if not even `some` can be had."""
        self.add_bound(near.rows)
        first = self._start(offer, budget, some)
        if first is None:
            return None
        affine = tangent(self.bounds[near.rows], self.model)
        relaxed = relax(affine, offer, budget)
        worst = float(affine.of(first, self.rules.overlapping(first))[0])
        edges, window = np.array([0.0, budget + 1e-6]), _WINDOW
        least = float(best_by_cost(relaxed, offer, budget)[2][-1])
        sets = first
        while True:
            found, _ = sets_below(relaxed, offer, edges, np.array([min(least + window, worst)]),
                                  _MOST_LABELS)
            if found is None:
                break
            if len(found):
                sets = found
                break
            window *= 2.0
        lower = self.lower(sets)
        order = np.argsort(lower, kind="stable")[:_TRIED]
        best = self.evaluate(np.flatnonzero(sets[order[0]]))
        for k in order[1:]:
            if lower[k] < self.value(best):
                best = min(best, self.evaluate(np.flatnonzero(sets[k])), key=self.value)
        return best

    def _start(self, offer: Offer, budget: float,
               some: Sequence[int]) -> NDArray[np.bool_] | None:
        """Return flags (1, n) of a set with `some` and what has to be; None if there is none."""
        open_still = [place for place in self.rules.filled
                      if not np.isin(self.rules.places[place], some).any()]
        for more in itertools.product(*map(offer.options, open_still)):
            rows = list({*some, *(k for row in more for k in self.rules.needed(int(row)))})
            first = self.rules.flags([rows])
            if (offer.usable[rows].all() and self.rules.feasible(first)[0]
                    and first[0] @ offer.cost <= budget + 1e-9):
                return first
        return None

    def explore(self, most: float) -> None:
        """Find and solve what the tangents of bounds, spaced along the frontier, lead to."""
        pool = self.rules.flags([self.start])
        asked: set[tuple[int, ...]] = set()
        for _ in range(_ROUNDS):
            parts = [pool]
            for key in self.bounds.keys() - asked:
                asked.add(key)
                relaxed = relax(tangent(self.bounds[key], self.model), self.offer,
                                self.evaluate(key).spend)
                parts.append(self.rules.repair(best_by_cost(relaxed, self.offer, most)[0]))
            pool = distinct(parts)
            pool, guess = self._front_of(pool[self.rules.feasible(pool)], self.along)
            self.spacing = max(float(np.ptp(guess)) / _ALONG, self.along)
            ahead = self._beyond(guess)
            if not len(ahead):
                break
            self.add_bounds([np.flatnonzero(pool[k]) for k in ahead])
        pool, _ = self._front_of(pool, self.tolerance)
        self._evaluate_all([tuple(np.flatnonzero(chosen).tolist()) for chosen in pool])
        self._tighten_front()

    def _tighten_front(self) -> None:
        """Tighten the sets on the frontier, and those that take their place."""
        done: set[tuple[int, ...]] = set()
        while ahead := [known for known in self.front() if known.rows not in done]:
            lower = self.lower(self.rules.flags([known.rows for known in ahead]))
            for known, floor in zip(ahead, lower, strict=True):
                if self.value(known) - floor > self.along:
                    self.tighten(known.rows, self.along)
                done.add(known.rows)

    def _front_of(self, pool: NDArray[np.bool_],
                  within: float) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
        """Return what of the pool is on the frontier, or `within` [s] of it, by the bounds.

        With the bounds as guesses of the times [s].
        """
        guess, cost = self.lower(pool), pool @ self.terms.cost
        order = np.lexsort((guess, cost))
        best = np.minimum.accumulate(guess[order])
        keep = order[guess[order] <= best + within]
        return pool[keep], guess[keep]

    def _beyond(self, guess: NDArray[np.float64]) -> list[int]:
        """Places along the frontier that are too far from every bound's origin."""
        values = [bound.value + self._hurdles(rows) for rows, bound in self.bounds.items()]
        out: list[int] = []
        for k in np.argsort(-guess):
            if min(abs(guess[k] - value) for value in values) > self.spacing:
                out.append(int(k))
                values.append(float(guess[k]))
        return out

    def prove_front(self, most: float) -> float:
        """Show that no set beats the frontier of known sets; return by how much one still may [s].

        What the bounds cannot rule out is tightened.
        """
        front = self.front()
        gap = self._rule_out(np.array([known.spend for known in front] + [most + 1.0]),
                             np.array([self.value(known) for known in front]), self.along)
        self._tighten_front()
        known = self._within_budget(most)
        lower = self.lower(self.rules.flags([k.rows for k in known]))
        best = self._best_within(np.array([k.spend for k in known]))
        return max(self.along, float(np.max(best - lower))) + gap

    def prove_best(self, budget: float) -> float:
        """Show that no set within a budget beats the fastest known; return by how much one may."""
        target = self.tighten(self.fastest(budget).rows, self.tolerance)
        gap = self._rule_out(np.array([0.0, budget + 1e-6]), np.array([self.value(target)]),
                             self.tolerance, budget)
        return self._left_open(budget) + gap

    def prove_cheapest(self, budget: float, least_gain: float) -> EvaluatedSet:
        """Find the cheapest set at most `least_gain` behind the fastest within a budget [s].

        No cheaper one is that near by more than `tolerance`, as far as boxes can be gone through.
        """
        while True:
            found = self.tighten(self.cheapest(budget, least_gain).rows, self.tolerance)
            if found.spend <= 0.0 or least_gain <= 0.0:
                return found
            enough = self.value(self.fastest(budget)) + least_gain - self.tolerance
            sets, _ = self._boxes(self.bounds).sets_below(
                np.array([0.0, found.spend - 1e-6]), np.array([enough]))
            for rows in sets:
                if self.lower(rows[None])[0] < enough and self.value(
                        self.tighten(np.flatnonzero(rows), self.tolerance)) < enough:
                    break  # a cheaper one: what is dearer need not be ruled out
            else:
                if self.cheapest(budget, least_gain).rows == found.rows:
                    return found

    def _rule_out(self, edges: NDArray[np.float64], times: NDArray[np.float64],
                  tolerance: float, budget: float | None = None) -> float:
        """Tighten the sets that may beat times by their budgets; return what is left open [s].

        A set has to beat the fastest that its own money buys, or a `budget`.
        """
        sets, gap = self._boxes(self.bounds).sets_below(edges, times - tolerance)
        money = sets @ self.terms.cost if budget is None else np.full(len(sets), budget)
        lower, bounds = np.full(len(sets), -np.inf), 0
        while len(sets):
            if len(self.bounds) > bounds:
                bounds, lower = len(self.bounds), self.lower(sets)
            open_still = np.flatnonzero(lower < self._best_within(money) - tolerance)
            if not len(open_still):
                break
            order = open_still[np.argsort(-lower[open_still], kind="stable")]
            one, order = sets[order[-1]], order[:-1]
            sets, money, lower = sets[order], money[order], lower[order]
            self.tighten(np.flatnonzero(one), tolerance)
        return gap

    def _best_within(self, money: NDArray[np.float64]) -> NDArray[np.float64]:
        """(s,) least value of the known sets within each of the budgets (s,); inf without any."""
        known = sorted(self.sets(), key=lambda one: one.spend)
        best = np.minimum.accumulate([self.value(one) for one in known])
        at = np.searchsorted([one.spend for one in known], money + 1e-9, side="right") - 1
        return np.where(at >= 0, best[at], np.inf)

    def _left_open(self, budget: float) -> float:
        """By how much known sets may still beat the fastest one [s]."""
        best = self.tighten(self.fastest(budget).rows, self.tolerance)
        while (found := self.fastest(budget)).rows != best.rows:
            best = self.tighten(found.rows, self.tolerance)
        known = [known.rows for known in self._within_budget(budget)]
        least = float(self.lower(self.rules.flags(known)).min())
        return max(self.tolerance, self.value(best) - least)

    def prove_by_program(self, budget: float) -> float:
        """Show the same by an integer program in each box; inf where that is too much for it.

        It shares the bounds and the rules with the other proof, and none of its pruning.
        """
        if not self.offer.usable.any():
            return self._left_open(budget)
        if self.offer.usable.sum() > _PROGRAM_ITEMS:
            return float("inf")
        for _ in range(_ROUNDS):
            best = self.tighten(self.fastest(budget).rows, self.tolerance)
            self.add_bound(best.rows)
            if not self._ruled_out_by_program(budget, self.value(best) - self.tolerance):
                break
            if self.value(self.fastest(budget)) >= self.value(best) - self.tolerance:
                return self._left_open(budget)
        return float("inf")

    def _ruled_out_by_program(self, budget: float, aim: float) -> bool:
        """Tighten sets that may beat a time [s], up to the first that does; whether it ended."""
        from optimizer.kit.program import Program, UndecidedError

        near = sorted(self.bounds, key=lambda rows: abs(self.bounds[rows].value - aim))
        boxes = self._boxes({key: self.bounds[key] for key in [(), *near[:_NEAREST]]})
        seen, asked = self._within_budget(budget), 0
        for origin, box in boxes:
            affine = minorant(self.bounds[origin], self.model, self.basis, box)
            program = Program(self.offer, affine, budget, boxes.along(),
                              boxes.interval(origin, box))
            for known in seen:
                program.exclude(known.rows)
            try:
                while (proposal := program.propose(float(affine.ceilings(aim)))) is not None:
                    asked += 1
                    if asked > _MOST_PROPOSALS:
                        return False
                    program.exclude(proposal)
                    if (self.lower(self.rules.flags([proposal]))[0] < aim
                            and self.value(self.tighten(proposal, self.tolerance)) < aim):
                        return True
            except UndecidedError:
                return False
        return True

    def _boxes(self, bounds: Mapping[tuple[int, ...], Bound]) -> Boxes:
        return Boxes(self.model, bounds, self.offer, self.basis,
                     2.0 * self.spacing * self.per_second)


def _in_parts(work: Callable[[Sequence[_Asked]], list[_Answer]],
              asked: Sequence[_Asked]) -> list[_Answer]:
    """Answers to all that is asked, from `work` that answers some of it, on two cores."""
    if len(asked) < _MANY:
        return work(asked)
    size = -(-len(asked) // _PARTS)
    parts = [asked[k:k + size] for k in range(0, len(asked), size)]
    found = side_by_side({str(k): partial(work, part) for k, part in enumerate(parts)})
    return [answer for answers in found for answer in answers]
