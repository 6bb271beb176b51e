"""Corners: where the road turns, and how fast it can be ridden."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from optimizer import defaults
from optimizer.course.course import Corner
from optimizer.course.geodesy import step_lengths
from optimizer.course.smoothing import runs_of
from optimizer.defaults import GRAVITY

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course.features import Limit
    from optimizer.course.profile import Line

__all__ = ["LIKELY_U_TURN", "Handling", "braking_envelope", "find_corners", "set_limits"]

_BESIDE = 13.0  # m, up to which a road that comes back beside itself is one road, turned on
LIKELY_U_TURN = 5.0
"""Radius [m] from which a U-turn may as well be a tight hairpin; it is ridden as a U-turn."""
_WIDE = 150.0  # m; a radius beyond this limits no rider
_FASTEST = 25.0  # m/s; a corner that allows more limits no rider either
_LEAST_TURN = np.radians(20.0)
_HARDLY = 500.0  # m; a radius beyond this is none
_WINDOW, _LONGEST_WINDOW = 15.0, 50.0  # m over which the sharpest part of a corner is measured
_NEAR = 40.0  # m within which a limit given by the rider speaks of a corner
_PITCH_OVER = 0.5  # of g


@dataclass(frozen=True)
class Handling:
    """How the rider takes corners and descents.

    Attributes
    ----------
    skill : share of the tyres' grip that is used in a corner: 0.4 careful, 0.6 practised,
        0.75 bold (common practice, no source)
    wet : whether the road is wet
    friction_dry, friction_wet : coefficient between tyre and road (common practice, no source;
        riders slip out at about 1 on good dry pavement)
    braking : comfortable deceleration on the flat in the dry [m/s²]; in the wet it falls with
        the friction (common practice, no source)
    u_turn_speed : m/s, where the road doubles back on itself
    descent_cap : m/s, the highest speed ever wanted
    lane : m of width that a line through a corner can use (common practice, no source: one lane
        of a country road)
    """

    skill: float = defaults.GRIP_USED.si
    wet: bool = False
    friction_dry: float = 0.8
    friction_wet: float = 0.5
    braking: float = defaults.BRAKING.si
    u_turn_speed: float = defaults.U_TURN_SPEED.si
    descent_cap: float = float("inf")
    lane: float = 3.0

    @property
    def lateral(self) -> float:
        """Acceleration across the road that the rider accepts [m/s²]."""
        return self.skill * self._friction * GRAVITY

    @property
    def deceleration(self) -> float:
        """Braking on the flat [m/s²].

        Never above half of g, where a rider on the bars goes over them (Riel 2005, for a
        centre of mass 1.2 m high and 0.6 m behind the front wheel).
        """
        share = self._friction / self.friction_dry
        return min(self.braking * share, _PITCH_OVER * GRAVITY)

    @property
    def _friction(self) -> float:
        return self.friction_wet if self.wet else self.friction_dry


def find_corners(line: Line, handling: Handling) -> tuple[Corner, ...]:
    """Corners of a line: turns of more than 20 degrees, tighter than 150 m, beyond its noise.

    Parameters
    ----------
    line : smoothed
    handling : how the rider takes corners

    Returns
    -------
    corners with radius [m] and speed [m/s]
    """
    step = float(line.distance[1] - line.distance[0])
    turn = _turns(line.heading)
    corners = [_u_turn(line, a, apart, handling) for a, apart in _doubling_back(line, turn)]
    taken = [corner.distance for corner in corners]
    for first, last in _regions(turn, step):
        at = line.distance[first + 1:last + 1]
        if any(at[0] - 30.0 < place < at[-1] + 30.0 for place in taken):
            continue
        corner = _corner(line.distance, turn, first, last, handling)
        clear = abs(corner.turn) > max(_LEAST_TURN, 3.0 * np.sqrt(2.0) * line.heading_sd)
        if clear and corner.speed < _FASTEST:
            corners.append(corner)
    return tuple(sorted(corners, key=lambda corner: corner.distance))


def _turns(heading: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n - 1,) change of direction at each inner node, right positive [rad]."""
    return np.asarray((np.diff(heading) + np.pi) % (2 * np.pi) - np.pi)


def _regions(turn: NDArray[np.float64], step: float) -> list[tuple[int, int]]:
    """First and last (excluded) index of each run that turns one way.

    A run is a corner where it is somewhere tighter than 150 m; it lasts while it turns the
    same way at all, so that noise does not break it in pieces.
    """
    curvature = _window_mean(turn, step, _WINDOW) / step
    sign = np.sign(curvature) * (np.abs(curvature) > 1.0 / _HARDLY)
    edges = np.flatnonzero(np.diff(np.concatenate([[0.0], sign, [0.0]])))
    runs: list[tuple[int, int]] = []
    for a, b in pairwise(edges):
        if sign[a] == 0.0 or np.abs(curvature[a:b]).max() < 1.0 / _WIDE:
            continue
        if runs and sign[runs[-1][0]] == sign[a] and (a - runs[-1][1]) * step <= _WINDOW:
            runs[-1] = (runs[-1][0], int(b))
        else:
            runs.append((int(a), int(b)))
    return runs


def _window_mean(values: NDArray[np.float64], step: float, length: float) -> NDArray[np.float64]:
    width = min(max(round(length / step), 1), len(values))
    return np.convolve(values, np.ones(width) / width, mode="same")


