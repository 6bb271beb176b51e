"""Which position to ride in where: gains by the multipliers, spells by dynamic programming.

At a plan, the envelope theorem prices what another position would do on a step: newtons of drag
at the seconds a newton costs there, watts of critical power and of power limit at theirs. From
these gains the best succession of spells follows exactly (shortest and longest spells, a price
per change, places where a position is not to be used). The plan is then solved again with it, and
so on until it no longer gets faster; only solved plans are compared.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.course.smoothing import runs_of
from optimizer.errors import Infeasible
from optimizer.pacing.convex import drag_in_energy
from optimizer.pacing.planner import plan_ride, problem_on
from optimizer.pacing.sensitivity import critical_joule
from optimizer.physics.road_load import aerodynamic_force, road_force

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.day import RaceDay
    from optimizer.pacing.plan import Plan
    from optimizer.physics import Setup
    from optimizer.rider import Rider

__all__ = ["HANDS_OFF_BRAKES", "PositionPlan", "Spell", "best_spells", "braking_steps",
           "choose_positions", "position_gains"]

HANDS_OFF_BRAKES: Final = frozenset({"aero", "tuck"})
"""Positions without a hand at the brakes: not used where the plan brakes."""

_SHORTEST = 20.0  # s, of a spell in one position; less is nothing to write on a card
_BRISK = 8.0  # s, the shortest spell that riders bother with; common practice, no source
_TOUCH = 1.5  # m/s; who slows less only touches the brakes, which needs no other position
_CHANGE = 0.2  # s, price of one change; a judgement that keeps needless changes out
_ROUNDS = 6
_SETTLED = 0.01  # s, less than that is no gain
_AT_LIMIT = 0.995  # of the speed limit


@dataclass(frozen=True)
class Spell:
    """A stretch in one position, from `start` to `end` [m]."""

    start: float
    end: float
    position: str


@dataclass(frozen=True)
class PositionPlan:
    """A plan with the position of each step as part of it.

    Attributes
    ----------
    plan : solved with `position`
    position : (n,) rows of the rider's positions
    spells : the same in stretches
    seconds_won : against riding in the first position everywhere; negative where keeping the
        hands at the brakes, or sitting up for comfort, costs more than the choice wins
    rounds : plans that were solved
    price : s, what it costs that no spell is shorter than 20 s, against 8 s; first order
    """

    plan: Plan
    position: NDArray[np.int64]
    spells: tuple[Spell, ...]
    seconds_won: float
    rounds: int
    price: float = 0.0


def choose_positions(day: RaceDay, setup: Setup, *, warm: Plan | None = None) -> PositionPlan:
    """Plan the ride with a position for each step, whatever positions the day may hold.

    Positions named "aero" or "tuck" are not used where the plan brakes (before corners, at a
    cap on descents): there the hands belong at the brakes, for a short braking from just before it.

    Parameters
    ----------
    day, setup : course, weather and rider; the set of kit
    warm : plan of a neighbouring problem

    Returns
    -------
    the plan with its positions

    Raises
    ------
    Infeasible
        where there is no plan, or no succession of spells that every `Position.longest` allows
    """
    def solved(position: NDArray[np.int64] | None, near: Plan | None) -> Plan:
        return plan_ride(replace(day, position=position), setup, warm=near, bounded=False)

    rider = day.rider
    first = solved(None, warm)
    position = np.zeros(first.problem.steps, dtype=np.int64)
    if len(rider.positions) == 1:
        return PositionPlan(first, position, _spells(first, position, rider), 0.0, 1)
    road = problem_on(replace(day, pedalling=None), setup, first.problem.distance, None,
                      first.finish_time)
    brakes = _Brakes.of(first, rider, road.speed_limit)
    longest = np.array([p.longest for p in rider.positions])
    best: Plan | None = None
    seen, plan, rounds = set(), first, 1
    for _ in range(_ROUNDS):
        trial = brakes.held(best_spells(position_gains(plan, rider), plan.time,
                                        barred=brakes.barred, longest=longest))
        if trial.tobytes() in seen:
            break
        seen.add(trial.tobytes())
        try:
            plan = solved(trial, plan)
        except Infeasible:
            if best is None:
                raise
            break
        rounds += 1
        if best is not None and plan.finish_time > best.finish_time - _SETTLED:
            break
        best, position = plan, trial
    assert best is not None  # noqa: S101 - the first trial is always solved
    return PositionPlan(best, position, _spells(best, position, rider),
                        first.finish_time - best.finish_time, rounds,
                        _price_of_long_spells(best, position, rider, brakes, longest))


def _price_of_long_spells(plan: Plan, position: NDArray[np.int64], rider: Rider,
                          brakes: _Brakes, longest: NDArray[np.float64]) -> float:
    """Seconds that short spells would win at a plan, to first order."""
    gains = position_gains(plan, rider)
    brisk = brakes.held(best_spells(gains, plan.time, barred=brakes.barred, longest=longest,
                                    shortest=_BRISK))
    steps = np.arange(len(position))
    return max(float(np.sum(gains[steps, brisk] - gains[steps, position])), 0.0)


def position_gains(plan: Plan, rider: Rider) -> NDArray[np.float64]:
    """Seconds won by riding each step in each position instead of the plan's.

    First order in the change: what the multipliers of the plan make of it (envelope theorem).

    Parameters
    ----------
    plan : of n steps
    rider : with p positions

    Returns
    -------
    (n, p) s
    """
    p = plan.problem
    energy = 0.5 * plan.speed**2
    speed = np.sqrt(energy[:-1] + energy[1:])
    time = np.diff(plan.time)
    newton = plan.seconds_per_newton
    joule = critical_joule(plan)
    shares = np.array([[q.power_share, q.max_power_share] for q in rider.positions])
    gains = np.empty((p.steps, len(rider.positions)))
    now = aerodynamic_force(speed, p.headwind, p.crosswind, p.air_density, p.drag, p.position)[0]
    for k in range(len(rider.positions)):
        force = aerodynamic_force(speed, p.headwind, p.crosswind, p.air_density, p.drag,
                                  np.full(p.steps, k))[0]
        cp = p.critical_power * (shares[k, 0] / shares[p.position, 0] - 1.0)
        limit = p.power_limit * (shares[k, 1] / shares[p.position, 1] - 1.0)
        gains[:, k] = (newton * (now - force)
                       + time * (joule * cp + plan.seconds_per_limit_joule * limit))
    return gains


def braking_steps(plan: Plan, limit: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Find where a plan brakes: at a speed limit, while the road alone would make it faster.

    Parameters
    ----------
    plan : of n steps
    limit : (n + 1,) m/s of the road, without stretches that stay at the pedalling speed: who rolls
        at that may as well roll faster, and needs no brakes

    Returns
    -------
    (n,) whether each step is braked
    """
    p = plan.problem
    energy = 0.5 * plan.speed**2
    drag = drag_in_energy(p, 0.5 * (energy[:-1] + energy[1:]))[0]
    needed = (p.effective_mass * np.diff(energy) / p.step + drag + p.bearing[0]
              + road_force(p.grade, p.mass, p.rolling_resistance))
    return np.asarray((plan.speed[1:] >= _AT_LIMIT * limit[1:]) & (needed < 0.0))


