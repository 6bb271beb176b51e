"""The effort budget of a long ride: what can be held for hours, and what to leave for a run."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.errors import InputError
from optimizer.rider.power_duration import HALF_HOUR

if TYPE_CHECKING:
    from optimizer.rider.rider import Rider

__all__ = ["HINTS", "Hint", "RunTarget", "cap_effort", "capacity", "hint_for", "share_for_run"]

_LONG_EXPONENT: Final = 4.0
_LEAST_SHARE: Final = 0.02  # of the endurance; less is no ride


@dataclass(frozen=True)
class Hint:
    """A habit among riders, no source: `low` to `high` of CP for rides from `shortest` seconds."""

    what: str
    shortest: float
    low: float
    high: float


HINTS: Final = (
    Hint("a ride of up to an hour with a run after it", 0.0, 0.90, 0.98),
    Hint("a ride of one to two hours with a run after it", 3600.0, 0.83, 0.92),
    Hint("a ride of two to four hours with a run after it", 7200.0, 0.75, 0.85),
    Hint("a ride of more than four hours with a run after it", 14400.0, 0.65, 0.77),
)
"""Fourth-power mean of the power over CP. Common practice, no source."""


@dataclass(frozen=True)
class RunTarget:
    """The run after the ride: the time hoped for, and the same distance with fresh legs [s]."""

    time: float
    fresh_time: float


def hint_for(duration: float) -> Hint:
    """Habit for a ride of `duration` [s] with a run after it."""
    return [hint for hint in HINTS if duration >= hint.shortest][-1]


def capacity(rider: Rider, duration: float) -> float:
    """Mean power [W] that the rider can hold for `duration` [s] and nothing after it.

    CP (1 - L ln(t / 30 min)) + W'/t, the loss beyond half an hour only (after Puchowicz, Baker
    and Clarke 2020).
    """
    lost = rider.endurance_loss * np.log(max(duration, HALF_HOUR) / HALF_HOUR)
    return float(rider.critical_power * max(1.0 - lost, 0.0) + rider.w_prime / duration)


def cap_effort(rider: Rider, duration: float) -> Rider:
    """Return the rider with the effort limit that a ride of `duration` [s] asks for.

    The p-power mean of P/CP may be `effort_share` times what could be held for `duration /
    time_share`. Up to half an hour of that the mean itself is limited (p = 1), which the
    reserve does anyway, so that nothing changes there; from one hour on p = 4, in between p
    grows in proportion. The fourth power is how strain over hours is commonly taken to grow
    with power; common practice, no source.
    """
    if duration <= 0.0:
        raise InputError("rider", "", "the ride has no duration", "give a time above zero")
    reach = duration / rider.time_share
    if reach <= HALF_HOUR and rider.effort_share >= 1.0:
        return replace(rider, effort_rate=np.inf)
    exponent = 1.0 + (_LONG_EXPONENT - 1.0) * min(max(reach / HALF_HOUR - 1.0, 0.0), 1.0)
    rate = rider.effort_share * capacity(rider, reach) / rider.critical_power
    return replace(rider, effort_exponent=exponent, effort_rate=float(rate))


def share_for_run(target: RunTarget, endurance_loss: float) -> float:
    """Part of the endurance that the ride may use so that the run comes out at its target.

    An assumption of ours, not a published law: endurance adds up like wear. A run or ride
    at a share x of critical power, which could be held for T(x), uses up its duration over
    T(x), and ride and run together use it up once. For both, x falls by `endurance_loss` per
    factor e of duration beyond half an hour; the run's x is that of a fresh run over its
    distance, scaled with the speed.

    Raises InputError for a target that leaves nothing for the ride.
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
