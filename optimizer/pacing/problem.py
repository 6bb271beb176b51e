"""The discretised problem: the arrays that every solver, bound and simulation works on."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from optimizer.errors import Infeasible
from optimizer.frozen import ReadOnlyArrays
from optimizer.physics import DragArea, Setup
from optimizer.rider.environment import critical_power_factor
from optimizer.rider.recovery import BY_SHARE, RecoveryLaw

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions import AirDepartures
    from optimizer.day import Pedalling
    from optimizer.physics import Road
    from optimizer.rider import Rider
    from optimizer.rider.effort import EffortLimit

__all__ = ["COASTING_POWER", "CRAWL", "FASTEST", "LOWEST_SPEED", "PacingProblem", "pacing_problem",
           "split_steps"]

# The least and the most that a plan is looked for between; the whole room reads them here.
COASTING_POWER: Final = 0.5
"""W, the power limit where nobody pedals; the solver needs room above zero."""
CRAWL: Final = 0.3
"""m/s; below this a rider has stopped."""
LOWEST_SPEED: Final = 1.0
"""m/s; slower plans are not looked at."""
FASTEST: Final = 45.0
"""m/s, where the course sets no limit."""


@dataclass(frozen=True)
class PacingProblem(ReadOnlyArrays):
    """Minimum time over n steps between n + 1 nodes, in SI.

    Attributes
    ----------
    step : (n,) length [m]
    grade : (n,) rise over run
    headwind, crosswind : (n,) at the rider [m/s], head wind positive into the face
    air_density : (n,) kg/m³
    rolling_resistance : (n,) Crr on the road of each step
    rolling_factor : (n,) Crr on that road over the tyre's own, 1 on the reference surface
    speed_limit : (n + 1,) m/s at the nodes, inf where free, braking distance included
    power_limit : (n,) W
    critical_power : (n,) W, CP in the step's position and air
    recovery : (n,) share of (CP - P) that refills the reserve below CP, 0 to 1
    drag : CdA against yaw, a row a position
    position : (n,) row of `drag` in use
    mass, effective_mass : kg; the latter with wheel inertia
    drivetrain_efficiency : wheel power over crank power
    bearing : (a, b), friction a + b v [N]
    w_prime, reserve_floor : J, reserve at the start and the least allowed anywhere
    start_speed : m/s at the first node; 0 for a standing start
    lowest_speed : m/s; slower plans are not looked at
    pedalling_speed : m/s, above which nobody pedals; inf for none. `power_limit` is next to
        nothing where a plan rolls faster than that
    recovery_law : how the reserve refills below CP
    effort : limit on the integral of (P/CP)^p over time; None for none
    departures : of the air of an ensemble's members on the same steps, for draws; no plan
        depends on them
    """

    step: NDArray[np.float64]
    grade: NDArray[np.float64]
    headwind: NDArray[np.float64]
    crosswind: NDArray[np.float64]
    air_density: NDArray[np.float64]
    rolling_resistance: NDArray[np.float64]
    speed_limit: NDArray[np.float64]
    power_limit: NDArray[np.float64]
    critical_power: NDArray[np.float64]
    recovery: NDArray[np.float64]
    drag: DragArea
    position: NDArray[np.int64]
    mass: float
    effective_mass: float
    drivetrain_efficiency: float
    bearing: tuple[float, float]
    w_prime: float
    reserve_floor: float = 0.0
    start_speed: float = 0.0
    lowest_speed: float = LOWEST_SPEED
    pedalling_speed: float = float("inf")
    recovery_law: RecoveryLaw = BY_SHARE
    effort: EffortLimit | None = None
    departures: AirDepartures | None = None
    rolling_factor: NDArray[np.float64] | float = 1.0

    @property
    def steps(self) -> int:
        """Number of steps n."""
        return len(self.step)

    @property
    def distance(self) -> NDArray[np.float64]:
        """(n + 1,) metres from the start."""
        return np.concatenate([[0.0], np.cumsum(self.step)])

    def with_steps(self, which: NDArray[np.int64],
                   speed_limit: NDArray[np.float64]) -> PacingProblem:
        """Give the problem on other steps: all that each step has goes with it.

        Parameters
        ----------
        which : (m,) a step of this problem for each step of the other
        speed_limit : (m + 1,) m/s at its nodes

        Returns
        -------
        the problem on m steps
        """
        taken: dict[str, Any] = {
            part.name: getattr(self, part.name)[which] for part in fields(self)
            if isinstance(getattr(self, part.name), np.ndarray) and part.name != "speed_limit"}
        if self.departures is not None:
            taken["departures"] = replace(
                self.departures, headwind=self.departures.headwind[:, which],
                crosswind=self.departures.crosswind[:, which])
        return replace(self, **taken, speed_limit=speed_limit)


def pacing_problem(road: Road, rider: Rider, setup: Setup, *, start_speed: float = 0.0,
                   position: NDArray[np.int64] | None = None,
                   pedalling: Pedalling | None = None,
                   effort: EffortLimit | None = None,
                   left: float | None = None) -> PacingProblem:
    """Arrays of the pacing problem for one rider with one set of kit.

    Parameters
    ----------
    road : n steps
    rider : CP, W', power limit, positions, recovery
    setup : masses, Crr and CdA of bike and kit
    start_speed : m/s
    position : (n,) indices into `rider.positions`, the first one everywhere by default
    pedalling : where the rider rolls too fast to pedal, nowhere by default
    effort : the limit that the ride's duration sets, none by default
    left : part of the tested CP that `rider` has on the day; CP of each step then follows its
        height and the temperature at the hour of passing. None for the same CP on all steps

    Returns
    -------
    the problem, in SI

    Raises
    ------
    Infeasible
        where rider and road leave nothing to plan
    """
    n = len(road.grade)
    critical_power = np.full(n, rider.critical_power)
    if left is not None:
        critical_power *= critical_power_factor(rider, road.elevation, road.temperature) / left
    highest = max(rider.critical_power, float(critical_power.max()))
    if highest >= rider.max_power:
        raise Infeasible(f"the power limit of {rider.max_power:.0f} W is not above the critical "
                         f"power of {highest:.0f} W", "raise the power limit")
    where = np.zeros(n, dtype=np.int64) if position is None else position
    share = np.array([p.power_share for p in rider.positions])[where]
    top_share = np.array([p.max_power_share for p in rider.positions])[where]
    area = np.array([[p.drag_area] for p in rider.positions]) + setup.drag_area_change
    mass = rider.mass + setup.mass
    law, recovers = rider.refill
    power_limit = rider.max_power * top_share
    limit = np.array(road.speed_limit)
    if setup.cornering_factor != 1.0:
        limit = limit * setup.cornering_factor
    if pedalling is not None:
        power_limit = np.where(pedalling.coasting, COASTING_POWER, power_limit)
        limit[1:] = np.where(pedalling.held, np.minimum(limit[1:], rider.pedalling_speed),
                             limit[1:])
    return PacingProblem(
        step=road.step, grade=road.grade, headwind=road.headwind, crosswind=road.crosswind,
        air_density=road.air_density,
        rolling_resistance=setup.rolling_resistance * road.rolling_factor,
        speed_limit=limit, power_limit=power_limit,
        critical_power=critical_power * share,
        recovery=np.full(n, recovers), drag=DragArea(setup.yaw, area), position=where, mass=mass,
        effective_mass=mass + setup.spinning_mass,
        drivetrain_efficiency=setup.drivetrain_efficiency, bearing=setup.bearing,
        w_prime=rider.w_prime, reserve_floor=rider.reserve_floor, start_speed=start_speed,
        recovery_law=law, effort=effort,
        pedalling_speed=rider.pedalling_speed, departures=road.departures,
        rolling_factor=road.rolling_factor)


def split_steps(problem: PacingProblem, pieces: NDArray[np.int64]) -> PacingProblem:
    """Cut steps into equal ones on the same road; new nodes have no speed limit.

    Parameters
    ----------
    problem : of n steps
    pieces : (n,) into how many

    Returns
    -------
    the problem on Σ pieces steps
    """
    limit = np.full(int(pieces.sum()) + 1, np.inf)
    limit[np.concatenate([[0], np.cumsum(pieces)])] = problem.speed_limit
    long = problem.with_steps(np.repeat(np.arange(problem.steps), pieces), limit)
    return replace(long, step=long.step / np.repeat(pieces, pieces))
