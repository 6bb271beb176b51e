"""Where a ride is fast and where it brakes hard, by kilometre: what a rider looks at beforehand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.course.smoothing import runs_of

if TYPE_CHECKING:
    from optimizer.job import Result

__all__ = ["Braking", "FastStretch", "capped", "fast_stretches", "hard_braking"]

_FAST = 70.0 / 3.6  # m/s, from which places are named (a judgement)
_ONE = 300.0  # m, closer than which two fast stretches are told as one
_FROM = 50.0 / 3.6  # m/s, from which braking is hard
_LOST = 20.0 / 3.6  # m/s, that hard braking takes off
_AT_LIMIT = 1e-4  # of the speed, closer than which a ride is at the limit of the road
_MOST = 3  # places named of a kind


@dataclass(frozen=True)
class Braking:
    """From where to where brakes are on [m], and the speeds there [m/s]."""

    start: float
    end: float
    before: float
    after: float


@dataclass(frozen=True)
class FastStretch:
    """From where to where a ride is fast [m], its top speed [m/s], the braking at its end."""

    start: float
    end: float
    top: float
    braking: Braking | None


def capped(result: Result) -> bool:
    """Tell whether the rider states a speed that is nowhere passed."""
    return bool(np.isfinite(result.job.course.speed_limit).all())


def hard_braking(result: Result) -> list[Braking]:
    """Find where the card's ride loses most speed to the brakes, in the order of the road."""
    found = [one for one in _brakings(result)
             if one.before >= _FROM and one.before - one.after >= _LOST]
    found.sort(key=lambda one: one.after - one.before)
    return sorted(found[:_MOST], key=lambda one: one.start)


def fast_stretches(result: Result) -> list[FastStretch]:
    """Find the fastest stretches of the card's ride, in the order of the road."""
    at, speed = result.plan.distance, result.rideable.speed
    found: list[tuple[float, float, float]] = []
    for first, last in runs_of(speed >= _FAST):
        top = float(speed[first:last].max())
        start, end = float(at[first]), float(at[last - 1])
        if found and start - found[-1][1] < _ONE:
            start, top = found[-1][0], max(found[-1][2], top)
            found.pop()
        found.append((start, end, top))
    found.sort(key=lambda one: -one[2])
    brakes = _brakings(result)
    return [FastStretch(start, end, top, next(
        (one for one in brakes if one.start - _ONE <= end <= one.end
         and one.before - one.after >= _LOST), None))
        for start, end, top in sorted(found[:_MOST])]


def _brakings(result: Result) -> list[Braking]:
    """Stretches on which the road's limit takes speed off the ride."""
    at, speed = result.plan.distance, result.rideable.speed
    limit = result.plan.problem.speed_limit[1:]
    held = (speed[1:] >= limit * (1.0 - _AT_LIMIT)) & (np.diff(speed) < 0.0)
    return [Braking(float(at[a]), float(at[b]), float(speed[a]), float(speed[b]))
            for a, b in runs_of(held)]