@dataclass(frozen=True)
class _Brakes:
    """Where a plan brakes, and hands belong at the brakes.

    Long braking bars positions without a hand there: `barred` (n, p). For a short one, hands go to
    the brakes just before it: on the steps `brief` (n,), in position `hands_on`. A spell of 20 s
    around each touch of the brakes would have the rider sit up, and pedal, at speed.
    """

    barred: NDArray[np.bool_]
    brief: NDArray[np.bool_]
    hands_off: NDArray[np.bool_]
    hands_on: int

    @classmethod
    def of(cls, plan: Plan, rider: Rider, limit: NDArray[np.float64]) -> _Brakes:
        """Find them on a plan; `limit` (n + 1,) as `braking_steps` takes it."""
        hands_off = np.array([q.name.lower() in HANDS_OFF_BRAKES for q in rider.positions])
        braked = braking_steps(plan, limit) & (not hands_off.all())
        long, brief = np.zeros((2, len(braked)), dtype=bool)
        last = 0  # end of the short braking before, near which hands stay where they are
        for begin, end in runs_of(braked):
            if plan.time[end] - plan.time[begin] >= _BRISK:
                long[begin:end] = True
            elif plan.speed[begin] - plan.speed[end] >= _TOUCH:
                first = int(np.searchsorted(plan.time, plan.time[end] - _BRISK))
                near = last > 0 and plan.time[first] - plan.time[last] < _BRISK
                brief[last if near else first:end] = True
                last = end
        return cls(long[:, None] & hands_off, brief, hands_off, int(np.argmin(hands_off)))

    def held(self, position: NDArray[np.int64]) -> NDArray[np.int64]:
        """Put hands to the brakes for short braking in a succession of positions (n,)."""
        return np.where(self.brief & self.hands_off[position], self.hands_on, position)


