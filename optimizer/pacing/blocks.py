"""A plan that a person can ride: few blocks of constant power with edges that can be recognised."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.linalg import solve_banded

from optimizer.errors import Infeasible
from optimizer.pacing.convex import FASTEST, drag_in_energy
from optimizer.pacing.plan import Block, Hill, RideablePlan
from optimizer.pacing.simulate import Ride, holding_power, reserve_along, simulate

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.course import Course, Mark
    from optimizer.pacing.plan import Plan
    from optimizer.pacing.problem import PacingProblem

__all__ = ["constant_power", "constant_speed", "recognisable_places", "rideable"]

_BEND = 0.012  # change of grade that a rider feels
_WINDOW = 250.0  # m, over which grade is felt
_LEVEL = 0.005  # grade that feels level
_APART = 150.0  # m, places closer than this count as one
_FEEL = 60.0  # m behind and ahead
HILLS = (-0.04, -0.015, 0.015, 0.04)
"""Grades between which a rider tells steep and gentle descents, flat, gentle and steep climbs."""
_MANY = 10  # blocks, of which half as many are tried as well
_MOVES = 40  # most improving moves while rounding
_TRIES = 12  # most trials for one of them
_SLIP = 300.0  # J, by which a first-order forecast of the reserve may err


def recognisable_places(course: Course) -> tuple[Mark, ...]:
    """List marks, turns, crests, feet of climbs and clear changes of grade, by distance [m].

    Where two lie within 150 m the one a rider knows best is kept, in that order.
    """
    from optimizer.course import Mark

    s = course.distance
    even = np.arange(0.0, course.length, 25.0)
    found: list[tuple[int, float, str]] = []
    if len(even) >= 3 * _WINDOW / 25.0:
        height = np.interp(even, s, course.elevation)
        reach = int(_WINDOW / 25.0)
        before = (height[reach:-reach] - height[:-2 * reach]) / _WINDOW
        after = (height[2 * reach:] - height[reach:-reach]) / _WINDOW
        bend = after - before
        strong = np.abs(bend)
        at = even[reach:-reach]
        for k in np.flatnonzero(strong > _BEND):
            near = slice(max(k - reach, 0), k + reach + 1)
            if strong[k] == strong[near].max():
                found.append((3, float(at[k]), _change(float(before[k]), float(after[k]))))
    ranked = ([(0, m.distance, m.name) for m in course.marks]
              + [(1, c.distance, c.name or "dead turn") for c in course.corners if c.dead_turn]
              + [(2, c.distance, c.name or ("right" if c.turn > 0 else "left") + " turn")
                 for c in course.corners if not c.dead_turn]
              + found)
    kept: list[tuple[int, float, str]] = []
    for rank, place, name in sorted(ranked):
        if 50.0 < place < course.length - 50.0 and all(
                abs(place - other) >= _APART for _, other, _ in kept):
            kept.append((rank, place, name))
    return tuple(Mark(name, place) for _, place, name in sorted(kept, key=lambda x: x[1]))


def _change(before: float, after: float) -> str:
    """Name a change of grade as a rider feels it."""
    if before > _LEVEL > after:
        return "crest"
    if before < _LEVEL < after:
        return "foot of the climb"
    if before > _LEVEL:
        return "steeper" if after > before else "easier"
    if after < before:
        return "steeper descent" if before < -_LEVEL else "start of the descent"
    return "gentler descent" if after < -_LEVEL else "end of the descent"


def rideable(plan: Plan, places: Sequence[Mark], blocks: int = 12, rounding: float = 5.0, *,
             hills: Sequence[float] = HILLS, thorough: bool = True) -> RideablePlan:
    """Simplify a plan to at most `blocks` blocks of constant power.

    Parameters
    ----------
    places : where a block may begin
    rounding : of the powers [W], 0 for none
    hills : grades, increasing, that part the road into descents, flat and climbs, on which one
        rule for the whole course adds to the block's power or takes from it; empty for none
    thorough : try fewer blocks and no rule for hills as well, which sometimes wins a little

    Edges are found by dynamic programming on the ideal powers, powers by sequential quadratic
    programming on the forward simulation with exact gradients, rounded powers by a search among
    neighbours. The rider stops pedalling where the brakes are on. A rule is kept only where it
    wins time, and so are more blocks: rounding sometimes turns the tables.
    """
    p = plan.problem
    nodes = plan.distance
    at = {0: "start"}
    for place in places:
        k = int(np.argmin(np.abs(nodes - place.distance)))
        if 0 < k < p.steps:
            at.setdefault(k, place.name)
    tries = [(blocks, hills)]
    if len(hills) and thorough:
        tries.append((blocks, ()))
    if blocks >= _MANY and thorough:
        tries.append((blocks // 2, hills))
    return min((_simplified(plan, at, few, rounding, rule) for few, rule in tries),
               key=lambda ridden: ridden.finish_time)


def _simplified(plan: Plan, at: dict[int, str], blocks: int, rounding: float,
                hills: Sequence[float]) -> RideablePlan:
    """Blocks that begin at the nodes `at`, with a rule for hills."""
    p = plan.problem
    nodes = plan.distance
    candidates = np.array([*sorted(at), p.steps])
    time = np.diff(plan.time)
    rise = np.searchsorted(np.asarray(hills), _felt_grade(p)) if len(hills) else np.zeros(
        p.steps, dtype=np.int64)
    flat = int(np.searchsorted(np.asarray(hills), 0.0)) if len(hills) else 0
    classes = [c for c in np.unique(rise) if c != flat]
    ground = float(np.average(plan.power, weights=time * (rise == flat) + 1e-9))
    extra = np.array([np.average(plan.power, weights=time * (rise == c)) - ground
                      for c in classes])
    on_hill = (rise[:, None] == np.array(classes)) if classes else np.zeros((p.steps, 0))
    edges = _edges(plan, plan.power - on_hill @ extra, candidates, blocks)
    in_block = np.repeat(np.eye(len(edges) - 1), np.diff(edges), axis=0)
    layout = _Layout(p, edges, np.hstack([in_block, on_hill]))
    level = plan.power - on_hill @ extra
    first = np.array([np.average(level[a:b], weights=time[a:b]) for a, b in pairwise(edges)])
    x = _best_powers(layout, np.concatenate([first, extra]), plan)
    if rounding > 0:
        x = _rounded(layout, x, rounding)
    ride, watts, _ = layout.ride(x)
    bounds = np.concatenate([[-np.inf], hills, [np.inf]])
    return RideablePlan(
        blocks=tuple(Block(float(nodes[a]), float(nodes[b]), float(w), at[int(a)])
                     for (a, b), w in zip(pairwise(edges), x, strict=False)),
        speed=ride.speed, time=ride.time, power=watts, reserve=ride.reserve,
        price=float(ride.finish_time) - plan.finish_time,
        hills=tuple(Hill(float(bounds[c]), float(bounds[c + 1]), float(w))
                    for c, w in zip(classes, x[layout.blocks:], strict=True)))


def _felt_grade(p: PacingProblem) -> NDArray[np.float64]:
    """(n,) grade over the road just behind and ahead, as a rider feels it."""
    nodes = p.distance
    height = np.concatenate([[0.0], np.cumsum(p.grade * p.step)])
    middle = 0.5 * (nodes[:-1] + nodes[1:])
    low, high = np.maximum(middle - _FEEL, 0.0), np.minimum(middle + _FEEL, nodes[-1])
    return np.asarray((np.interp(high, nodes, height) - np.interp(low, nodes, height))
                      / (high - low))


def constant_power(plan: Plan) -> RideablePlan:
    """Ride at one power all the way, the highest that the limits allow: the usual baseline."""
    return rideable(plan, (), blocks=1, rounding=0.0, hills=())


def constant_speed(problem: PacingProblem) -> float:
    """Finish time [s] at the highest speed that can be held wherever course and power limit allow.

    Getting up to speed takes the power limit. nan where no speed can be held, such as over a climb
    that takes more than CP at a crawl.
    """
    slow, fast = problem.lowest_speed, FASTEST
    best = float("nan")
    for _ in range(30):
        speed = 0.5 * (slow + fast)
        time = _held_speed(problem, speed)
        if np.isnan(time):
            fast = speed
        else:
            best, slow = time, speed
    return best


def _held_speed(p: PacingProblem, speed: float) -> float:
    """Finish time with a limit of `speed`, nan where reserve or effort do not suffice."""
    held = replace(p, speed_limit=np.minimum(p.speed_limit, speed))
    ride = simulate(held, p.power_limit)
    power = np.minimum(p.power_limit, holding_power(held, ride))
    pace = np.diff(ride.time) / p.step
    left = float(reserve_along(p, power, pace).min()) - p.reserve_floor
    if p.effort is not None:
        spent = p.effort.spent(power / p.critical_power, np.diff(ride.time))
        left = min(left, float(p.effort.allowed(ride.finish_time)) - spent)
    return float(ride.finish_time) if left >= 0 and not ride.stalled else float("nan")


def _edges(plan: Plan, level: NDArray[np.float64], candidates: NDArray[np.int64],
           blocks: int) -> NDArray[np.int64]:
    """Nodes where blocks begin and end, among `candidates`, for the least squares of power.

    Dynamic programming over (candidate, number of blocks); the cost of a block is the sum over
    time of the squared distance of `level`, the ideal power without what hills add, from its
    own mean there.
    """
    weight = np.diff(plan.time)
    sums = np.array([np.concatenate([[0.0], np.cumsum(weight * level**k)])[candidates]
                     for k in range(3)])
    m = len(candidates)
    span = sums[:, None, :] - sums[:, :, None]  # from i to j
    with np.errstate(divide="ignore", invalid="ignore"):
        cost = np.where(span[0] > 0, span[2] - span[1]**2 / span[0], np.inf)
    best = np.full((blocks + 1, m), np.inf)
    best[0, 0] = 0.0
    back = np.zeros((blocks + 1, m), dtype=np.int64)
    for b in range(1, blocks + 1):
        through = best[b - 1][:, None] + cost
        back[b] = through.argmin(axis=0)
        best[b] = through.min(axis=0)
    b = int(best[:, -1].argmin())
    path = [m - 1]
    while b > 0:
        path.append(int(back[b, path[-1]]))
        b -= 1
    return candidates[path[::-1]]


@dataclass(frozen=True)
class _Layout:
    """A problem with fixed block edges (nodes, k + 1) and a rule for hills.

    The m parameters are the k block powers and then what is added on each class of hill;
    `share` (n, m) says which of them make up the power of a step.
    """

    problem: PacingProblem
    edges: NDArray[np.int64]
    share: NDArray[np.float64]

    @property
    def blocks(self) -> int:
        """Number of blocks k."""
        return len(self.edges) - 1

    def watts(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) powers, inside the limits."""
        return np.asarray(np.clip(self.share @ x, 0.0, self.problem.power_limit))

    def ride(self, x: NDArray[np.float64], guess: NDArray[np.float64] | None = None,
             ) -> tuple[Ride, NDArray[np.float64], NDArray[np.bool_]]:
        """Ride the blocks: the ride, powers with none wasted against the brakes, where held."""
        p = self.problem
        watts = self.watts(x)
        ride = simulate(p, watts, guess)
        holding = holding_power(p, ride)
        used = np.minimum(watts, holding)
        pace = np.diff(ride.time) / p.step
        return (Ride(ride.speed, ride.time, reserve_along(p, used, pace), ride.stalled, used), used,
                np.isfinite(holding))

    def slopes(self, x: NDArray[np.float64], ride: Ride, used: NDArray[np.float64],
               held: NDArray[np.bool_]) -> tuple[NDArray[np.float64], NDArray[np.float64],
                                                 NDArray[np.float64]]:
        """Differentiate time (m,), least reserve of blocks (k, m) and effort (m,)."""
        p = self.problem
        k = len(x)
        watts = self.watts(x)
        wanted = self.share @ x
        member = self.share * ((wanted > 0) & (wanted < p.power_limit))[:, None]
        speed = ride.speed
        energy = 0.5 * speed**2
        total = speed[:-1] + speed[1:]
        slope = drag_in_energy(p, 0.5 * (energy[:-1] + energy[1:]))[1]
        push = 2 * p.drivetrain_efficiency * watts / total
        inertia = p.effective_mass / p.step
        start = np.maximum(speed[:-1], 1e-9)
        band = np.ones((2, p.steps))
        band[0] = np.where(held, 1.0, inertia + push / (total * speed[1:]) + 0.5 * slope)
        band[1, :-1] = np.where(held, 0.0, -inertia + push / (total * start) + 0.5 * slope)[1:]
        right = np.where(held, 0.0, 2 * p.drivetrain_efficiency / total)[:, None] * member
        energy_by = np.concatenate([np.zeros((1, k)), solve_banded((1, 0), band, right)])
        speed_by = energy_by / np.maximum(speed, 1e-9)[:, None]
        time_by = (-2 * p.step / total**2)[:, None] * (speed_by[:-1] + speed_by[1:])
        time = np.diff(ride.time)
        free = ~held | (used >= watts)
        net = p.critical_power - used
        rate = np.where(net > 0, p.recovery, 1.0)
        net_by = rate[:, None] * (net[:, None] * time_by - (time * free)[:, None] * member)
        full = ride.reserve[1:] >= p.w_prime * (1 - 1e-12)
        if p.slowing_recovery:
            keep = np.exp(-np.maximum(net * p.recovery * time, 0.0) / p.w_prime)
            net_by *= np.where(net > 0, keep * (1 - ride.reserve[:-1] / p.w_prime), 1.0)[:, None]
            reserve_by = np.zeros((p.steps + 1, k))
            for j in range(p.steps):
                reserve_by[j + 1] = keep[j] * reserve_by[j] + net_by[j]
        else:  # a full reserve forgets what was before
            reserve_by = np.concatenate([np.zeros((1, k)), np.cumsum(net_by, axis=0)])
            last = np.maximum.accumulate(np.where(np.append(False, full),
                                                  np.arange(p.steps + 1), 0))
            reserve_by = reserve_by - reserve_by[last]
        effort_by = np.zeros((p.steps, k))
        if p.effort is not None:
            ratio, by = used / p.critical_power, p.effort.exponent
            effort_by = ((ratio**by - p.effort.per_second)[:, None] * time_by
                         + (by * ratio ** (by - 1) / p.critical_power * time * free)[:, None]
                         * member)
        return time_by.sum(axis=0), reserve_by[self.lowest(ride)], effort_by.sum(axis=0)

    def lowest(self, ride: Ride) -> NDArray[np.int64]:
        """(k,) node of each block where its reserve is least."""
        return np.array([a + int(ride.reserve[a:z + 1].argmin()) for a, z in pairwise(self.edges)])

    def room(self, ride: Ride, used: NDArray[np.float64]) -> NDArray[np.float64]:
        """Say what is left of each limit: reserve of each block [W'], effort; kept where ≥ 0."""
        p = self.problem
        left = list((ride.reserve[self.lowest(ride)] - p.reserve_floor) / p.w_prime)
        if p.effort is not None:
            spent = np.sum(((used / p.critical_power)**p.effort.exponent - p.effort.per_second)
                           * np.diff(ride.time))
            left.append(10.0 * (p.effort.budget - spent) / float(np.sum(p.step)))
        return np.array(left)


