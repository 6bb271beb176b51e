"""Stretches of a ride that say nothing about its drag: stops, brakes, gaps, riding in a draft."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.physics import GRAVITY

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.physics import Setup
    from optimizer.ride.ride import Ride
    from optimizer.ride.segments import Segments

__all__ = ["BRAKING", "DRAFT", "MISSING", "ODD", "STOPPED", "LeftOut", "braking_samples",
           "draft_of_others", "left_out_of", "plainly_bad"]

STOPPED = "stopped or at walking pace"
BRAKING = "braking"
MISSING = "power or samples missing"
ODD = "an energy balance that nothing explains: brakes, a push, a dropout"
DRAFT = "less drag than elsewhere: in the lee of riders or a vehicle?"

_WALKING = 2.0  # m/s
_MOST_DRAG_AREA, _MOST_CRR = 0.6, 0.015  # beyond what a rider has without brakes
_WINDOWS = (60.0, 120.0, 240.0, 480.0)  # s
_DRAFT_SCORE, _DRAFT_SHARE = -4.5, -0.15  # standard errors, part of CdA


@dataclass(frozen=True)
class LeftOut:
    """A stretch of ride number `ride` from `start` to `end` [m], `seconds` long, and why."""

    ride: int
    start: float
    end: float
    seconds: float
    reason: str


def plainly_bad(rides: Sequence[Ride], setup: Setup, mass: float,
                segments: Segments) -> dict[str, NDArray[np.bool_]]:
    """(s,) segments to leave out before any fit, by reason."""
    stopped = np.concatenate([ride.speed < _WALKING for ride in rides])
    braking = np.concatenate([braking_samples(ride, setup, mass) for ride in rides])
    return {MISSING: ~segments.complete, STOPPED: _touched(segments, stopped),
            BRAKING: _touched(segments, braking)}


def _touched(segments: Segments, marked: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Segments that hold a marked sample, or share the five-second mean at a node with one."""
    wide = np.convolve(marked, np.ones(5), mode="same") > 0.0
    number = segments.samples.segment[wide]
    out = np.zeros(len(segments), dtype=bool)
    out[number[number >= 0]] = True
    return out


def braking_samples(ride: Ride, setup: Setup, mass: float) -> NDArray[np.bool_]:
    """(n,) samples at which the rider brakes.

    While coasting, a loss that twice the drag of an upright rider on rough asphalt does not
    explain.
    """
    n, reach = len(ride.time), np.arange(len(ride.time))
    ahead, behind = np.minimum(reach + 2, n - 1), np.maximum(reach - 2, 0)
    gain = (ride.speed[ahead] - ride.speed[behind]) / (ride.time[ahead] - ride.time[behind])
    far, near = np.minimum(reach + 4, n - 1), np.maximum(reach - 4, 0)
    way = np.maximum(ride.distance[far] - ride.distance[near], 5.0)
    grade = np.clip(np.nan_to_num((ride.elevation[far] - ride.elevation[near]) / way), -0.2, 0.2)
    speed = np.maximum(ride.speed, 1.0)
    power = np.nan_to_num(ride.power)
    lost = setup.drivetrain_efficiency * power / speed - mass * (gain + GRAVITY * grade)
    most = 2.0 * (0.6 * _MOST_DRAG_AREA * speed**2 + mass * GRAVITY * _MOST_CRR)
    if not ride.has_elevation:
        most = most + 0.08 * mass * GRAVITY
    coasting = power < 0.5 * max(float(np.mean(power)), 60.0)
    return np.asarray((lost > most) & coasting & (gain < -0.3))


def draft_of_others(energy: NDArray[np.float64], weighted: NDArray[np.float64],
                    precision: NDArray[np.float64], clock: NDArray[np.float64],
                    ride: NDArray[np.int64]) -> tuple[slice | None, float]:
    """Find the run of segments whose drag is lower by most standard errors, if it counts.

    Parameters
    ----------
    energy : (r,) what the air took at the fitted CdA [m of height]
    weighted, precision : (r,), (r, r) of the fit, for the rows of the segments
    clock, ride : (r,) s, number of the ride

    Returns the run, or None, and its drag against the whole.
    """
    total = np.concatenate([[0.0], np.cumsum(energy * weighted)])
    square = np.zeros((len(energy) + 1, len(energy) + 1))
    square[1:, 1:] = np.cumsum(np.cumsum(np.outer(energy, energy) * precision, 0), 1)
    worst, found, share = _DRAFT_SCORE, None, 0.0
    for window in _WINDOWS:
        end = np.searchsorted(clock + 1e5 * ride, clock + 1e5 * ride + window)
        start = np.arange(len(clock))
        start, end = start[end - start >= 2], end[end - start >= 2]
        seen = square[end, end] - square[end, start] - square[start, end] + square[start, start]
        gain = total[end] - total[start]
        score = gain / np.sqrt(np.maximum(seen, 1e-12))
        effect = gain / np.maximum(seen, 1e-12)
        score = np.where(effect < _DRAFT_SHARE, score, 0.0)
        if len(score) and score.min() < worst:
            k = int(score.argmin())
            worst, found, share = float(score[k]), slice(int(start[k]), int(end[k])), float(
                effect[k])
    return found, share


def left_out_of(segments: Segments, reasons: dict[str, NDArray[np.bool_]]) -> tuple[LeftOut, ...]:
    """Join neighbouring segments that are left out for the same reason."""
    first = np.full(len(segments), "", dtype=object)
    for reason, marked in reasons.items():
        first = np.where(marked & (first == ""), reason, first)
    out: list[LeftOut] = []
    for k in np.flatnonzero(first != ""):
        node = segments.first[k]
        start, end = (float(segments.node_distance[node + i]) for i in (0, 1))
        ride, seconds = int(segments.ride[k]), float(segments.duration[k])
        last = out[-1] if out else None
        if last and (last.ride, last.reason) == (ride, first[k]) and abs(last.end - start) < 1.0:
            out[-1] = LeftOut(ride, last.start, end, last.seconds + seconds, last.reason)
        else:
            out.append(LeftOut(ride, start, end, seconds, str(first[k])))
    return tuple(out)
