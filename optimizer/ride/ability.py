"""What a ride says of critical power: the reserve has to have lasted.

With the planned W' there is a least CP with which the reserve does not run dry. A rider who says
that nothing was left had about that CP on the day. `optimizer.ride.season` pools it with what was
known before.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.errors import InputError
from optimizer.pacing.simulate import reserve_along
from optimizer.rider.power_duration import HALF_HOUR

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.pacing import PacingProblem
    from optimizer.rider import Rider

__all__ = ["CP_BAND", "Ability", "ability_of", "endurance_error", "needed_by_effort"]

# Common practice, no source, all of these.
CP_BAND = 0.05  # relative, of a CP that was stated without an error
_W_PRIME_BAND = 0.2
_LEAST, _MOST = 0.3, 3.0  # of the planned CP, where the least CP is looked for
_BREATH = 30.0  # s over which power counts as effort: a surge costs less than its watts say
_CONFLICT = 2.5  # standard deviations between what was known and what was shown


@dataclass(frozen=True)
class Ability:
    """What the ride says of CP [W].

    Attributes
    ----------
    planned, planned_sd : what was known before
    shown : the least CP with which the reserve would have lasted, by the planned W'; 0 where
        the ride was too easy to say
    shown_sd : what the uncertainty of W' makes of it
    all_out : the rider says that nothing was left
    """

    planned: float
    planned_sd: float
    shown: float
    shown_sd: float
    all_out: bool

    @property
    def contradicts(self) -> bool:
        """Whether what was known before and the ride cannot both be right."""
        return self.shown - self.planned > _CONFLICT * math.hypot(self.planned_sd, self.shown_sd)


def ability_of(problem: PacingProblem, power: NDArray[np.float64], pace: NDArray[np.float64],
               rider: Rider, *, all_out: bool = False) -> Ability:
    """Find the CP that a ride shows by its powers (m,) [W] and paces (m,) [s/m], stops included.

    Raises InputError for a ride that is far beyond any rider of that CP.
    """
    cp, sd = rider.critical_power, rider.critical_power_sd or CP_BAND * rider.critical_power
    shown = _shown(problem, power, pace, cp, rider.w_prime)
    if shown == 0.0:
        return Ability(cp, sd, 0.0, 0.0, all_out)
    more = rider.w_prime + (rider.w_prime_sd or _W_PRIME_BAND * rider.w_prime)
    shown_sd = abs(_shown(problem, power, pace, cp, more) - shown)
    return Ability(cp, sd, shown, shown_sd, all_out)


def _shown(problem: PacingProblem, power: NDArray[np.float64], pace: NDArray[np.float64],
           cp: float, w_prime: float) -> float:
    """Give the least CP [W] with which the reserve lasts; 0 where even a small one does."""
    from scipy.optimize import brentq

    def left(factor: float) -> float:
        return float(reserve_along(problem, power, pace, factor * problem.critical_power,
                                   w_prime).min())

    if left(_LEAST) >= 0.0:
        return 0.0
    if left(_MOST) < 0.0:
        raise InputError("ride", "", f"has more than {_MOST:g} times the planned critical power "
                         f"of {cp:.0f} W", "check the power meter and the rider's file")
    return cp * float(brentq(left, _LEAST, _MOST, xtol=1e-5))


def needed_by_effort(power: NDArray[np.float64], duration: NDArray[np.float64], rider: Rider,
                     exponents: Sequence[float]) -> tuple[float, ...]:
    """Least CP [W] with which the effort law allows a ride, for each exponent.

    `power`, `duration` (m,): W and s of riding. The law of `optimizer.rider.effort`, turned
    round: the p-power mean is at most the share s of C(T/q) = CP (1 - L ln(T/q / 30 min)) +
    W'/(T/q). Power is a mean over half a minute.
    """
    end = np.cumsum(duration)
    total = float(end[-1])
    edges = np.append(0.0, end)
    work = np.append(0.0, np.cumsum(power * duration))
    middle = end - 0.5 * duration
    low, high = np.clip(middle - 0.5 * _BREATH, 0.0, total), np.clip(middle + 0.5 * _BREATH, 0.0,
                                                                    total)
    calm = (np.interp(high, edges, work) - np.interp(low, edges, work)) / np.maximum(high - low,
                                                                                    1e-9)
    reach = total / rider.time_share
    kept = _kept(reach, rider)
    top = max(float(calm.max()), 1.0)
    out = []
    for p in exponents:
        mean = top * float(np.average((np.maximum(calm, 0.0) / top)**p,
                                      weights=duration))**(1.0 / p)
        out.append(max((mean / rider.effort_share - rider.w_prime / reach) / kept, 0.0))
    return tuple(out)


def endurance_error(duration: float, rider: Rider) -> float:
    """Relative error of the CP that a ride of `duration` [s] needed, by the loss with time."""
    reach = duration / rider.time_share
    return rider.endurance_loss_sd * _halves(reach) / _kept(reach, rider)


def _halves(reach: float) -> float:
    """Logarithm of the time beyond half an hour."""
    return max(math.log(reach / HALF_HOUR), 0.0)


def _kept(reach: float, rider: Rider) -> float:
    """Part of CP that is left for the whole of a ride which reaches `reach` s."""
    return max(1.0 - rider.endurance_loss * _halves(reach), 0.1)
