"""The choice as a mixed-integer program: is there a set whose minorant is below a ceiling.

It is written in Pyomo and solved by HiGHS, with the rules of `optimizer.kit.combinations` and
nothing else: it knows no multipliers, no partial sets and no pruning of `optimizer.kit.labels`. A
limit of nodes, not of time, ends it, so that its answer is the same on every machine.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.kit.labels import Offer
    from optimizer.kit.minorant import Minorant

__all__ = ["Program", "UndecidedError", "add_sets", "best_of", "solver_of", "weighted"]

_NODES = 5_000
_GAP = 0.01  # s
_ROUNDING = 1e-6


class UndecidedError(Exception):
    """The program reached its limit of nodes before it found a set or showed that there is none."""


def add_sets(model: Any, offer: Offer, budget: float) -> None:
    """Add to a Pyomo model what may be together within a budget.

    Parameters
    ----------
    model : of Pyomo
    offer : what may be chosen, and what may be together
    budget : money that may be spent

    Returns
    -------
    nothing; `model.item` are the items, `model.overlap` the overlaps that count
    """
    import pyomo.environ as pyo

    rules, n = offer.combinations, offer.combinations.count
    model.item = pyo.Var(range(n), domain=pyo.Binary)
    for k in np.flatnonzero(~offer.usable):
        model.item[int(k)].fix(0)
    model.overlap = pyo.Var(range(len(rules.overlaps)), bounds=(0, 1))
    model.together = pyo.ConstraintList()
    for row, limit in zip(rules.coefficients, rules.limit, strict=True):
        model.together.add(weighted(model, row[:n], row[n:]) <= float(limit))
    model.spend = pyo.Constraint(expr=weighted(model, offer.cost, []) <= budget)


def weighted(model: Any, item: Sequence[float] | NDArray[np.float64],
             overlap: Sequence[float] | NDArray[np.float64]) -> Any:
    """Sum Σ item x + Σ overlap u of a model, which has an item at least.

    Parameters
    ----------
    model : of Pyomo
    item : (n,) of each item
    overlap : (t,) of each overlap

    Returns
    -------
    expression of Pyomo
    """
    from pyomo.core.expr import LinearExpression

    terms = [(float(c), var) for part, of in ((item, model.item), (overlap, model.overlap))
             for c, var in zip(part, of.values(), strict=False) if c]
    terms = terms or [(0.0, model.item[0])]  # Pyomo takes no sum of nothing
    return LinearExpression(constant=0.0, linear_coefs=[c for c, _ in terms],
                            linear_vars=[var for _, var in terms])


def solver_of(model: Any, nodes: int) -> Any:
    """HiGHS on a model, up to a number of nodes.

    Parameters
    ----------
    model : of Pyomo
    nodes : most of the search tree

    Returns
    -------
    the solver
    """
    from pyomo.contrib.appsi.solvers import Highs

    solver = Highs()
    solver.config.load_solution = False
    solver.highs_options = {"mip_rel_gap": 0.0, "mip_abs_gap": _GAP, "mip_max_nodes": nodes,
                            "threads": 1, "random_seed": 1}
    for flag in vars(solver.update_config):
        if flag.startswith(("check_for", "update_")):
            setattr(solver.update_config, flag, False)
    solver.set_instance(model)
    return solver


def best_of(model: Any, solver: Any) -> tuple[int, ...] | None:
    """Solve for the best set.

    Parameters
    ----------
    model : of Pyomo
    solver : as `solver_of` gives it

    Returns
    -------
    rows of the best set found, None where there is none
    """
    from pyomo.contrib.appsi.base import TerminationCondition

    found = solver.solve(model)
    if found.termination_condition in {TerminationCondition.infeasible,
                                       TerminationCondition.infeasibleOrUnbounded}:
        return None
    if found.best_feasible_objective is None:
        raise UndecidedError
    values = solver.get_primals(list(model.item.values()))
    return tuple(k for k, var in model.item.items() if values[var] > 0.5)


class Program:
    """Sets of an offer within a budget, by their minorant.

    Of those only for which `along` is within a `span`, give or take its slack.
    """

    def __init__(self, offer: Offer, minorant: Minorant, budget: float, along: Minorant,
                 span: tuple[float, float], nodes: int = _NODES) -> None:
        import pyomo.environ as pyo

        self._model = model = pyo.ConcreteModel()
        add_sets(model, offer, budget)
        value = weighted(model, minorant.item, minorant.overlap)
        model.objective = pyo.Objective(expr=value)
        self._constant = minorant.constant
        model.ceiling = pyo.Param(mutable=True, initialize=0.0)
        model.below = pyo.Constraint(expr=value <= model.ceiling)
        coordinate = along.constant + weighted(model, along.item, along.overlap)
        model.within = pyo.Constraint(expr=pyo.inequality(
            span[0] - along.slack - _ROUNDING, coordinate, span[1] + along.slack + _ROUNDING))
        model.known = pyo.ConstraintList()
        self._solver = solver_of(model, nodes)

    def exclude(self, rows: Sequence[int]) -> None:
        """Leave out a set that is known already."""
        chosen = set(rows)
        apart = sum((1 - var) if k in chosen else var for k, var in self._model.item.items())
        self._solver.add_constraints([self._model.known.add(apart >= 1)])

    def propose(self, ceiling: float) -> tuple[int, ...] | None:
        """Return the best set that is not excluded, with a minorant up to `ceiling` [s].

        None where there is no such set: that is the proof. UndecidedError at the limit of nodes.
        """
        self._model.ceiling.set_value(ceiling - self._constant)
        self._solver.update_params()
        return best_of(self._model, self._solver)