def _line_radius(angle: float, lane: float) -> float:
    """Radius of the line from outside to inside to outside of a lane through a sharp corner.

    Plane geometry: with the inner edge rounded at one lane's width r, the widest arc that
    touches both outer edges and the apex has R = r + lane / (1 - cos(θ/2)).
    """
    half = min(abs(angle), np.pi) / 2
    return float(lane + lane / max(1.0 - np.cos(half), 1e-6))


def _corner(distance: NDArray[np.float64], turn: NDArray[np.float64], first: int, last: int,
            handling: Handling) -> Corner:
    angle = float(turn[first:last].sum())
    step = float(distance[1] - distance[0])
    # A long corner is measured over a longer part, where noise matters less.
    part = float(np.clip((last - first) * step / 2.5, _WINDOW, _LONGEST_WINDOW))
    curvature = np.abs(_window_mean(turn, step, part)[first:last]) / step
    sharpest = int(np.argmax(curvature))
    radius = max(1.0 / max(float(curvature[sharpest]), 1e-9), _line_radius(angle, handling.lane))
    return Corner("", float(distance[first + 1 + sharpest]), radius, angle,
                  float(np.sqrt(handling.lateral * radius)), u_turn=False)


def _doubling_back(line: Line, turn: NDArray[np.float64]) -> list[tuple[int, float]]:
    """Inner nodes about which the line comes back beside itself: 20 m before and after.

    Those two places lie within 13 m of each other, which is given with the node, and the
    direction has turned by more than 150 degrees: the whole width of a road, with its tracks on
    both edges. Most hairpins of a road keep their legs further apart.
    """
    step = float(line.distance[1] - line.distance[0])
    reach = max(round(20.0 / step), 1)
    n = len(line.distance)
    if n <= 2 * reach + 1:
        return []
    before, after = np.arange(n - 2 * reach), np.arange(2 * reach, n)
    pairs = np.stack([before, after], axis=1).ravel()
    apart = step_lengths(line.latitude[pairs], line.longitude[pairs])[::2]
    heading = line.heading
    turned = np.abs((heading[after - 1] - heading[before] + np.pi) % (2 * np.pi) - np.pi)
    back = (apart < _BESIDE) & (turned > np.radians(150.0))
    found = []
    for a, b in runs_of(back):
        nearest = a + int(np.argmin(apart[a:b]))
        middle = nearest + reach
        near = slice(max(middle - 3, 0), min(middle + 2, len(turn)))
        found.append((near.start + int(np.argmax(np.abs(turn[near]))), float(apart[nearest])))
    return found


def _u_turn(line: Line, at: int, apart: float, handling: Handling) -> Corner:
    radius = _line_radius(np.pi, handling.lane) / 2
    speed = min(handling.u_turn_speed, float(np.sqrt(handling.lateral * radius)))
    if apart >= 2.0 * LIKELY_U_TURN:
        radius = apart / 2
    return Corner("", float(line.distance[at + 1]), radius, np.pi, speed, u_turn=True)


def set_limits(corners: tuple[Corner, ...], limits: tuple[Limit, ...], length: float,
               ) -> tuple[Corner, ...]:
    """Put the rider's own limits in the place of what the nearest corner would allow.

    Parameters
    ----------
    corners : as found
    limits : stated
    length : m, of the course

    Returns
    -------
    corners in order
    """
    result = list(corners)
    for limit in limits:
        if limit.distance is None or not 0.0 <= limit.distance <= length:
            continue
        away = [abs(corner.distance - limit.distance) for corner in result]
        if away and min(away) < _NEAR:
            k = int(np.argmin(away))
            result[k] = replace(result[k], name=limit.name, speed=limit.speed)
        else:
            result.append(Corner(limit.name, limit.distance, float("inf"), 0.0, limit.speed))
    return tuple(sorted(result, key=lambda corner: corner.distance))


def corner_limit(distance: NDArray[np.float64], corners: tuple[Corner, ...],
                 ) -> NDArray[np.float64]:
    """(n + 1,) speed limit from corners alone [m/s], held over the arc of each."""
    limit = np.full(len(distance), np.inf)
    for corner in corners:
        arc = corner.radius * abs(corner.turn) if np.isfinite(corner.radius) else 0.0
        half = 0.5 * min(max(arc, 0.0), 60.0)
        inside = np.abs(distance - corner.distance) <= half
        inside[int(np.argmin(np.abs(distance - corner.distance)))] = True
        limit[inside] = np.minimum(limit[inside], corner.speed)
    return limit


def braking_envelope(limit: NDArray[np.float64], distance: NDArray[np.float64],
                     elevation: NDArray[np.float64], deceleration: float) -> NDArray[np.float64]:
    """Lower speed limits so that each later one can be braked for.

    The deceleration on a slope s is a(s) = a(0) + s g (Riel 2005, "Maximal braking on a
    standard bicycle"), so v² ≤ V_j² + 2 Σ a Δs for every later node j; a tenth of a(0) is
    left on the steepest descents.

    Parameters
    ----------
    limit : (n + 1,) m/s
    distance, elevation : (n + 1,) m
    deceleration : m/s², on the flat

    Returns
    -------
    (n + 1,) m/s
    """
    step = np.diff(distance)
    work = np.maximum(deceleration * step + GRAVITY * np.diff(elevation),
                      0.1 * deceleration * step)
    budget = np.concatenate([[0.0], np.cumsum(2.0 * work)])
    reach = np.where(np.isfinite(limit), limit, 1e6) ** 2 + budget
    least = np.minimum.accumulate(reach[::-1])[::-1] - budget
    return np.where(least >= 1e6, np.inf, np.minimum(limit, np.sqrt(np.maximum(least, 0.0))))
