"""The choice as a mixed-integer program: is there a set that may beat the best known one.

Times the effective mass, every bound of `optimizer.kit.bound` is linear in what a set adds up to,
but for its bend. That is taken apart into directions, and the square along each of them is laid
on chords between breakpoints, which keeps the bound a bound. The product of mass and Crr becomes
linear once (m - usual m) x_i is a variable of its own for each item that changes Crr. The program
is written in Pyomo and solved by HiGHS, again and again with more bounds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.kit.groups import bends

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.kit.bound import Bound
    from optimizer.kit.catalogue import Catalogue
    from optimizer.kit.ledger import Ledger

__all__ = ["Master", "add_sets", "directions"]

_CHORDS = 8  # on either side of the target
_WIDENING = 1.7  # of each chord against its inner neighbour
_NEAR_TIME = 0.15  # of the range along the direction of time: where sets have to be told apart
_TINY = 1e-4  # of a breakpoint
_ROUNDING = 1e-12  # of coefficients about 1; what is below is left over from a difference


def add_sets(model: Any, catalogue: Catalogue, book: Ledger, allowed: Sequence[bool]) -> None:
    """Add to a Pyomo model what may be together and what it costs.

    `model.item` are the items, `model.overlap` the overlaps that count, `model.budget` the money.
    """
    import pyomo.environ as pyo

    items, terms = catalogue.items, book.terms
    row = {name: k for k, name in enumerate(terms.names)}
    model.item = x = pyo.Var(range(len(items)), domain=pyo.Binary)
    for k, ok in enumerate(allowed):
        if not ok:
            x[k].fix(0)
    model.together = pyo.ConstraintList()
    for rows in book.places:
        model.together.add(pyo.quicksum(x[int(k)] for k in rows) <= 1)
    for k, item in enumerate(items):
        for name in item.requires:
            model.together.add(x[k] <= x[row[name]])
        for name in item.excludes:
            model.together.add(x[k] + x[row[name]] <= 1)
    model.budget = pyo.Param(mutable=True, initialize=0.0)
    model.spend = pyo.Constraint(expr=pyo.quicksum(
        float(cost) * x[k] for k, cost in enumerate(terms.cost)) <= model.budget)
    model.overlap = pyo.Var(range(len(terms.overlaps)), bounds=(0, 1))
    for t, over in enumerate(terms.overlaps):
        u = model.overlap[t]
        for rows in book.places:  # of which no two are in a set: one row for all
            here = [int(k) for k in rows if k in over.partners]
            if here:
                model.together.add(u >= x[over.payer] + pyo.quicksum(x[k] for k in here) - 1)
        model.together.add(u <= x[over.payer])
        model.together.add(u <= pyo.quicksum(x[partner] for partner in over.partners))
    _add_regions(model, book)


def _add_regions(model: Any, book: Ledger) -> None:
    """Add that of what is chosen in a region, from the first item down, all but one pay.

    The rows above say so already of whole items, but much less of parts of them.
    """
    import pyomo.environ as pyo

    place = {int(k): number for number, rows in enumerate(book.places) for k in rows}
    for region in book.terms.regions:
        paying = []
        for rank, k in enumerate(region):
            before = {j for j in region[:rank] if place[j] != place[k]}
            due = [t for t, over in enumerate(book.terms.overlaps)
                   if over.payer == k and before.issubset(over.partners)]
            if due or not before:
                paying.append((k, due))
                model.together.add(pyo.quicksum(model.overlap[t] for _, some in paying
                                                for t in some[:1])
                                   >= pyo.quicksum(model.item[k] for k, _ in paying) - 1)


class Master:
    """The program of one catalogue with the bounds found so far.

    Its variables: the items, the overlaps that count, Θ and the effective mass (over the usual
    one), the coordinate and its square along each direction, and `lead`, the seconds by which a
    set may beat the target, negative.
    """

    def __init__(self, catalogue: Catalogue, book: Ledger, allowed: Sequence[bool], first: Bound,
                 tolerance: float) -> None:
        import pyomo.environ as pyo
        from pyomo.contrib.appsi.solvers import Highs

        self._pyo, self._book = pyo, book
        self._point = first.point
        self._basis = directions(first.bend, book.reach())
        self._corners = book.corner_terms()
        self._usual_mass = 0.5 * sum(book.mass_range)
        self._units = np.maximum(np.maximum(np.abs(book.low), np.abs(book.high)), 1e-6)
        self.model = model = pyo.ConcreteModel()
        add_sets(model, catalogue, book, allowed)
        self._add_sums(model)
        self._add_bends(model, first, 0.4 * tolerance)
        least = book.effective_range[0] / book.usual_effective
        model.lead = pyo.Var(bounds=(None, -tolerance * least))
        model.objective = pyo.Objective(expr=model.lead)
        model.cuts = pyo.ConstraintList()
        model.known = pyo.ConstraintList()
        self._solver = Highs()
        self._solver.config.load_solution = False
        self._solver.highs_options = {"mip_rel_gap": 0.0, "mip_abs_gap": 5.0 * tolerance,
                                      "threads": 1, "random_seed": 1}
        for flag in vars(self._solver.update_config):
            if flag.startswith(("check_for", "update_")):
                setattr(self._solver.update_config, flag, False)
        self._solver.set_instance(model)

    def _add_sums(self, model: Any) -> None:
        """Add Θ, in units of its own, and the effective mass, both over the usual one."""
        pyo, book, x = self._pyo, self._book, model.item
        scale = 1.0 / book.usual_effective
        count = range(len(book.terms.names))
        model.bulk = pyo.Var()
        model.bulk_is = pyo.Constraint(expr=model.bulk == self._linear(book.effective, scale))
        # part[k] = (m - usual m) x_k, exact for x_k 0 or 1 (McCormick 1976).
        movers = [k for k in count if book.crr[1 + k]]
        model.part = pyo.Var(movers)
        model.products = pyo.ConstraintList()
        off = self._linear(book.mass, 1.0) - self._usual_mass
        low, high = (end - self._usual_mass for end in book.mass_range)
        for k in movers:
            w = model.part[k]
            model.products.add(w <= high * x[k])
            model.products.add(w >= low * x[k])
            model.products.add(w <= off - low * (1 - x[k]))
            model.products.add(w >= off - high * (1 - x[k]))
        last = len(book.start)
        model.sum = pyo.Var(range(last + 1))
        model.sum_is = pyo.ConstraintList()
        for j in range(last):
            unit = scale / float(self._units[j])
            model.sum_is.add(model.sum[j] == self._linear(
                np.append(book.start[j], book.item[:, j]), unit, book.overlap[:, j]))
        unit = scale / float(self._units[last])
        rolling = book.rolling(self._usual_mass, float(book.crr[0]))
        model.sum_is.add(model.sum[last] == self._linear(rolling, unit) + pyo.quicksum(
            unit * float(book.crr[1 + k]) * model.part[k] for k in movers))
        model.target = pyo.Param(mutable=True, initialize=1.0)
        model.aim = pyo.Var()
        model.aim_is = pyo.Constraint(expr=model.aim == model.target * model.bulk)

    def _linear(self, terms: NDArray[np.float64], scale: float,
                overlap: NDArray[np.float64] | None = None) -> Any:
        """Expression scale (terms[0] + Σ terms[1 + k] x_k + Σ overlap[t] u_t)."""
        model = self.model
        out = scale * float(terms[0]) + self._pyo.quicksum(
            scale * float(c) * model.item[k] for k, c in enumerate(terms[1:])
            if abs(scale * c) > _ROUNDING)
        if overlap is not None:
            out += self._pyo.quicksum(scale * float(c) * model.overlap[t]
                                      for t, c in enumerate(overlap)
                                      if abs(scale * c) > _ROUNDING)
        return out

    def _add_bends(self, model: Any, first: Bound, allowance: float) -> None:
        """Add coordinates along the directions, and chords that may lose `allowance` [s]."""
        pyo, book, basis, point = self._pyo, self._book, self._basis, self._point
        last = len(book.start)
        flat, tail = basis.copy(), basis[:, last]
        flat[:, last] = 0.0
        start, item, overlap, _ = book.along(flat, np.append(point[:last], 0.0))
        count = len(basis)
        model.along = pyo.Var(range(count))
        model.square = pyo.Var(range(count))
        model.chords = pyo.ConstraintList()
        self._widest = np.sqrt(8.0 * allowance / max(count, 1)
                               / np.maximum(self._kappa(first), 1e-12))
        self._ends = book.ends(basis, point)
        self._breaks: dict[int, Any] = {}
        for d, (low, high) in enumerate(self._ends):
            along = self._linear(np.append(start[d], item[:, d]), 1.0, overlap[:, d])
            if abs(tail[d] * self._units[last]) > _ROUNDING:  # m Crr, exact
                along += (float(tail[d] * self._units[last]) * model.sum[last]
                          - float(tail[d] * point[last]) * model.bulk)
            model.chords.add(model.along[d] == along)
            if high - low <= self._widest[d]:
                model.chords.add(model.square[d] == float(low + high) * model.along[d]
                                 - float(low * high))
            else:
                self._add_chords(model, d)

    def _add_chords(self, model: Any, d: int) -> None:
        """Lay along[d]² on chords between breakpoints, a binary for each chord."""
        pyo = self._pyo
        breaks = pyo.Param(range(2 * _CHORDS + 1), mutable=True, initialize=1.0)
        squares = pyo.Param(range(2 * _CHORDS + 1), mutable=True, initialize=1.0)
        weights = pyo.Var(range(2 * _CHORDS + 1), bounds=(0, 1))
        pieces = pyo.Var(range(2 * _CHORDS), domain=pyo.Binary)
        for name, part in (("breaks", breaks), ("squares", squares), ("weights", weights),
                           ("pieces", pieces)):
            setattr(model, f"{name}{d}", part)
        model.chords.add(pyo.quicksum(weights.values()) == 1)
        model.chords.add(pyo.quicksum(pieces.values()) == 1)
        model.chords.add(model.along[d] == pyo.quicksum(breaks[k] * weights[k] for k in weights))
        model.chords.add(model.square[d] == pyo.quicksum(squares[k] * weights[k]
                                                         for k in weights))
        for k in weights:
            model.chords.add(weights[k] <= pyo.quicksum(pieces[j] for j in (k - 1, k)
                                                        if j in pieces))
        self._breaks[d] = (breaks, squares)

    def _focus(self, d: int, middle: float) -> None:
        """Set breakpoints: close together at `middle`, where they have to tell sets apart."""
        low, high = self._ends[d]
        steps = self._widest[d] * (_WIDENING ** np.arange(1, _CHORDS + 1) - 1) / (_WIDENING - 1)
        steps *= max((high - low) / steps[-1], 1.0)
        at = np.clip(np.concatenate([middle - steps[::-1], [middle], middle + steps]), low, high)
        # HiGHS takes no coefficient below 1e-9, and the squares are some; outwards, to cover all.
        at = np.where(np.abs(at) > _TINY, at, np.where(np.arange(len(at)) < _CHORDS, -_TINY, _TINY))
        breaks, squares = self._breaks[d]
        for k, value in enumerate(at):
            breaks[k].set_value(float(value))
            squares[k].set_value(float(value * value))

    def _kappa(self, bound: Bound) -> NDArray[np.float64]:
        """Bend along each direction, as suits sets that take about as long as the target."""
        size = np.abs(self._basis) @ self._book.reach()
        size[:1] *= _NEAR_TIME
        return bends(bound, self._basis, size)

    def add(self, bound: Bound) -> None:
        """Add a bound on all sets."""
        model, book = self.model, self._book
        kappa, at = self._kappa(bound), self._basis @ (bound.point - self._point)
        bare = bound.corner_price * book.cornering**2
        flat = (bound.value - float(bound.slope @ bound.point) - 0.5 * float(kappa @ at**2)
                + bound.corner_price * bound.cornering**2 - bare)
        square = 0.5 * book.usual_effective / book.effective_range[0]
        total = flat * model.bulk
        total += self._pyo.quicksum(float(c) * model.sum[j] for j, c in enumerate(
            bound.slope * self._units) if abs(c) > _ROUNDING)
        total += self._pyo.quicksum(float(c) * model.along[d] for d, c in enumerate(kappa * at)
                                    if abs(c) > _ROUNDING)
        total -= self._pyo.quicksum(float(square * k) * model.square[d]
                                    for d, k in enumerate(kappa) if k > _ROUNDING)
        total -= self._pyo.quicksum(float(bare * c) * model.item[k]
                                    for k, c in enumerate(self._corners) if c)
        self._solver.add_constraints([model.cuts.add(total <= model.aim + model.lead)])

    def exclude(self, rows: Sequence[int]) -> None:
        """Leave out a set that is known already."""
        x = self.model.item
        chosen = set(rows)
        self._solver.add_constraints([self.model.known.add(self._pyo.quicksum(
            1 - x[k] if k in chosen else x[k] for k in x) >= 1)])

    def propose(self, budget: float, target: float,
                near: NDArray[np.float64]) -> tuple[int, ...] | None:
        """Return a set (row numbers) that may beat `target` [s] by more than the tolerance.

        `near` (d,) are coordinates of a set with about that time. None where the bounds leave no
        such set within the budget but excluded ones: that is the proof.
        """
        from pyomo.contrib.appsi.base import TerminationCondition

        model = self.model
        model.budget.set_value(budget)
        model.target.set_value(target)
        at = self._basis @ (near - self._point)
        for d in self._breaks:
            self._focus(d, float(at[d]))
        self._solver.update_params()
        found = self._solver.solve(model)
        if found.termination_condition in {TerminationCondition.infeasible,
                                           TerminationCondition.infeasibleOrUnbounded}:
            return None
        values = self._solver.get_primals(list(model.item.values()))
        return tuple(k for k, var in model.item.items() if values[var] > 0.5)


def directions(bend: NDArray[np.float64], reach: NDArray[np.float64]) -> NDArray[np.float64]:
    """(k, d) directions along which the bend is diagonal, measured in what sets can reach."""
    active = np.flatnonzero((reach > 1e-12) & (np.diag(bend) > 0))
    sizes = reach[active]
    _, vectors = np.linalg.eigh(bend[np.ix_(active, active)] * np.outer(sizes, sizes))
    basis = np.zeros((len(active), len(bend)))
    basis[:, active] = vectors.T[::-1] / sizes
    return basis
