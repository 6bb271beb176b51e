"""How the time of every set answers to every draw, to first order.

One plan is ridden in all draws, and the derivative of each finish time by every force comes from
one backward pass (the adjoint of the forward simulation). That makes the time of any set in any
draw a sum over its items. The sums are scaled so that without uncertainty they have the slope of
the re-optimised time, and corrected by what a set's own plan says about it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.conditions.draws import spread_wind
from optimizer.kit.marginal import by_amount, marginal_values
from optimizer.kit.program import UndecidedError, add_sets, best_of, solver_of, weighted
from optimizer.physics.road_load import rides_drag_by
from optimizer.uncertainty import ability, ride_days

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.day import RaceDay
    from optimizer.evidence import Effect
    from optimizer.kit.labels import Offer
    from optimizer.kit.set_model import SetModel
    from optimizer.pacing import Plan, SimulatedRide
    from optimizer.physics import Setup
    from optimizer.uncertainty import Draws

__all__ = ["Response", "propose", "response"]

_NODES = 2_000  # of the integer program over the draws
_TOGETHER = 64  # steps that are gone through at once


@dataclass(frozen=True)
class Response:
    """Time in k draws as a sum over items: base + Σ item + Σ overlap [s].

    `base` (k,), `item` (k, n), `overlap` (k, t); `still` the same three without any uncertainty,
    with k = 1; `uncertainty` (n,) standard error of what each item does by itself [s].
    """

    base: NDArray[np.float64]
    item: NDArray[np.float64]
    overlap: NDArray[np.float64]
    uncertainty: NDArray[np.float64]
    still: Response | None = None

    def times(self, chosen: NDArray[np.bool_], overlaps: NDArray[np.float64],
              planned: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
        """(s, k) times of sets (s, n) with their overlaps (s, t).

        `planned` (s,) are times of their own plans without uncertainty, to correct the sums by.
        """
        out = self.base + chosen @ self.item.T + overlaps @ self.overlap.T
        if planned is None or self.still is None:
            return np.asarray(out)
        return np.asarray(out + planned[:, None] - self.still.times(chosen, overlaps))


def response(plan: Plan, day: RaceDay, setup: Setup, rows: Sequence[int], draws: Draws,
             effects: Sequence[Effect], model: SetModel,
             ride: SimulatedRide | None = None) -> Response:
    """Response of all sets, from the plan of one of them.

    Parameters
    ----------
    plan : plan of the ride
    day : course, weather and rider of the race day
    setup : that of the plan
    rows : its items
    draws : drawn days, k
    effects : what each item does
    model : linear model of all sets
    ride : the plan on the drawn days, where that is known

    Returns
    -------
    times of all sets in all draws, to first order
    """
    if ride is None:
        ride = ride_days(plan, day, draws, effects, [model.terms.names[row] for row in rows])
    head, cross = spread_wind(plan.problem.headwind, plan.problem.crosswind, draws.wind,
                              plan.problem.departures)
    drawn = _slopes(plan, ride, setup, head.T, cross.T, ability(plan, day, draws))
    p = plan.problem
    own = _slopes(plan, _still(plan), setup, p.headwind[:, None], p.crosswind[:, None],
                  np.ones(1))
    best = marginal_values(plan, setup).sum(axis=0)
    drawn = drawn * best / np.where(np.abs(own) > 1e-12, own, 1.0)
    terms, rules = model.terms, model.terms.combinations
    amounts = np.column_stack([terms.drag, terms.rolling, terms.mass, terms.efficiency,
                               model.effective[1:] - model.mass[1:]])
    losses = np.zeros((len(rules.overlaps), amounts.shape[1]))
    for t, over in enumerate(rules.overlaps):
        losses[t, :len(terms.yaw)] = over.loss
    m = len(terms.yaw)
    uncertainty = np.column_stack([terms.drag_sd, terms.rolling_sd, terms.mass_sd,
                                   terms.efficiency_sd])
    plain = np.column_stack([drawn[:, :m].sum(axis=1), drawn[:, m:m + 3]])
    noise = np.array([draws.items.get(name, np.zeros(draws.count)) for name in terms.names]).T
    item = drawn @ amounts.T + noise * (plain @ uncertainty.T)
    overlap = drawn @ losses.T
    errors = np.abs(np.array([best[:m].sum(), *best[m:m + 3]]) @ uncertainty.T)
    item_still, overlap_still = (best @ amounts.T)[None], (best @ losses.T)[None]
    chosen = rules.flags([rows])
    overlaps = rules.overlapping(chosen)
    base = ride.time[-1] - (item @ chosen[0] + overlap @ overlaps[0])
    base_still = plan.finish_time - (item_still @ chosen[0] + overlap_still @ overlaps[0])
    return Response(base, item, overlap, errors,
                    Response(base_still, item_still, overlap_still, errors))


def _still(plan: Plan) -> SimulatedRide:
    from optimizer.pacing import SimulatedRide

    return SimulatedRide(plan.speed[:, None], plan.time[:, None], plan.reserve[:, None],
                         np.zeros(1, dtype=bool), plan.power[:, None])


def _slopes(plan: Plan, ride: SimulatedRide, setup: Setup, headwind: NDArray[np.float64],
            crosswind: NDArray[np.float64], able: NDArray[np.float64]) -> NDArray[np.float64]:
    """(k, m + 4) derivative of each finish time at the powers ridden.

    By CdA at each yaw angle of the set, Crr, mass, drivetrain efficiency, and effective mass.
    """
    p, rides = plan.problem, ride.speed.shape[1]
    found = np.zeros((len(setup.yaw) + 4, rides))
    after = np.zeros(rides)
    highest = np.minimum(p.speed_limit[1:], 1e3) * (1 - 1e-9)
    # Backwards, some steps at a time: arrays over all steps and rides would fill the memory.
    for end in range(p.steps, 0, -_TOGETHER):
        some = slice(max(end - _TOGETHER, 0), end)
        v0, v1 = ride.speed[some], ride.speed[some.start + 1:end + 1]
        square = v0**2 + v1**2
        rise = 0.5 * (v1**2 - v0**2) / p.step[some, None]
        speed, total = np.sqrt(0.5 * square), v0 + v1
        inertia = (p.effective_mass / p.step[some])[:, None]
        watts = plan.power[some, None] * able
        slope, by_yaw = rides_drag_by(speed, headwind[some], crosswind[some],
                                      p.air_density[some, None], p.drag, p.position[some],
                                      setup.yaw)
        half = 0.5 * (slope + p.bearing[1]) / speed
        propulsion = 2 * p.drivetrain_efficiency * watts / total**2
        start = np.maximum(v0, 1e-9)
        by_start = -inertia + propulsion / start + half
        time = -2.0 * p.step[some, None] / total**2
        held = v1 >= highest[some, None]
        # Backwards: seconds per newton of each step, from what its end does to all after it.
        each = np.where(held, 0.0, -1.0 / (inertia + propulsion / v1 + half))
        by_end, here = time / v1, time / start
        price = np.empty_like(square)
        for k in range(len(price) - 1, -1, -1):
            np.multiply(np.add(after, by_end[k], out=after), each[k], out=price[k])
            np.add(np.multiply(price[k], by_start[k], out=after), here[k], out=after)
        for row, newtons in enumerate(by_amount(plan, setup, some, by_yaw, rise,
                                                watts / total * 2)):
            found[row] += np.einsum("nk,nk->k", price, np.broadcast_to(newtons, price.shape))
    return found.T


def propose(offer: Offer, answer: Response, budget: float, level: float) -> tuple[int, ...]:
    """Find the set that has the least mean of the worst draws.

    Rockafellar and Uryasev 2000, J. Risk 2:21: linear in a program over the draws.

    Parameters
    ----------
    offer : what may be chosen, and what may be together
    answer : times of all sets in all draws
    budget : money that may be spent
    level : where the worst draws begin; 0 for the mean of all

    Returns
    -------
    rows of the set; of the best found where there are too many nodes to go through
    """
    import pyomo.environ as pyo

    program: Any = pyo.ConcreteModel()
    add_sets(program, offer, budget)
    item, overlap, base = answer.item, answer.overlap, answer.base
    if level <= 0.0:
        item, overlap, base = (part.mean(axis=0, keepdims=True) for part in (
            item, overlap, base[:, None]))
        base = base[0]
    k = len(base)
    middle = float(base.mean())
    program.over = pyo.Var(range(k), bounds=(0, None))
    program.edge = pyo.Var()
    program.rows = pyo.ConstraintList()
    for w in range(k):
        program.rows.add(program.over[w] >= float(base[w] - middle) + weighted(
            program, item[w], overlap[w]) - program.edge)
    program.objective = pyo.Objective(
        expr=program.edge + pyo.quicksum(program.over.values()) / ((1.0 - max(level, 0.0)) * k))
    try:
        return best_of(program, solver_of(program, _NODES)) or ()
    except UndecidedError:
        return ()
