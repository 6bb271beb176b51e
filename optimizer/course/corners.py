"""Corners: where the road turns, and how fast it can be ridden."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from optimizer.course.course import Corner

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Handling", "braking_envelope", "find_corners"]

_GRAVITY = 9.80665  # m/s²; course stands below physics and cannot ask it


@dataclass(frozen=True)
class Handling:
    """How the rider takes corners and descents.

    `skill` is the share of the tyres' grip used in a corner; `friction` the coefficient
    between tyre and road (about 0.8 dry and 0.5 wet: common practice, no source);
    `braking` a comfortable deceleration on the flat [m/s²]; `dead_turn_speed` [m/s] where
    the road doubles back; `descent_cap` the highest speed ever wanted [m/s].
    """

    skill: float = 0.6
    friction: float = 0.8
    braking: float = 3.0
    dead_turn_speed: float = 3.0
    descent_cap: float = float("inf")
    road_width: float = 3.0


def find_corners(distance: NDArray[np.float64], heading: NDArray[np.float64],
                 handling: Handling) -> tuple[Corner, ...]:
    """Corners sharper than 25 degrees within 60 m; heading (n,) of each step [rad]."""
    turn = np.diff(np.unwrap(heading))
    step = float(distance[1] - distance[0])
    tight = np.abs(turn) / step > 1 / 120
    sign = np.sign(turn) * tight
    edges = np.flatnonzero(np.diff(np.concatenate([[0], sign, [0]])))
    corners = []
    for first, last in pairwise(edges):
        if sign[first] == 0:
            continue
        angle = float(turn[first:last].sum())
        if abs(angle) < np.radians(25):
            continue
        corners.append(_corner(distance, int(first), int(last), turn, angle, handling))
    return tuple(corners)


def _corner(distance: NDArray[np.float64], first: int, last: int, turn: NDArray[np.float64],
            angle: float, handling: Handling) -> Corner:
    length = float(distance[last] - distance[first])
    half = min(abs(angle), np.pi) / 2
    line = handling.road_width * (1 + 1 / (1 - np.cos(half)))
    radius = max(length / abs(angle), line)
    apex = first + 1 + int(np.argmax(np.abs(turn[first:last])))
    dead = abs(angle) > np.radians(150) and length / abs(angle) < 8.0
    speed = np.sqrt(handling.friction * handling.skill * _GRAVITY * radius)
    return Corner("", float(distance[apex]), radius, angle,
                  float(min(speed, handling.dead_turn_speed) if dead else speed), dead)


def braking_envelope(limit: NDArray[np.float64], distance: NDArray[np.float64],
                     elevation: NDArray[np.float64], braking: float) -> NDArray[np.float64]:
    """Lower `limit` (n + 1,) [m/s] so that each later one can be braked for.

    The deceleration on a slope s is a(s) = a(0) + s g (Riel 2005, "Maximal braking on a
    standard bicycle"), so v² ≤ V_j² + 2 Σ a Δs for every later node j.
    """
    drop = np.maximum(braking * np.diff(distance) + _GRAVITY * np.diff(elevation),
                      0.1 * braking * np.diff(distance))
    budget = np.concatenate([[0.0], np.cumsum(2 * drop)])
    reach = np.minimum(limit, 1e4) ** 2 + budget
    least = np.minimum.accumulate(reach[::-1])[::-1] - budget
    return np.where(least >= limit**2, limit, np.sqrt(np.maximum(least, 0.0)))
