"""Forward simulation of a ride from its powers: one ride at once, or many side by side.

Both march the same discretised model as the solver: on each step the kinetic energy is linear in
distance, drag acts at the mean energy, power is constant, brakes hold the speed limit. The rider
is taken at the word: nobody pedals against the brakes, or above the speed up to which they pedal.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from optimizer.errors import Infeasible
from optimizer.lapack import dtbtrs
from optimizer.pacing.problem import CRAWL, FASTEST
from optimizer.physics.road_load import drag_and_slope, rides_drag, road_force

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from numpy.typing import NDArray

    from optimizer.pacing.problem import PacingProblem

__all__ = ["SETTINGS", "SimulatedRide", "Variation", "reserve_along", "simulate",
           "simulate_each", "simulate_many"]

_ON_LIMIT = 1e-12  # of the energy, closer than which a step ends on a limit
_SETTLED = 1e-4  # of the energy, root mean square of a last Newton step: it leaves about 1e-7 m/s
_SHRUNK = 0.09  # of the energy, less than which a Newton step may not leave
_TOGETHER = 64  # steps whose forces that do not depend on speed are computed at once
_NEARLY = 0.7  # of the energy of the pedalling speed, from which a step may end there
_AT_REST = 1e-6  # of the energy; the same where a limit may still take hold or let go

SETTINGS: Final = {"crawl": CRAWL, "on_limit": _ON_LIMIT, "shrunk": _SHRUNK}
"""What a program that is written elsewhere has to know to do the same."""


@dataclass(frozen=True)
class SimulatedRide:
    """What comes of riding given powers.

    `speed`, `time`, `reserve`: (n + 1,) or (n + 1, b) at the nodes, m/s, s, J. The reserve may
    fall below its floor: the plan asked for more than the rider has. `stalled` (or (b,)):
    somewhere the speed fell to a crawl. `power` (n,) or (n, b) is what was really put in [W]:
    less than was asked for where the brakes are on or the speed is too high to pedal.
    """

    speed: NDArray[np.float64]
    time: NDArray[np.float64]
    reserve: NDArray[np.float64]
    stalled: NDArray[np.bool_]
    power: NDArray[np.float64]

    @property
    def finish_time(self) -> NDArray[np.float64]:
        """Seconds, scalar or (b,)."""
        return np.asarray(self.time[-1])


@dataclass(frozen=True)
class Variation:
    """How b scenarios differ from the problem; each entry broadcasts to (n, b) or (b,).

    `headwind`, `crosswind`: (n, b) m/s, or None for the problem's own; `drag_factor`,
    `rolling_factor`, `critical_power_factor`, `w_prime_factor`, `power_factor`,
    `density_factor`: (b,) or scalar; `drag_area_change` (b,) m²; `mass_change` (b,) kg;
    `grade_change` (n, b) on top of the problem's own grade, or None.
    """

    headwind: NDArray[np.float64] | None = None
    crosswind: NDArray[np.float64] | None = None
    drag_factor: NDArray[np.float64] | float = 1.0
    drag_area_change: NDArray[np.float64] | float = 0.0
    rolling_factor: NDArray[np.float64] | float = 1.0
    mass_change: NDArray[np.float64] | float = 0.0
    density_factor: NDArray[np.float64] | float = 1.0
    power_factor: NDArray[np.float64] | float = 1.0
    critical_power_factor: NDArray[np.float64] | float = 1.0
    w_prime_factor: NDArray[np.float64] | float = 1.0
    grade_change: NDArray[np.float64] | None = None


def reserve_along(problem: PacingProblem, power: NDArray[np.float64], pace: NDArray[np.float64],
                  critical_power: NDArray[np.float64] | None = None,
                  w_prime: NDArray[np.float64] | float | None = None) -> NDArray[np.float64]:
    """Reserve at the nodes for given powers and paces.

    Above CP it falls by P - CP, below it refills by the problem's recovery law, up to W'.

    Parameters
    ----------
    problem : n steps, with the law
    power : (n,) or (n, b) W
    pace : (n,) or (n, b) s/m
    critical_power : (n, b) W; the problem's own by default
    w_prime : (b,) J; the problem's own by default

    Returns
    -------
    (n + 1,) or (n + 1, b) J

    References
    ----------
    As `rider.recovery` states beside each law.
    """
    p = problem
    column = (slice(None),) + (None,) * (power.ndim - 1)
    cp = p.critical_power[column] if critical_power is None else critical_power
    net = cp - power
    net *= pace
    net *= p.step[column]  # J, positive where it refills
    return p.recovery_law.march(net, p.recovery[column], p.w_prime if w_prime is None else w_prime)


def simulate(problem: PacingProblem, power: NDArray[np.float64],
             guess: NDArray[np.float64] | None = None) -> SimulatedRide:
    """One ride with given powers.

    All steps are solved together by Newton's method on the bidiagonal system; if that does not
    settle, step by step. Where pushing would take the speed over `pedalling_speed`, a step ends
    at that speed, or where the rider coasts to if that is faster.

    Parameters
    ----------
    problem : n steps, rider and kit
    power : (n,) W at the cranks
    guess : (n + 1,) kinetic energies per kilogram near the answer [J/kg], which make it quick

    Returns
    -------
    speed [m/s], time [s] and reserve [J] at the nodes (n + 1,), and the power that was put in [W]
    """
    p = problem
    top = 0.5 * np.minimum(p.speed_limit, FASTEST)**2
    fast = 0.5 * p.pedalling_speed**2
    resistance = road_force(p.grade, p.mass, p.rolling_resistance) + p.bearing[0]
    inertia = p.effective_mass / p.step
    drive = p.drivetrain_efficiency * power
    lowest = 0.5 * CRAWL**2
    energy = np.full(p.steps + 1, 40.0) if guess is None else np.array(guess)
    energy[0] = min(0.5 * p.start_speed**2, float(top[0]))
    energy[1:] = np.clip(energy[1:], lowest, top[1:])
    band = np.ones((2, p.steps))
    for _ in range(40):
        end = energy[1:]
        value, by_start, by_end = _excess(p, energy, drive, inertia, resistance)
        # On the limit and pushed against it: the brakes hold, and the start does not matter.
        held = np.flatnonzero((end >= top[1:]) & (value < 0))
        value[held], by_end[held], by_start[held] = 0.0, 1.0, 0.0
        band[0], band[1, :-1] = by_end, by_start[1:]
        change = dtbtrs(band, np.negative(value, out=value), uplo="L")[0]
        after = np.minimum(np.maximum(end + change, np.maximum(lowest, 0.2 * end)), top[1:])
        moved = float(np.max(np.abs(after - end) / after))
        energy[1:] = after
        if moved < _AT_REST:
            break
    else:
        many = simulate_many(p, power[:, None], Variation())
        return SimulatedRide(many.speed[:, 0], many.time[:, 0], many.reserve[:, 0], many.stalled[0],
                             many.power[:, 0])
    speed = np.sqrt(2 * energy)
    pace = 2.0 / (speed[:-1] + speed[1:])
    time = np.concatenate([[0.0], np.cumsum(p.step * pace)])
    stalled = np.asarray(bool(np.any(energy[1:] <= lowest)))
    used = np.array(power, dtype=float)
    k = np.flatnonzero(energy[1:] >= np.minimum(top[1:], fast) * (1 - _ON_LIMIT))
    used[k] = np.clip(_driving_power(p, energy, k), 0.0, used[k])
    return SimulatedRide(speed, time, reserve_along(p, used, pace), stalled, used)


def _excess(p: PacingProblem, energy: NDArray[np.float64], drive: NDArray[np.float64],
            inertia: NDArray[np.float64], resistance: NDArray[np.float64],
            ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """(n,) newtons that the steps' ends are too fast by, and that by the energies of both ends."""
    start, end = energy[:-1], energy[1:]
    speed = np.sqrt(2 * energy)
    v0, v1 = speed[:-1], speed[1:]
    total, mean = v0 + v1, np.sqrt(start + end)
    force, slope = drag_and_slope(mean, p.headwind, p.crosswind, p.air_density, p.drag, p.position)
    half = 0.5 * (slope + p.bearing[1]) / mean
    propulsion = 2 * drive / total
    value = inertia * (end - start)
    value -= propulsion
    value += force
    value += p.bearing[1] * mean
    value += resistance
    push = propulsion / total
    by_start, by_end = half - inertia, half + inertia
    by_start += push / np.maximum(v0, 1e-9)
    by_end += push / v1
    fast = 0.5 * p.pedalling_speed**2
    k = np.flatnonzero(end >= _NEARLY * fast)
    if len(k):
        level, coasting = inertia[k] * (end[k] - fast), value[k] + propulsion[k]
        coasts, stays = _too_fast(value[k], propulsion[k], level)
        value[k] = np.where(coasts, coasting, np.where(stays, level, value[k]))
        by_start[k] = np.where(coasts, half[k] - inertia[k], np.where(stays, 0.0, by_start[k]))
        by_end[k] = np.where(coasts, half[k] + inertia[k], np.where(stays, inertia[k], by_end[k]))
    return value, by_start, by_end