def best_spells(gains: NDArray[np.float64], time: NDArray[np.float64], *,
                barred: NDArray[np.bool_] | None = None,
                longest: NDArray[np.float64] | None = None, shortest: float = _SHORTEST,
                change: float = _CHANGE) -> NDArray[np.int64]:
    """Positions with the greatest sum of gains, in spells.

    Exact, by dynamic programming over the ends of spells.

    Parameters
    ----------
    gains : (n, p) s
    time : (n + 1,) s at the nodes
    barred : (n, p) where a position is not to be used
    longest : (p,) s, longest spell in each
    shortest : s, shortest spell; the first and the last may be shorter
    change : s, price of a change

    Returns
    -------
    (n,) row of the position on each step

    Raises
    ------
    Infeasible
        where no succession of spells meets the limits
    """
    n, count = gains.shape
    limits = np.full(count, np.inf) if longest is None else longest
    total = np.concatenate([np.zeros((1, count)), np.cumsum(gains, axis=0)])
    clear = np.zeros((n + 1, count), dtype=np.int64)  # first node from which a spell may last here
    if barred is not None:
        after = np.where(barred, np.arange(1, n + 1)[:, None], 0)
        clear[1:] = np.maximum.accumulate(after, axis=0)
    low = np.maximum(np.column_stack([np.searchsorted(time, time - limit - 1e-9)
                                      for limit in limits]), clear).tolist()
    high = np.minimum(np.searchsorted(time, time - shortest, side="right"),
                      np.arange(n + 1)).tolist()
    high[n] = n  # the last spell may be short
    worth, total = [-math.inf] * (count + 1), total.tolist()  # and of no other position, the last
    begin, before = ([[0] * count for _ in range(n + 1)] for _ in range(2))
    others = [[i for i in range(count) if i != j] for j in range(count)]
    starts = [_Starts() for _ in range(count)]
    for k in range(1, n + 1):
        for j, start in enumerate(starts):
            first = low[k][j]
            at = start.best(first, high[k] if first else max(high[k], 1))  # the first may be short
            begin[k][j] = at
            worth[j] = start.value[at] + total[k][j] if at >= 0 else -math.inf
        for j, start in enumerate(starts):  # the spell that ends here
            before[k][j] = max(others[j], key=worth.__getitem__, default=count)
            start.value.append(worth[before[k][j]] - change - total[k][j])
    if not math.isfinite(max(worth)):
        raise Infeasible("no position may be used long enough to finish",
                         "give one position no longest spell, or allow longer ones")
    out = np.empty(n, dtype=np.int64)
    k, j = n, worth.index(max(worth))
    while k > 0:
        out[begin[k][j]:k] = j
        k, j = begin[k][j], before[begin[k][j]][j]
    return out


class _Starts:
    """Nodes at which a spell in one position may start: the best of a window that moves on.

    Plain numbers: with so few positions an array for each node takes five times as long.
    """

    def __init__(self) -> None:
        self.value = [0.0]  # s, with which a spell may start at each node so far
        self._known = 0
        self._waiting: deque[int] = deque()  # later nodes with less value, the best one first

    def best(self, first: int, last: int) -> int:
        """Best node from `first` on, before `last`; -1 where there is none. Both only move on."""
        for at in range(self._known, last):
            while self._waiting and self.value[self._waiting[-1]] < self.value[at]:
                self._waiting.pop()
            self._waiting.append(at)
        self._known = max(self._known, last)
        while self._waiting and self._waiting[0] < first:
            self._waiting.popleft()
        return self._waiting[0] if self._waiting else -1


def _spells(plan: Plan, position: NDArray[np.int64], rider: Rider) -> tuple[Spell, ...]:
    edges = np.concatenate([[0], np.flatnonzero(np.diff(position)) + 1, [len(position)]])
    return tuple(Spell(float(plan.distance[a]), float(plan.distance[b]),
                       rider.positions[position[a]].name)
                 for a, b in pairwise(edges))
