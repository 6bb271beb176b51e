"""What hedges, houses and woods leave of the wind on the road, by where the wind comes from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.course.geodesy import move

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course.terrain import HeightModel

__all__ = ["KINDS", "SECTORS", "Obstacle", "obstacle_sectors", "surface_sectors", "wind_left"]

SECTORS = 24  # directions that the wind may come from, evenly from north clockwise

# Height [m], distance from the middle of the road [m] and porosity of what stands beside roads;
# common practice, no source. Houses leave gaps.
KINDS = {"hedge": (2.0, 5.0, 0.4), "houses": (7.0, 10.0, 0.3), "wood": (15.0, 8.0, 0.3)}

_LEAST_HEIGHT = 1.5  # m; lower things do not shelter a rider
_GROWN, _REACH = 0.35, 35.0  # porosity of what a surface model shows; heights that it shelters
_EVERY = 20.0  # m along the road
_RAY = np.concatenate([np.arange(5.0, 50.0, 2.5), np.arange(50.0, 100.0, 5.0),
                       np.arange(100.0, 301.0, 10.0)])  # m upwind
_ALMOST_ALONG = np.sin(np.radians(8.0))  # a wind along a hedge meets its end some time


@dataclass(frozen=True)
class Obstacle:
    """Something that stands beside the road from `start` to `end` [m along].

    `side`: -1 left, 1 right, 0 both; `height` and `distance` from the middle of the road [m];
    `porosity`: share of it that the wind sees through, 0 to 0.9.
    """

    start: float
    end: float
    side: int
    height: float
    distance: float
    porosity: float


def wind_left(away: NDArray[np.float64] | float,
              porosity: float) -> NDArray[np.float64]:
    """Share of the open wind near the ground that a row leaves.

    f = 1 - exp(-a x²) + b exp(-0.003 (x + c)^d), with a = 0.008 - 0.17 θ + 0.17 θ^1.05,
    b = 1.35 exp(-0.5 θ^0.2), c = 10 (1 - 0.5 θ), d = 3 - θ for a porosity θ: Vigiak, Sterk,
    Warren and Hagen 2003, Catena 52:273 (coefficients from memory). It was fitted to windbreaks
    that are long, across the wind and on level ground, in windy weather, for heights well below
    theirs; behind single houses and in gusts less is left to rely on.

    Parameters
    ----------
    away : heights behind the row (in front: negative)
    porosity : θ, 0 to 1

    Returns
    -------
    share of the wind speed
    """
    x = np.asarray(away, dtype=float)
    a = 0.008 - 0.17 * porosity + 0.17 * porosity**1.05
    b = 1.35 * np.exp(-0.5 * porosity**0.2)
    c, d = 10.0 * (1.0 - 0.5 * porosity), 3.0 - porosity
    behind = b * np.exp(-0.003 * np.maximum(x + c, 0.0) ** d)
    return np.asarray(np.clip(1.0 - np.exp(-a * x**2) + behind, 0.0, 1.0))


def _from() -> NDArray[np.float64]:
    """Directions that the wind comes from (s,) [rad clockwise from north]."""
    return np.arange(SECTORS) * 2.0 * np.pi / SECTORS


def obstacle_sectors(obstacles: tuple[Obstacle, ...], distance: NDArray[np.float64],
                     heading: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Share of the open wind that rows along the road leave.

    A wind that crosses the road at an angle has travelled the distance of the row over the sine of
    that angle from it. Of several the strongest shelter counts.

    Parameters
    ----------
    obstacles : rows along the road
    distance : (n + 1,) m
    heading : (n,) rad clockwise from north

    Returns
    -------
    (n, s) share by step and direction, None without obstacles
    """
    if not obstacles:
        return None
    middle = 0.5 * (distance[:-1] + distance[1:])
    left = np.ones((len(middle), SECTORS))
    across = np.sin(_from()[None, :] - heading[:, None])  # positive: the wind is from the right
    for obstacle in obstacles:
        here = (middle >= obstacle.start) & (middle <= obstacle.end)
        for side in (-1, 1) if obstacle.side == 0 else (obstacle.side,):
            sine = side * across[here]
            sine = np.where(sine < 0, -1.0, 1.0) * np.maximum(np.abs(sine), _ALMOST_ALONG)
            away = obstacle.distance / sine / obstacle.height
            left[here] = np.minimum(left[here], wind_left(away, obstacle.porosity))
    return left


def surface_sectors(distance: NDArray[np.float64], latitude: NDArray[np.float64],
                    longitude: NDArray[np.float64], ground: HeightModel,
                    surface: HeightModel) -> NDArray[np.float64]:
    """Share of the open wind that what stands above the ground upwind leaves.

    The height of a surface model over the terrain model is looked at along a ray into the wind,
    300 m far; each place on it shelters as a row of that height does, the strongest counts.

    Parameters
    ----------
    distance : (n + 1,) m
    latitude, longitude : (n + 1,) degrees
    ground : terrain model
    surface : model of what stands on it

    Returns
    -------
    (n, s) share by step and direction
    """
    at = np.arange(0.5 * min(_EVERY, distance[-1]), distance[-1], _EVERY)
    where = [np.interp(at, distance, axis) for axis in (latitude, longitude)]
    left = np.ones((len(at), SECTORS))
    for k, angle in enumerate(_from()):
        shape = (len(at), len(_RAY))
        lat, lon = (np.repeat(axis, len(_RAY)) for axis in where)
        along = np.tile(_RAY, len(at))
        place = move(lat, lon, np.sin(angle) * along, np.cos(angle) * along)
        above = (surface.at(*place) - ground.at(*place)).reshape(shape)
        height = np.where(np.isfinite(above), above, 0.0)
        away = _RAY / np.maximum(height, _LEAST_HEIGHT)
        share = np.where((height >= _LEAST_HEIGHT) & (away < _REACH),
                         wind_left(away, _GROWN), 1.0)
        left[:, k] = share.min(axis=1)
    middle = 0.5 * (distance[:-1] + distance[1:])
    nearest = np.clip(np.round((middle - at[0]) / _EVERY).astype(np.int64), 0, len(at) - 1)
    return np.asarray(left[nearest])
