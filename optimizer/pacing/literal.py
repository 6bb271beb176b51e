"""Riding a card exactly as printed: what its powers lead to, and which (rounded) ones are best."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from optimizer.errors import Infeasible
from optimizer.lapack import dtbtrs
from optimizer.pacing.convex import drag_in_energy
from optimizer.pacing.problem import FASTEST
from optimizer.pacing.simulate import SimulatedRide, simulate

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from optimizer.pacing.problem import PacingProblem

__all__ = ["Layout", "NoFigures", "best_figures", "highest_even", "room", "round_figures"]

_STRETCHES = 16  # of the ride, at most, in each of which the least reserve is watched
_KEPT = -1e-7  # of a limit, with which it counts as kept
_STEPS = 15  # most of the search for the best figures
_REACH = 0.1  # of the power limit, the longest first step of a figure
_NEARER = 0.4  # times the reach after a step that was too long
_INSIDE = 12  # most tries to come inside the limits
_EXACT = 1e-3  # s, that a step has to win
_MOVES = 60  # most improving moves while rounding
_TRIES = 6  # most trials for one of them
_CHORDS = 60  # most of them that look for the highest even figure
_NEAR = 1e-5  # W, as which that is known
_FREED = 3  # times, as often as which a figure is let go in a non-negative fit
_ROUND_OFF = 1e-14


class NoFigures(Infeasible):
    """No figures on these lines keep the limits."""


@dataclass(frozen=True)
class Layout:
    """Lines of a card on a problem; their m figures `x` are what is to be found.

    Attributes
    ----------
    problem : n steps
    edges : (k + 1,) nodes where blocks begin and end
    share : (n, m) how much of each figure the power of a step takes
    base : (n,) W, what is added to that
    weight : (n,) s/W², twice the seconds that a step loses by a power off its best
    """

    problem: PacingProblem
    edges: NDArray[np.int64]
    share: NDArray[np.float64]
    base: NDArray[np.float64]
    weight: NDArray[np.float64]

    @property
    def curvature(self) -> NDArray[np.float64]:
        """(m,) s/W², second derivative of the seconds lost by each figure."""
        return np.maximum(self.weight @ self.share**2, 1e-9)

    @property
    def stretches(self) -> NDArray[np.int64]:
        """Nodes between which the least reserve is watched."""
        every = -(-(len(self.edges) - 1) // _STRETCHES)
        return np.unique(np.append(self.edges[::every], self.edges[-1]))

    def asked(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) W, what the card says, inside the power limit."""
        return np.asarray(np.clip(self.base + self.share @ x, 0.0, self.problem.power_limit))

    def ride(self, x: NDArray[np.float64],
             guess: NDArray[np.float64] | None = None) -> SimulatedRide:
        """Ride to the letter; `guess` (n + 1,) energies make it quick."""
        return simulate(self.problem, self.asked(x), guess)

    def slopes(self, x: NDArray[np.float64], ride: SimulatedRide,
               ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Differentiate the finish time (m,) and the `room` (rows, m) by the figures."""
        p, used = self.problem, ride.power
        wanted = self.base + self.share @ x
        energy = 0.5 * ride.speed**2
        top = 0.5 * np.minimum(p.speed_limit[1:], FASTEST) ** 2
        fast = 0.5 * p.pedalling_speed**2
        # An end on a limit stays there; above the pedalling speed the rider coasts, without power.
        held = (energy[1:] >= top * (1 - 1e-12)) | (
            np.abs(energy[1:] - fast) <= 1e-9 * energy[1:])
        free = ~held & (used >= self.asked(x) * (1 - 1e-12))
        member = self.share * (free & (wanted > 0) & (wanted < p.power_limit))[:, None]
        total = ride.speed[:-1] + ride.speed[1:]
        slope = drag_in_energy(p, 0.5 * (energy[:-1] + energy[1:]))[1]
        propulsion = 2 * p.drivetrain_efficiency * used / total
        inertia = p.effective_mass / p.step
        start = np.maximum(ride.speed[:-1], 1e-9)
        # Who comes faster to where a limit is held needs less power to hold it.
        holds = np.where(held & (used > 0), (total * (0.5 * slope - inertia) + propulsion / start)
                         / (2 * p.drivetrain_efficiency), 0.0)
        band = np.ones((2, p.steps))
        band[0] = np.where(held, 1.0, inertia + propulsion / (total * ride.speed[1:]) + 0.5 * slope)
        band[1, :-1] = np.where(
            held, 0.0, -inertia + propulsion / (total * start) + 0.5 * slope)[1:]
        right = (2 * p.drivetrain_efficiency / total)[:, None] * member
        energy_by = np.concatenate([np.zeros((1, len(x))), dtbtrs(band, right, uplo="L")[0]])
        speed_by = energy_by / np.maximum(ride.speed, 1e-9)[:, None]
        time_by = (-2 * p.step / total**2)[:, None] * (speed_by[:-1] + speed_by[1:])
        power_by = member + holds[:, None] * energy_by[:-1]
        rows = self._reserve_by(ride, time_by, power_by)[self.lowest(ride)] / p.w_prime
        finish_by = time_by.sum(axis=0)
        if p.effort is not None:
            ratio, by = used / p.critical_power, p.effort.exponent
            spent = ((ratio**by - p.effort.per_second) @ time_by
                     + (by * ratio ** (by - 1) / p.critical_power * np.diff(ride.time)) @ power_by)
            rows = np.vstack([rows, -spent / _effort_scale(ride)
                              - _effort_left(p, ride) * finish_by / float(ride.finish_time)])
        return finish_by, rows

    def _reserve_by(self, ride: SimulatedRide, time_by: NDArray[np.float64],
                    power_by: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n + 1, m) derivative of the reserve at the nodes."""
        p = self.problem
        time = np.diff(ride.time)
        net = p.critical_power - ride.power
        net_by = net[:, None] * time_by - time[:, None] * power_by
        return p.recovery_law.slopes(net * time, net_by, p.recovery, p.w_prime, ride.reserve)

    def lowest(self, ride: SimulatedRide) -> NDArray[np.int64]:
        """Node of each watched stretch where its reserve is least."""
        return np.array([a + int(ride.reserve[a:z + 1].argmin())
                         for a, z in pairwise(self.stretches)])

    def room(self, ride: SimulatedRide) -> NDArray[np.float64]:
        """Say what is left of each limit, kept where ≥ 0: reserve by stretch, then effort."""
        p = self.problem
        left = (ride.reserve[self.lowest(ride)] - p.reserve_floor) / p.w_prime
        if p.effort is not None:
            left = np.append(left, _effort_left(p, ride))
        return np.asarray(left)


def room(problem: PacingProblem, ride: SimulatedRide) -> float:
    """Least part of reserve and effort that a ride leaves.

    Parameters
    ----------
    problem : with the limits
    ride : on it

    Returns
    -------
    part of W', or ten times that of the effort; negative where the ride asks too much
    """
    if ride.stalled:
        return -np.inf
    left = float(ride.reserve.min() - problem.reserve_floor) / problem.w_prime
    return min(left, _effort_left(problem, ride))


def _effort_scale(ride: SimulatedRide) -> float:
    return 0.1 * float(ride.finish_time)


def _effort_left(p: PacingProblem, ride: SimulatedRide) -> float:
    """Ten times the seconds of effort left over the seconds of the ride; inf without a limit."""
    if p.effort is None:
        return float("inf")
    spent = p.effort.spent(ride.power / p.critical_power, np.diff(ride.time))
    return float(p.effort.allowed(ride.finish_time) - spent) / _effort_scale(ride)


def best_figures(layout: Layout, first: NDArray[np.float64], guess: NDArray[np.float64],
                 ) -> tuple[NDArray[np.float64], SimulatedRide]:
    """Figures of least time within the limits, and the ride.

    Sequential quadratic programming on the simulated ride with exact gradients. What the
    Lagrangian bends by is known beforehand, from the ideal plan: figures are scaled to make it the
    identity, so that a few steps do.

    Parameters
    ----------
    layout : lines on n steps with m figures
    first : (m,) W, to begin with
    guess : (n + 1,) energies near the ride's [J/kg]

    Returns
    -------
    (m,) figures [W] and the ride

    Raises
    ------
    NoFigures
        where no figures near the first ones keep the limits
    """
    scale = 1.0 / np.sqrt(layout.curvature)
    high = float(layout.problem.power_limit.max())
    x, ride = _inside(layout, np.clip(first, 0.0, high), guess)
    reach = _REACH * high
    for _ in range(_STEPS):
        by_time, by_room = layout.slopes(x, ride)
        rows = np.vstack([by_room * scale, np.eye(len(x)), -np.eye(len(x))])
        left = np.concatenate([layout.room(ride), np.minimum(x, reach) / scale,
                               np.minimum(high - x, reach) / scale])
        step = _least_distance(by_time * scale, rows, left)
        foreseen = -float(by_time * scale @ step + 0.5 * step @ step)
        if foreseen < _EXACT:
            break
        try:
            trial, after = _inside(layout, x + step * scale, 0.5 * ride.speed**2)
        except NoFigures:
            reach *= _NEARER
            continue
        won = float(ride.finish_time - after.finish_time)
        if won > 0:
            x, ride = trial, after
        if won < 0.25 * foreseen:
            reach = _NEARER * min(reach, float(np.max(np.abs(step * scale))))
        if 0 < won < _EXACT:
            break
    return x, ride


def _least_distance(slope: NDArray[np.float64], rows: NDArray[np.float64],
                    left: NDArray[np.float64]) -> NDArray[np.float64]:
    """Step d (m,) of least slope·d + |d|²/2 with rows d + left ≥ 0; none where none keeps them.

    Lawson and Hanson 1974, Solving Least Squares Problems, chapter 23: the shortest u = d + slope
    with rows u ≥ rows slope - left, by non-negative least squares.
    """
    wanted = rows @ slope - left
    dual, missing = _not_negative(np.vstack([rows.T, wanted]),
                                  np.append(np.zeros(len(slope)), 1.0))
    if missing < 1e-9:
        return np.zeros(len(slope))
    return np.asarray(rows.T @ dual / (1.0 - float(wanted @ dual)) - slope)


def _not_negative(A: NDArray[np.float64],
                  b: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """Find x ≥ 0 (k,) of least |A x - b|, and that; A is (m, k), b (m,).

    Lawson and Hanson 1974, Solving Least Squares Problems, chapter 23, as `scipy.optimize.nnls`
    has it, which takes longer to import than a card to find.
    """
    size = np.linalg.norm(A, axis=0)
    size[size == 0.0] = 1.0
    A = A / size  # columns of one length, so that one round-off suits all
    x, free = np.zeros(A.shape[1]), np.zeros(A.shape[1], dtype=bool)
    for _ in range(_FREED * len(x)):
        wanted = np.where(free, 0.0, A.T @ (b - A @ x))
        if free.all() or wanted.max() <= _ROUND_OFF * float(np.abs(A).max() * np.abs(b).max()):
            break
        free[np.argmax(wanted)] = True
        while True:
            best = np.zeros_like(x)
            best[free] = np.linalg.lstsq(A[:, free], b, rcond=None)[0]
            bad = free & (best <= 0.0)
            if not bad.any():
                break
            share = np.where(bad, x / np.maximum(x - best, 1e-300), np.inf)
            x += (best - x) * float(share.min())
            free &= x > _ROUND_OFF * float(x.max())
            free[np.argmin(share)] = False
            x[~free] = 0.0
        x = best
    return x / size, float(np.linalg.norm(A @ x - b))


def _inside(layout: Layout, x: NDArray[np.float64], guess: NDArray[np.float64],
            ) -> tuple[NDArray[np.float64], SimulatedRide]:
    """Take so small a share of all figures away that the limits are kept; figures and their ride.

    Raises NoFigures where that does not lead inside.
    """
    ride = layout.ride(x, guess)
    for _ in range(_INSIDE):
        if ride.stalled:
            break
        left = layout.room(ride)
        if left.min() >= _KEPT:
            return x, ride
        # By the slopes; at least a little, where a limit has only begun to bind.
        by_share = layout.slopes(x, ride)[1] @ x
        share = float(np.max(np.where(left < 0, left / np.minimum(by_share, -1e-3), 0.0)))
        x = x * (1.0 - np.clip(1.02 * share + 1e-8, 0.0, 0.3))
        ride = layout.ride(x, 0.5 * ride.speed**2)
    raise NoFigures("no power figures keep the limits on so few lines", "allow more lines")


def highest_even(layout: Layout, guess: NDArray[np.float64],
                 ) -> tuple[NDArray[np.float64], SimulatedRide]:
    """Find the highest one figure that keeps the limits, and the ride.

    Parameters
    ----------
    layout : of one line on n steps
    guess : (n + 1,) energies near the ride's [J/kg]

    Returns
    -------
    (1,) figure [W] and the ride

    Raises
    ------
    NoFigures
        where there is none
    """
    p = layout.problem
    low, ride = _inside(layout, np.array([np.average(p.critical_power, weights=p.step)]), guess)
    high = np.array([p.power_limit.max()])
    if room(p, layout.ride(high, guess)) < _KEPT:
        def left(watts: float) -> float:
            return room(p, layout.ride(np.array([watts]), guess)) - 0.5 * _KEPT

        high = np.array([_root(left, float(low[0]), float(high[0]))]) if left(low[0]) > 0 else low
    return _inside(layout, high, 0.5 * ride.speed**2)


def _root(value: Callable[[float], float], above: float, below: float) -> float:
    """Find where a falling function is zero, between where it is above zero and where it is below.

    Chords, of which the end that stays is halved (Dowell and Jarratt 1971, BIT 11:168), and the
    middle while an end is infinite, as where a ride stalls. As many as `scipy.optimize.brentq`
    takes, which needs longer to import than all of them take.
    """
    at_above, at_below, side = value(above), value(below), 0
    at = 0.5 * (above + below)
    for _ in range(_CHORDS):
        at = (above * at_below - below * at_above) / (at_below - at_above) if np.isfinite(
            [at_above, at_below]).all() else 0.5 * (above + below)
        here = value(at)
        if here > 0.0:
            above, at_above, at_below = at, here, at_below * (0.5 if side > 0 else 1.0)
        else:
            below, at_below, at_above = at, here, at_above * (0.5 if side < 0 else 1.0)
        side = 1 if here > 0.0 else -1
        if abs(above - below) < _NEAR or here == 0.0:
            break
    return at


def round_figures(layout: Layout, x: NDArray[np.float64], unit: float,
                  guess: NDArray[np.float64], highest: NDArray[np.float64],
                  ) -> tuple[NDArray[np.float64], SimulatedRide]:
    """Multiples of `unit` near `x` inside the limits, and the ride.

    The nearest ones, lowered where limits ask for it, then improved by moving one or two.

    Parameters
    ----------
    layout : lines on n steps with m figures
    x : (m,) W
    unit : W
    guess : (n + 1,) energies near the ride's [J/kg]
    highest : (m,) W, the most that each may be

    Returns
    -------
    (m,) figures [W] and the ride

    Raises
    ------
    NoFigures
        where none keep the limits
    """
    most = np.floor(highest / unit + 1e-9) * unit
    x = np.clip(np.round(x / unit) * unit, 0.0, most)
    x, ride = _lowered(layout, x, unit, guess)
    for _ in range(_MOVES):
        for move in _promising(layout, x, ride, unit, most):
            after = layout.ride(x + move, guess)
            if (room(layout.problem, after) >= _KEPT
                    and after.finish_time < ride.finish_time - 1e-6):
                x, ride = x + move, after
                break
        else:
            break
    return x, ride


def _lowered(layout: Layout, x: NDArray[np.float64], unit: float,
             guess: NDArray[np.float64]) -> tuple[NDArray[np.float64], SimulatedRide]:
    """Lower figures by `unit`, the cheapest first, until the limits are kept."""
    ride = layout.ride(x, guess)
    while (left := room(layout.problem, ride)) < _KEPT:
        trials = []
        for b in np.flatnonzero(x >= unit):
            y = x - unit * (np.arange(len(x)) == b)
            after = layout.ride(y, guess)
            more = room(layout.problem, after) - left
            if more > 0 and np.isfinite(more):
                trials.append((float(after.finish_time - ride.finish_time) / more, b, y, after))
        if not trials:
            raise NoFigures("no round power figures keep the limits on so few lines",
                            "allow finer rounding or more lines")
        _, _, x, ride = min(trials, key=lambda trial: trial[:2])
    return x, ride


def _promising(layout: Layout, x: NDArray[np.float64], ride: SimulatedRide, unit: float,
               most: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """List moves of one figure up, or one up and one down, that should win time; best first.

    The slopes foresee what a move does to the limits; the bend of what is lost makes it worse.
    """
    by_time, by_room = layout.slopes(x, ride)
    left = layout.room(ride)
    slip = 0.02 * np.abs(by_room).max(axis=1) * unit
    tries = []
    for up in range(len(x)):
        for down in [-1, *range(len(x))]:
            step = unit * ((np.arange(len(x)) == up).astype(float) - (np.arange(len(x)) == down))
            inside = np.all((x + step >= 0) & (x + step <= most))
            if inside and by_time @ step < -1e-4 and np.all(left + by_room @ step > -slip):
                tries.append((float(by_time @ step), up, down, step))
    return [step for *_, step in sorted(tries, key=lambda item: item[:3])[:_TRIES]]