def _best_powers(layout: _Layout, first: NDArray[np.float64], plan: Plan) -> NDArray[np.float64]:
    """Parameters of least time within the limits, from a first guess."""
    from scipy.optimize import minimize

    p = layout.problem
    scale = float(np.mean(p.critical_power))
    guess = 0.5 * plan.speed**2
    seen: dict[bytes, tuple[Ride, NDArray[np.float64], NDArray[np.bool_]]] = {}

    def ridden(x: NDArray[np.float64]) -> tuple[Ride, NDArray[np.float64], NDArray[np.bool_]]:
        key = x.tobytes()
        if key not in seen:
            seen.clear()
            seen[key] = layout.ride(x * scale, guess)
        return seen[key]

    def limits(x: NDArray[np.float64]) -> NDArray[np.float64]:
        ride, used, _ = ridden(x)
        return layout.room(ride, used) * 10.0

    def limits_by(x: NDArray[np.float64]) -> NDArray[np.float64]:
        ride, used, held = ridden(x)
        _, reserve, effort = layout.slopes(x * scale, ride, used, held)
        rows = reserve / p.w_prime
        if p.effort is not None:
            rows = np.vstack([rows, -10.0 * effort / float(np.sum(p.step))])
        return np.asarray(rows * scale * 10.0)

    top = float(p.power_limit.max())
    bounds = [(0.0, top)] * layout.blocks + [(-top, top)] * (len(first) - layout.blocks)
    x = np.clip(first, *np.transpose(bounds)) / scale
    for _ in range(60):  # a start inside the limits keeps the search honest
        ride, used, _ = ridden(x)
        if not ride.stalled and layout.room(ride, used).min() >= 0:
            break
        x = x - 0.02 * np.maximum(x, 0.0)
    else:
        raise Infeasible("no constant power keeps the reserve on these blocks",
                         "allow more blocks")
    outcome: Any = minimize(  # type: ignore[call-overload]
        lambda x: float(ridden(x)[0].finish_time) / plan.finish_time, x,
        jac=lambda x: layout.slopes(x * scale, *ridden(x))[0] * scale / plan.finish_time,
        bounds=np.array(bounds) / scale, method="SLSQP",
        constraints=[{"type": "ineq", "fun": limits, "jac": limits_by}],
        options={"maxiter": 40, "ftol": 1e-7})
    # What the search leaves over a limit is given back by a little of every power.
    for share in (0.0, 1e-5, 1e-4, 3e-4, 1e-3, 3e-3, 1e-2):
        trial = outcome.x - share * np.maximum(outcome.x, 0.0)
        ride, used, _ = ridden(trial)
        if not ride.stalled and layout.room(ride, used).min() >= -1e-9:
            before = float(ridden(x)[0].finish_time)
            return np.asarray((trial if float(ridden(trial)[0].finish_time) < before else x)
                              * scale)
    return np.asarray(x * scale)


