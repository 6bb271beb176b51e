"""What the wind may be on the day, as draws about the forecast."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions.conditions import Conditions

__all__ = ["WindDraws", "draw_conditions", "draw_wind", "spread_wind"]


@dataclass(frozen=True)
class WindDraws:
    """How the wind of each draw differs from the forecast, the same along the whole ride.

    `speed_factor` (k,) of mean 1; `turn` (k,) rad clockwise.
    """

    speed_factor: NDArray[np.float64]
    turn: NDArray[np.float64]


def draw_wind(conditions: Conditions, rng: np.random.Generator, count: int) -> WindDraws:
    """Draw `count` winds: a log-normal factor on speed, so none is negative, and a normal turn."""
    width = np.sqrt(np.log1p(conditions.speed_sd**2))
    return WindDraws(np.exp(width * rng.standard_normal(count) - 0.5 * width**2),
                     conditions.direction_sd * rng.standard_normal(count))


def spread_wind(headwind: NDArray[np.float64], crosswind: NDArray[np.float64],
                draws: WindDraws) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Head wind and cross wind (k, n) of every draw from those of the forecast (n,).

    Both are linear in the wind, so turning and scaling it does the same to their pair;
    no road has to be laid again.
    """
    along = (draws.speed_factor * np.cos(draws.turn))[:, None]
    across = (draws.speed_factor * np.sin(draws.turn))[:, None]
    return along * headwind + across * crosswind, along * crosswind - across * headwind


def draw_conditions(conditions: Conditions, rng: np.random.Generator,
                    count: int) -> tuple[Conditions, ...]:
    """`count` weathers of the day, each the forecast with its wind scaled and turned."""
    draws = draw_wind(conditions, rng, count)
    return tuple(
        replace(conditions,
                wind_east=f * (np.cos(a) * conditions.wind_east
                               + np.sin(a) * conditions.wind_north),
                wind_north=f * (np.cos(a) * conditions.wind_north
                                - np.sin(a) * conditions.wind_east),
                gust=f * conditions.gust)
        for f, a in zip(draws.speed_factor, draws.turn, strict=True))
