"""When a ride was ridden, when it stood still, and of which seconds the power is known.

A recorder that pauses leaves a gap. The speeds on its two sides say nothing of what happened
inside: riders slow down before they stop and the recorder starts again when they already roll.
The way across the gap does: at the speed of the minutes around it, braking to the stop and
getting going again, it takes so long, and the rest of the time was stood.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.ride.ride import Ride

__all__ = ["STANDING", "Spans", "longest_step", "running", "spans_of"]

STANDING = 1.0  # m/s; slower is standing
_GAP, _GAP_STEPS = 5.0, 2.5  # s, usual steps between samples; a longer step is a gap
_AROUND = 60.0  # s on either side of a gap whose speed is that of the ride inside it
_RODE = 0.5  # of that speed; a gap crossed faster was ridden throughout
_USUAL = 5.0  # m/s, where nothing was ridden around a gap
# m/s², of a rider who stops and sets off without haste; common practice, no source.
_BRAKES, _SETS_OFF = 1.5, 0.7


@dataclass(frozen=True)
class Spans:
    """What happened between each sample and the next.

    Attributes
    ----------
    riding : (n - 1,) s of the time between the samples; the rest of it was stood
    known : (n - 1,) s of `riding` in which power was recorded
    work : (n - 1,) J at the cranks in `known`
    """

    riding: NDArray[np.float64]
    known: NDArray[np.float64]
    work: NDArray[np.float64]


def longest_step(time: NDArray[np.float64]) -> float:
    """Seconds between samples beyond which nothing is known of what was in between."""
    step = np.diff(time)
    return max(_GAP, _GAP_STEPS * float(np.median(step))) if len(step) else _GAP


def spans_of(ride: Ride) -> Spans:
    """Tell riding from standing between the samples of a ride; no power inside gaps."""
    step, way = np.diff(ride.time), np.diff(ride.distance)
    mean = 0.5 * (ride.speed[1:] + ride.speed[:-1])
    gap = step > longest_step(ride.time)
    riding = np.where(mean >= STANDING, step, 0.0)
    for k in np.flatnonzero(gap):
        usual, ends = _usual_speed(ride, int(k)), ride.speed[k:k + 2]
        rode = ends.min() >= STANDING and way[k] >= _RODE * usual * step[k]
        riding[k] = step[k] if rode else min(_with_a_stop(way[k], usual, *ends), step[k])
    power = 0.5 * (ride.power[1:] + ride.power[:-1])
    known = np.where(~gap & np.isfinite(power), riding, 0.0)
    return Spans(riding, known, np.nan_to_num(power) * known)


def _with_a_stop(way: float, usual: float, before: float, after: float) -> float:
    """Seconds of riding over `way` [m] with a stop on it, at three speeds [m/s]."""
    time = before / _BRAKES + after / _SETS_OFF
    needed = 0.5 * (before**2 / _BRAKES + after**2 / _SETS_OFF)
    if needed >= way:  # harder on the brakes and the pedals: as much shorter as the way is
        return time * way / max(needed, 1e-9)
    return time + (way - needed) / usual


def _usual_speed(ride: Ride, k: int) -> float:
    """Median speed of the riding within a minute of the gap after sample `k`."""
    before = slice(*np.searchsorted(ride.time, [ride.time[k] - _AROUND, ride.time[k] + 1e-9]))
    after = slice(*np.searchsorted(ride.time, [ride.time[k + 1], ride.time[k + 1] + _AROUND]))
    speed = np.concatenate([ride.speed[before], ride.speed[after]])
    moving = speed[speed >= 2.0 * STANDING]
    return float(np.median(moving)) if len(moving) else _USUAL


def running(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) sum from the first sample of (n - 1,) amounts between the samples."""
    return np.concatenate([[0.0], np.cumsum(values)])
