"""Sets of kit side by side on one course: splits with bands, where seconds are won, and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.kit.choice import KitSet
from optimizer.kit.marginal import marginal_values
from optimizer.kit.terms import tabulate
from optimizer.uncertainty import chance_faster, draw_days, ride_days

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.day import RaceDay
    from optimizer.evidence import Effect
    from optimizer.kit.catalogue import Catalogue
    from optimizer.kit.evaluator import PacingEvaluator
    from optimizer.pacing import Plan
    from optimizer.physics import Setup

__all__ = ["CAUSES", "Comparison", "Difference", "SetRun", "compare_sets", "explain"]

CAUSES = ("drag", "rolling", "mass", "drivetrain", "corners")
_SIMPSON = (1 / 6, 4 / 6, 1 / 6)


@dataclass(frozen=True)
class SetRun:
    """One set on the course: its plan, and the arrival at each place with 5 and 95 % points [s]."""

    name: str
    kit: KitSet
    plan: Plan
    arrival: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    finish: NDArray[np.float64]


@dataclass(frozen=True)
class Difference:
    """What the `first` set wins on the `second`.

    Attributes
    ----------
    seconds : with plans of their own; `low`, `high` 5 and 95 % points on common days
    chance : that the first is faster
    at : (p,) won up to each place [s]
    why : (p, causes) seconds won by the end of each stretch's forces, by `CAUSES`: what a force
        less is worth where it acts, which may show on the clock further on
    rest : s, what the forces leave: a ride of another duration is allowed another mean power and
        meets the wind of other minutes
    """

    first: str
    second: str
    seconds: float
    low: float
    high: float
    chance: float
    at: NDArray[np.float64]
    why: NDArray[np.float64]
    rest: float


@dataclass(frozen=True)
class Comparison:
    """Sets side by side at `places` (name, metres), the last the finish; all against the first."""

    places: tuple[tuple[str, float], ...]
    runs: tuple[SetRun, ...]
    differences: tuple[Difference, ...]


def compare_sets(day: RaceDay, baseline: Setup, catalogue: Catalogue, effects: Sequence[Effect],
                 sets: Sequence[tuple[str, Sequence[str]]], evaluator: PacingEvaluator, *,
                 count: int = 400, seed: int = 1) -> Comparison:
    """Compare named sets of items; all others with the first.

    Parameters
    ----------
    day : course, weather and rider
    baseline : bike as it stands
    catalogue, effects : items, and what each does
    sets : name and items of each
    evaluator : of the time of a set
    count, seed : of the drawn days, the same for all sets

    Returns
    -------
    time [s], range and chance of being faster for each set, and what makes the difference

    Raises
    ------
    Infeasible
        where no plan meets the limits
    """
    terms = tabulate(baseline, catalogue, effects)
    draws = draw_days(day, baseline, effects, count, seed)
    places = [*((mark.name, mark.distance) for mark in day.course.split_marks),
              ("Finish", day.course.length)]
    at = np.array([distance for _, distance in places])
    runs = []
    for name, items in sets:
        setup = terms.setup(baseline, terms.rows(items))
        plan = evaluator.own_plan(setup)
        time = ride_days(plan, day, draws, effects, items).time
        low, high = (np.interp(at, plan.distance, points)
                     for points in np.percentile(time, [5.0, 95.0], axis=1))
        kit = KitSet(tuple(items), sum(catalogue[item].cost for item in items), setup,
                     plan.finish_time, plan.lower_bound)
        runs.append(SetRun(name, kit, plan, np.interp(at, plan.distance, plan.time), low, high,
                           time[-1]))
    return Comparison(tuple(places), tuple(runs),
                      tuple(_difference(run, runs[0], at, evaluator) for run in runs[1:]))


def _difference(run: SetRun, other: SetRun, at: NDArray[np.float64],
                evaluator: PacingEvaluator) -> Difference:
    low, high = np.percentile(other.finish - run.finish, [5.0, 95.0])
    steps = explain(run.kit.setup, other.kit.setup, run.plan, other.plan, evaluator)
    ends = np.searchsorted(run.plan.distance, at - 1e-6)
    total = np.concatenate([np.zeros((1, len(CAUSES))), np.cumsum(steps, axis=0)])
    why = np.diff(np.concatenate([total[:1], total[ends]]), axis=0)
    seconds = other.plan.finish_time - run.plan.finish_time
    return Difference(run.name, other.name, seconds, float(low), float(high),
                      chance_faster(run.finish, other.finish), other.arrival - run.arrival,
                      why, seconds - float(why.sum()))


def explain(first: Setup, second: Setup, fast: Plan, slow: Plan,
            evaluator: PacingEvaluator) -> NDArray[np.float64]:
    """Say step by step and cause by cause what one set wins on another.

    The derivative of the optimal time by each force, integrated on the straight way from one
    set to the other (Aumann and Shapley 1974) by Simpson's rule: the causes add up to the
    difference but for the error of that rule.

    Parameters
    ----------
    first, second : sets of kit, with one table of yaw angles
    fast, slow : their own plans
    evaluator : of the day

    Returns
    -------
    (n, causes) s that the first wins on the second, by step and by `CAUSES`
    """
    middle = _between(first, second)
    plans = ((slow, second), (evaluator.own_plan(middle), middle), (fast, first))
    return np.asarray(sum(weight * _won(plan, setup, first, second)
                          for weight, (plan, setup) in zip(_SIMPSON, plans, strict=True)))


def _between(first: Setup, second: Setup) -> Setup:
    """Middle of two sets in every respect; both have the same yaw table."""
    from dataclasses import replace

    def mean(name: str) -> float:
        return float(0.5 * (getattr(first, name) + getattr(second, name)))

    return replace(
        first, name="between", mass=mean("mass"), rolling_resistance=mean("rolling_resistance"),
        drivetrain_efficiency=mean("drivetrain_efficiency"), wheel_inertia=mean("wheel_inertia"),
        cornering_factor=mean("cornering_factor"),
        drag_area_change=0.5 * (first.drag_area_change + second.drag_area_change))


def _won(plan: Plan, setup: Setup, first: Setup, second: Setup) -> NDArray[np.float64]:
    """(n, causes) seconds that the first set wins on the second, by the slopes of one plan."""
    values, m = marginal_values(plan, setup), len(setup.yaw)
    inertia = second.spinning_mass - first.spinning_mass
    limit = np.minimum(plan.problem.speed_limit, 1e3)
    if plan.pedalling is not None:  # a speed up to which the rider pedals is no corner's
        limit[1:][plan.pedalling.held & (limit[1:] >= plan.problem.pedalling_speed)] = 0.0
    faster = limit * (first.cornering_factor - second.cornering_factor) / setup.cornering_factor
    return np.column_stack([
        values[:, :m] @ (second.drag_area_change - first.drag_area_change),
        values[:, m] * (second.rolling_resistance - first.rolling_resistance),
        values[:, m + 1] * (second.mass - first.mass) + values[:, m + 3] * inertia,
        values[:, m + 2] * (second.drivetrain_efficiency - first.drivetrain_efficiency),
        (plan.seconds_per_speed * faster)[1:]])