def simulate_many(problem: PacingProblem, power: NDArray[np.float64],
                  variation: Variation) -> SimulatedRide:
    """Many rides side by side; the loop runs over steps, every operation over all scenarios.

    Parameters
    ----------
    problem : n steps, rider and kit
    power : (n, 1) W for the same powers in all scenarios, or (n, b)
    variation : what differs between the b scenarios

    Returns
    -------
    as `simulate`, (n + 1, b) and (n, b)
    """
    return simulate_each(problem, [(power, variation)])[0]


def simulate_each(problem: PacingProblem,
                  cases: Sequence[tuple[NDArray[np.float64], Variation]]) -> list[SimulatedRide]:
    """Ride several cases of `simulate_many` in one march: two of 400 rides save a third.

    Parameters
    ----------
    problem : n steps, rider and kit
    cases : powers and variation of each, as `simulate_many` takes them

    Returns
    -------
    what `simulate_many` gives for each
    """
    groups = [_Rides.of(problem, power, variation) for power, variation in cases]
    speed, stalled = _speeds(problem, groups)
    edges = np.cumsum([group.many for group in groups])[:-1]
    return [_ridden(problem, *one) for one in zip(
        groups, np.split(speed, edges, axis=1), np.split(stalled, edges), strict=True)]


class _Rides(NamedTuple):
    """Some rides of a march: what varies, watts (n, b), head wind and cross wind (n, b)."""

    var: Variation
    watts: NDArray[np.float64]
    wind: tuple[NDArray[np.float64], NDArray[np.float64]]

    @classmethod
    def of(cls, p: PacingProblem, power: NDArray[np.float64], var: Variation) -> _Rides:
        """Spread powers and winds over all rides."""
        shapes = [np.shape(power)[1:]] + [
            np.shape(x)[-1:] for x in vars(var).values() if x is not None and np.ndim(x) > 0]
        shape = (p.steps, *np.broadcast_shapes(*shapes))
        head, cross = (np.broadcast_to(own[:, None] if values is None else values, shape)
                       for values, own in ((var.headwind, p.headwind),
                                           (var.crosswind, p.crosswind)))
        return cls(var, np.broadcast_to(np.asarray(power) * np.asarray(var.power_factor), shape),
                   (head, cross))

    @property
    def many(self) -> int:
        """Number of rides, b."""
        return int(self.watts.shape[1])


