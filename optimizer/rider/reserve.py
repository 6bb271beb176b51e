"""The reserve (W' balance): how it empties above critical power and refills below.

The published models differ, and none of them predicts exhaustion well for everybody (Welburn
2025 found current recovery equations to fail at it). Each is a named option:

"linear"
    dW/dt = CP - P below CP as above it, up to W'; the fastest refill.
"partial"
    dW/dt = r (CP - P) below CP with a fixed share r; a cautious middle, common practice.
"slowing"
    dW/dt = (CP - P) (W' - W)/W' below CP: refills slower the fuller it is (Skiba et al. 2015, see
    `recovery`).
"track"
    dW/dt = (W' - W)/τ with τ = 2287.2 (CP - P)^-0.688 s, fitted to elite track riders inside
    the model above: Bartram, Thewlis, Martin and Norton 2018, Int. J. Sports Physiol. Perform.
    13:724. It is no τ for "integral": at 100 W below CP the two are five times apart.
"integral"
    What was spent comes back as exp(-t/τ) from the moment it was spent, also while more is
    spent, with one τ = 546 exp(-0.01 D) + 316 s for the whole ride and D the mean of CP - P
    over the time below CP. Skiba, Chidnok, Vanhatalo and Jones 2012, Med. Sci. Sports Exerc.
    44:1526 (constants from memory).
"two-speed"
    Half of what was spent (50.67 %) comes back with τ = 21.5 s, the rest with 388 s: Chorley,
    Bott, Marwood and Lamb 2022, Eur. J. Appl. Physiol., measured in easy recovery after
    exhaustion; here in all riding below CP. Their second slow τ, after a second bout, was 716 s.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from optimizer.rider.recovery import LAWS

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["RECOVERY_MODELS", "RecoveryModel", "reserve_balance", "skiba_2012_time",
           "track_time"]

RecoveryModel = Literal["linear", "partial", "slowing", "track", "integral", "two-speed"]

RECOVERY_MODELS: Final[dict[RecoveryModel, str]] = {
    "linear": "all of CP - P refills",
    "partial": "a fixed share of CP - P refills",
    "slowing": "slower the fuller it is (Skiba et al. 2015)",
    "track": "as measured on elite track riders (Bartram et al. 2018)",
    "integral": "one time constant for the whole ride (Skiba et al. 2012)",
    "two-speed": "half fast, half slow (Chorley et al. 2022)",
}

_FAST_SHARE: Final = 0.5067  # Chorley et al. 2022
_FAST_TIME: Final = 21.5  # s, Chorley et al. 2022
_SLOW_TIME: Final = 388.0  # s, Chorley et al. 2022


def skiba_2012_time(below: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Time constant of "integral" (Skiba et al. 2012).

    Parameters
    ----------
    below : W below CP, mean of the recovery

    Returns
    -------
    s
    """
    return np.asarray(546.0 * np.exp(-0.01 * np.asarray(below)) + 316.0)


def track_time(below: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Time constant of "track".

    Parameters
    ----------
    below : W below CP

    Returns
    -------
    s; inf at CP
    """
    with np.errstate(divide="ignore"):
        return np.asarray(2287.2 * np.asarray(below, dtype=float) ** -0.688)


def reserve_balance(duration: NDArray[np.float64], power: NDArray[np.float64],
                    critical_power: NDArray[np.float64] | float, w_prime: float,
                    model: RecoveryModel = "slowing", share: float = 0.5) -> NDArray[np.float64]:
    """Reserve at the ends of stretches of constant power.

    The result goes below zero where the efforts ask for more than W'; it says so, it does not
    stop there. Each stretch is solved exactly.

    Parameters
    ----------
    duration, power : (n,) s, W
    critical_power : W, one number or (n,)
    w_prime : J, the reserve at the start and the most it can be
    model : how it refills
    share : r of "partial"

    Returns
    -------
    (n + 1,) J
    """
    above = power - critical_power
    if model == "integral":
        return w_prime - _integral(duration, above)
    if model == "two-speed":
        return w_prime - _two_speed(duration, above)
    if model == "track":
        return w_prime - _fading(duration, np.maximum(above, 0.0),
                                 track_time(np.maximum(-above, 0.0)))
    refills = np.full(len(duration), share if model == "partial" else 1.0)
    return LAWS[model].march(-above * duration, refills, w_prime)


def _integral(duration: NDArray[np.float64], above: NDArray[np.float64]) -> NDArray[np.float64]:
    below = above < 0.0
    rest = float(np.sum(duration[below]))
    mean = -float(np.sum(above[below] * duration[below])) / rest if rest > 0.0 else 0.0
    return _fading(duration, np.maximum(above, 0.0), np.full(len(duration),
                                                             float(skiba_2012_time(mean))))


def _two_speed(duration: NDArray[np.float64], above: NDArray[np.float64]) -> NDArray[np.float64]:
    """Two stores that empty side by side and refill below CP, each with its own time."""
    spending = np.maximum(above, 0.0)
    missing = np.zeros(len(duration) + 1)
    for part, time in ((_FAST_SHARE, _FAST_TIME), (1.0 - _FAST_SHARE, _SLOW_TIME)):
        missing += _fading(duration, part * spending,
                           np.where(above < 0.0, time, np.inf))
    return missing


def _fading(duration: NDArray[np.float64], rate: NDArray[np.float64],
            time: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n + 1,) of x with dx/dt = rate - x/time, exact in each stretch."""
    keep = np.exp(-duration / time)
    with np.errstate(invalid="ignore"):
        added = np.where(np.isinf(time), rate * duration, rate * time * (1.0 - keep))
    out = np.zeros(len(duration) + 1)
    for k in range(len(duration)):
        out[k + 1] = out[k] * keep[k] + added[k]
    return out
