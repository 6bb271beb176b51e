"""The effort law: how hard a ride may be over its whole length, and what to leave for a run.

A rider is no battery. The p-power mean of power over critical power may reach what the rider
could hold evenly for the ride's own duration T,

    ((1/T) ∫ (P/CP)^p dt)^(1/p) ≤ s C(T/q)/CP,     C(t) = CP (1 - L ln(t/30 min)₊) + W'/t,

with s the share of effort and q the share of endurance that the ride may use (both 1 where
nothing is to be left). An even ride at the capacity C(T) is always allowed, at any duration, and
the more power varies the lower its mean has to be. C is the critical-power hyperbola with a loss
beyond half an hour (after Puchowicz, Baker and Clarke 2020, J. Sports Sci. 38:801). That strain
grows with about the fourth power is common practice, no source; p = 1 would allow a ride that
alternates the power limit with coasting.

The integral is at most the allowance G(T) = T (s C(T/q)/CP)^p. `effort_limit` gives the tangent of
G at one duration, which the pacing program can take: repeating plan and tangent is Newton's method
for the limit that the plan's own duration sets.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.errors import InputError
from optimizer.rider.power_duration import HALF_HOUR

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.rider.rider import Rider

__all__ = ["EffortLimit", "RunTarget", "allowance", "capacity", "capacity_of", "effort_limit",
           "share_for_run"]

_LEAST_SHARE: Final = 0.02  # of the endurance; less is no ride


@dataclass(frozen=True)
class RunTarget:
    """The run after the ride: the time hoped for, and the same distance with fresh legs [s]."""

    time: float
    fresh_time: float


@dataclass(frozen=True)
class EffortLimit:
    """∫ (P/CP)^exponent dt over the ride of duration T is at most per_second T + budget.

    Attributes
    ----------
    exponent : p
    per_second : s of the integral per s of the ride
    budget : s
    duration : s, where the line touches the rider's allowance; nan for a limit of its own
    by_critical_power, by_w_prime : change of the allowance at that duration per W and per J [s]
    """

    exponent: float
    per_second: float
    budget: float = 0.0
    duration: float = float("nan")
    by_critical_power: float = 0.0
    by_w_prime: float = 0.0

    def allowed(self, duration: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Most that the integral may come to for a ride of `duration` [s]."""
        return np.asarray(self.per_second * np.asarray(duration) + self.budget)

    def spent(self, ratio: NDArray[np.float64], time: NDArray[np.float64]) -> float:
        """∫ (P/CP)^p dt for `ratio` (n,) of power over CP, held for `time` (n,) [s]."""
        return float(ratio**self.exponent @ time)


def capacity_of(critical_power: NDArray[np.float64] | float,
                w_prime: NDArray[np.float64] | float, endurance_loss: NDArray[np.float64] | float,
                duration: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Power that can be held evenly, from CP, W' and L: C above.

    Parameters
    ----------
    critical_power : W
    w_prime : J
    endurance_loss : L, part of CP
    duration : s

    Returns
    -------
    W; arrays broadcast
    """
    lost = endurance_loss * np.log(np.maximum(duration, HALF_HOUR) / HALF_HOUR)
    return np.asarray(critical_power * np.maximum(1.0 - lost, 0.0)
                      + w_prime / np.asarray(duration))


def capacity(rider: Rider, duration: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Power that the rider can hold evenly for so long, and nothing after it.

    Parameters
    ----------
    rider : who rides
    duration : s

    Returns
    -------
    W
    """
    return capacity_of(rider.critical_power, rider.w_prime, rider.endurance_loss, duration)


def allowance(rider: Rider, duration: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Most that ∫ (P/CP)^p dt may come to on a ride: G above.

    Parameters
    ----------
    rider : who rides
    duration : s, of the ride

    Returns
    -------
    s
    """
    reach = np.asarray(duration) / rider.time_share
    rate = rider.effort_share * capacity(rider, reach) / rider.critical_power
    return np.asarray(duration * rate**rider.effort_exponent)


def effort_limit(rider: Rider, duration: float) -> EffortLimit:
    """Tangent of the rider's allowance at a ride of some duration.

    Parameters
    ----------
    rider : who rides
    duration : s, of the ride

    Returns
    -------
    the straight line above it, for every duration

    Raises
    ------
    InputError
        for a ride without duration
    """
    if not duration > 0.0:
        raise InputError("rider", "", "the ride has no duration", "give a time above zero")
    p, share, cp = rider.effort_exponent, rider.effort_share, rider.critical_power
    reach = duration / rider.time_share
    over = max(np.log(reach / HALF_HOUR), 0.0)
    holds = 1.0 - rider.endurance_loss * over > 0.0  # else only W' is left
    rate = share * float(capacity(rider, reach)) / cp
    slope = -share * (rider.endurance_loss * (holds and over > 0.0)
                      + rider.w_prime / (cp * reach)) / duration  # of the rate, per s
    gain = duration * p * rate ** (p - 1.0)  # of the allowance, by the rate
    per_second = rate**p + gain * slope
    return EffortLimit(
        exponent=p, per_second=float(per_second),
        budget=float(duration * (rate**p - per_second)), duration=duration,
        by_critical_power=float(-gain * share * rider.w_prime / (cp**2 * reach)),
        by_w_prime=float(gain * share / (cp * reach)))


def share_for_run(target: RunTarget, endurance_loss: float) -> float:
    """Part of the endurance that the ride may use so that the run comes out at its target.

    An assumption of ours, not a published law: endurance adds up like wear. A run or ride
    at a share x of critical power, which could be held for T(x), uses up its duration over
    T(x), and ride and run together use it up once. For both, x falls by `endurance_loss` per
    factor e of duration beyond half an hour; the run's x is that of a fresh run over its
    distance, scaled with the speed.

    Parameters
    ----------
    target : of the run
    endurance_loss : L, part of CP

    Returns
    -------
    part of the endurance, 0 to 1

    Raises
    ------
    InputError
        for a target that leaves nothing for the ride
    """
    if target.time <= target.fresh_time:
        raise InputError("rider", "long.run_target_min", "is not slower than with fresh legs",
                         "set a target slower than run_fresh_min")
    lost = endurance_loss * np.log(max(target.fresh_time, HALF_HOUR) / HALF_HOUR)
    intensity = (1.0 - lost) * target.fresh_time / target.time
    factors = max(1.0 - intensity, 0.0) / max(endurance_loss, 1e-3)
    longest = HALF_HOUR * np.exp(min(factors, 50.0))
    left = 1.0 - target.time / longest
    if left < _LEAST_SHARE:
        raise InputError("rider", "long.run_target_min", "leaves nothing for the ride",
                         "set a slower target for the run")
    return float(left)