def _ridden(p: PacingProblem, rides: _Rides, speed: NDArray[np.float64],
            stalled: NDArray[np.bool_]) -> SimulatedRide:
    """Add times, reserves and powers to speeds (n + 1, b)."""
    var, b = rides.var, rides.many
    used = _put_in(p, var, rides.watts, speed, rides.wind)
    pace = np.add(speed[:-1], speed[1:])
    np.divide(2.0, pace, out=pace)
    time = np.zeros((p.steps + 1, b))
    for k in range(p.steps):  # row by row: a running sum down columns takes ten times as long
        np.add(time[k], p.step[k] * pace[k], out=time[k + 1])
    reserve = reserve_along(p, used, pace,
                            p.critical_power[:, None] * var.critical_power_factor,
                            np.broadcast_to(p.w_prime * np.asarray(var.w_prime_factor), (b,)))
    return SimulatedRide(speed, time, reserve, stalled, used)


def _beside(parts: Iterable[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Arrays of several groups of rides as one, side by side."""
    several = list(parts)
    return several[0] if len(several) == 1 else np.concatenate(several, axis=-1)


def _speeds(  # noqa: C901, PLR0915 - one loop, in which nothing is allocated
            p: PacingProblem, groups: Sequence[_Rides],
            ) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Speeds (n + 1, b) of all rides of some groups, and which of them stall (b,).

    Each step's end by Newton's method from where the step before foretells it, which mostly leaves
    one evaluation. All is written to arrays that are there: with some hundred rides side by side,
    allocating takes as long as reckoning.
    """
    def every(value: Callable[[_Rides], NDArray[np.float64] | float]) -> NDArray[np.float64]:
        return _beside(np.broadcast_to(value(g), (g.many,)) for g in groups)

    mass_change, rolling_factor, density_factor = (
        every(lambda g: g.var.mass_change), every(lambda g: g.var.rolling_factor),
        every(lambda g: g.var.density_factor))
    factor, change_of_area = every(lambda g: g.var.drag_factor), every(
        lambda g: g.var.drag_area_change)
    effective, b = p.effective_mass + mass_change, len(mass_change)
    top = 0.5 * np.minimum(p.speed_limit, FASTEST)**2
    fast, lowest = 0.5 * p.pedalling_speed**2, 0.5 * CRAWL**2
    speed = np.empty((p.steps + 1, b))
    e0 = np.full(b, min(0.5 * p.start_speed**2, float(top[0])))
    speed[0] = np.sqrt(2 * e0)
    stalled = np.zeros(b, dtype=bool)
    e1, v1, total, mean, propulsion, half, bend, by_end, value, change = np.zeros((10, b))
    force = slope = along = mean
    for first in range(0, p.steps, _TOGETHER):
        some = slice(first, min(first + _TOGETHER, p.steps))
        drive = 2 * p.drivetrain_efficiency * _beside(g.watts[some] for g in groups)
        head, cross = (np.ascontiguousarray(_beside(g.wind[part][some] for g in groups))
                       for part in (0, 1))
        unit, roll = (_beside(np.broadcast_to(part, (len(drive), g.many)) for g, part in zip(
            groups, parts, strict=True)) for parts in zip(*(
                _per_kilogram(p, g.var, some) for g in groups), strict=True))
        rest = (p.mass + mass_change) * (unit + roll * rolling_factor) + p.bearing[0]
        inertia = effective / p.step[some, None]
        drag = rides_drag(head, cross, p.air_density[some, None] * density_factor, p.drag,
                          p.position[some], factor=factor, change=change_of_area)
        for j, k in enumerate(range(first, some.stop)):
            v0 = speed[k]
            if k:
                # Drag of the last step, moved by its slope to this step's start and wind, and what
                # the end's energy did to the forces there foretell this end.
                np.add(v0, head[j], out=value)
                value -= along
                value *= slope
                value += force
                value += rest[j]
                np.maximum(np.add(v0, v0, out=propulsion), 1.0, out=propulsion)
                value -= np.divide(drive[j], propulsion, out=propulsion)
                value /= np.add(bend, inertia[j], out=by_end)
                np.subtract(e0, value, out=e1)
            else:
                e1[:] = e0
            np.maximum(e1, np.maximum(np.multiply(e0, 0.2, out=half), 0.5 if k else 2.0, out=half),
                       out=e1)
            for _ in range(30):
                np.sqrt(np.add(e1, e1, out=v1), out=v1)
                np.sqrt(np.add(e0, e1, out=mean), out=mean)
                force, slope, along = drag(j, mean)
                if p.bearing[1]:
                    force += np.multiply(mean, p.bearing[1], out=half)
                    slope += p.bearing[1]
                np.add(v0, v1, out=total)
                np.divide(drive[j], total, out=propulsion)
                np.multiply(np.divide(slope, mean, out=half), 0.5, out=half)
                np.divide(propulsion, np.multiply(total, v1, out=total), out=bend)
                bend += half
                np.add(bend, inertia[j], out=by_end)
                np.multiply(inertia[j], np.subtract(e1, e0, out=value), out=value)
                value -= propulsion
                value += force
                value += rest[j]
                if fast < np.inf and e1.max() >= fast:  # as in `simulate`
                    level = inertia[j] * (e1 - fast)
                    coasts, stays = _too_fast(value, propulsion, level)
                    value[:] = np.where(coasts, value + propulsion, np.where(stays, level, value))
                    by_end[:] = np.where(coasts, inertia[j] + half,
                                         np.where(stays, inertia[j], by_end))
                np.divide(np.divide(value, by_end, out=change), e1, out=value)
                moved = value.dot(value)
                if moved < 1.0 - 2 * _SHRUNK:  # so no single one leaves less than `_SHRUNK`
                    e1 -= change
                else:
                    np.multiply(e1, np.maximum(1.0 - value, _SHRUNK), out=e1)
                # What is left after a Newton step is about its square.
                if moved < b * _SETTLED**2:
                    break
            if e1.min() < lowest:
                stalled |= e1 < lowest
                np.maximum(e1, lowest, out=e1)
                if stalled.all():  # nobody rides on
                    speed[k + 1:] = np.minimum(CRAWL, np.sqrt(2 * top[k + 1:, None]))
                    return speed, stalled
            np.minimum(e1, top[k + 1], out=e0)
            np.sqrt(np.add(e0, e0, out=v1), out=speed[k + 1])
    return speed, stalled


def _per_kilogram(p: PacingProblem, var: Variation, steps: slice | NDArray[np.int64],
                  ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Force of the slope and of rolling on some steps [N/kg], each (n, 1) or (n, b)."""
    grade = p.grade[steps][:, None]
    if var.grade_change is not None:
        grade = grade + var.grade_change[steps]
    unit = road_force(grade, 1.0, 0.0)
    return unit, road_force(grade, 1.0, p.rolling_resistance[steps][:, None]) - unit


def _too_fast(value: NDArray[np.float64], propulsion: NDArray[np.float64],
              level: NDArray[np.float64],
              ) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Where a step coasts, and where it ends at the pedalling speed; it is pedalled elsewhere.

    Its end is the middle one of three: where the rider pedals to, where the pedalling speed is,
    where the rider coasts to. At each one a residual is zero that grows with the end: `value`,
    `level`, `value + push`, in N. So the end is where the middle one of these is zero.
    """
    coasts = level > value + propulsion
    return coasts, (level >= value) & ~coasts


def _put_in(p: PacingProblem, var: Variation, watts: NDArray[np.float64],
            speed: NDArray[np.float64],
            wind: tuple[NDArray[np.float64], NDArray[np.float64]]) -> NDArray[np.float64]:
    """(n, b) watts without what brakes or the pedalling speed keep from being put in."""
    highest = np.minimum(np.minimum(p.speed_limit[1:], FASTEST), p.pedalling_speed)
    k = np.flatnonzero((speed[1:] >= highest[:, None] * (1 - _ON_LIMIT)).any(axis=1))
    if not len(k):
        return watts
    before, after = speed[k], speed[k + 1]
    mean = np.sqrt(0.5 * (before**2 + after**2))
    mass_change = np.asarray(var.mass_change)
    unit, roll = _per_kilogram(p, var, k)
    force = ((p.effective_mass + mass_change) * (after**2 - before**2) / (2 * p.step[k, None])
             + (p.mass + mass_change) * (unit + roll * var.rolling_factor)
             + p.bearing[0] + p.bearing[1] * mean)
    drag = rides_drag(wind[0][k], wind[1][k], p.air_density[k, None] * var.density_factor, p.drag,
                      p.position[k], factor=var.drag_factor, change=var.drag_area_change)
    for j, speeds in enumerate(mean):
        force[j] += drag(j, speeds)[0]
    held = np.clip(force * 0.5 * (before + after) / p.drivetrain_efficiency, 0.0, watts[k])
    used = np.array(watts)
    used[k] = np.where(after >= highest[k, None] * (1 - _ON_LIMIT), held, used[k])
    return used


def _driving_power(p: PacingProblem, energy: NDArray[np.float64],
                   k: NDArray[np.int64]) -> NDArray[np.float64]:
    """(m,) power that takes the rider from the start of steps k (m,) to their ends [W]."""
    e0, e1 = energy[k], energy[k + 1]
    mean = np.sqrt(e0 + e1)
    force = drag_and_slope(mean, p.headwind[k], p.crosswind[k], p.air_density[k], p.drag,
                           p.position[k])[0]
    force += (p.effective_mass * (e1 - e0) / p.step[k] + p.bearing[0] + p.bearing[1] * mean
              + road_force(p.grade[k], p.mass, p.rolling_resistance[k]))
    return np.asarray(force * 0.5 * (np.sqrt(2 * e0) + np.sqrt(2 * e1))
                      / p.drivetrain_efficiency)


def holding_power(problem: PacingProblem, ride: SimulatedRide) -> NDArray[np.float64]:
    """(n,) power that holds the speed limit where a ride is on it [W], inf elsewhere.

    More than that is lost in the brakes.
    """
    energy = 0.5 * ride.speed**2
    top = 0.5 * np.minimum(problem.speed_limit, FASTEST)**2
    k = np.flatnonzero(energy[1:] >= top[1:] * (1 - _ON_LIMIT))
    held = np.full(problem.steps, np.inf)
    held[k] = np.maximum(_driving_power(problem, energy, k), 0.0)
    return held


def require_moving(ride: SimulatedRide, problem: PacingProblem) -> None:
    """Raise Infeasible where a ride came to a stop."""
    if np.any(ride.stalled):
        slow = ride.speed if ride.speed.ndim == 1 else ride.speed.min(axis=1)
        place = float(problem.distance[1:][np.argmin(slow[1:])])
        raise Infeasible(f"the rider comes to a stop at {place / 1000:.2f} km",
                         "raise the power limit, or look at the grade there")