def _rounded(layout: _Layout, power: NDArray[np.float64], unit: float) -> NDArray[np.float64]:
    """Multiples of `unit` near `power` inside the limits, improved by moving one or two of them."""
    lowest = np.where(np.arange(len(power)) < layout.blocks, 0.0, -np.inf)
    top = np.floor(float(layout.problem.power_limit.max()) / unit) * unit
    x = _inside(layout, np.clip(np.round(power / unit) * unit, lowest, top), unit, lowest)
    time, _ = _judge(layout, x)
    for _ in range(_MOVES):
        for step in _promising(layout, x, unit, lowest, top):
            after, room = _judge(layout, x + step)
            if room >= -1e-9 and after < time - 1e-6:
                x, time = x + step, after
                break
        else:
            break
    return x


def _judge(layout: _Layout, x: NDArray[np.float64]) -> tuple[float, float]:
    """Finish time and the least room to a limit; (inf, -inf) for a ride that stalls."""
    ride, used, _ = layout.ride(x)
    if ride.stalled:
        return np.inf, -np.inf
    return float(ride.finish_time), float(layout.room(ride, used).min())


def _inside(layout: _Layout, x: NDArray[np.float64], unit: float,
            lowest: NDArray[np.float64]) -> NDArray[np.float64]:
    """Lower powers by `unit`, the cheapest first, until the limits are kept."""
    time, room = _judge(layout, x)
    while room < -1e-9:
        trials = []
        for b in np.flatnonzero(x - unit >= lowest):
            y = x.copy()
            y[b] -= unit
            after, left = _judge(layout, y)
            if left > room:
                trials.append(((after - time) / (left - room), after, left, y))
        if not trials:
            raise Infeasible("no rounded powers keep the reserve on these blocks",
                             "allow finer rounding or more blocks")
        _, time, room, x = min(trials, key=lambda trial: trial[0])
    return x


def _promising(layout: _Layout, x: NDArray[np.float64], unit: float,
               lowest: NDArray[np.float64], top: float) -> list[NDArray[np.float64]]:
    """List moves of one power up, or one up and one down, that should win time; best first."""
    p = layout.problem
    ride, used, held = layout.ride(x)
    by_time, by_reserve, by_effort = layout.slopes(x, ride, used, held)
    spare = ride.reserve[layout.lowest(ride)] - p.reserve_floor
    effort = (layout.room(ride, used)[-1] * float(np.sum(p.step)) / 10.0
              if p.effort is not None else np.inf)
    slip = 0.01 * float(np.abs(by_effort).sum()) * unit
    tries = []
    for up in range(len(x)):
        for down in [-1, *range(len(x))]:
            step = np.zeros(len(x))
            step[up] += unit
            if down >= 0:
                step[down] -= unit
            inside = np.all((x + step >= lowest) & (x + step <= top))
            left = float((spare + by_reserve @ step).min())
            if (inside and by_time @ step < -1e-4 and left > -_SLIP
                    and effort - by_effort @ step > -slip):
                tries.append((float(by_time @ step), step))
    return [step for _, step in sorted(tries, key=lambda item: item[0])[:_TRIES]]
