"""What the wind may be on the day, as draws: the forecast's members, or a guessed spread."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions.conditions import Conditions
    from optimizer.conditions.members import AirDepartures

__all__ = ["WindDraws", "draw_wind", "spread_density", "spread_wind"]

_WIDEST = 3.0  # times; two or three members leave the spread so open that no wind is too strong


@dataclass(frozen=True)
class WindDraws:
    """How the wind of each draw differs from the forecast.

    `speed_factor` (k,) of mean 1 and `turn` (k,) rad clockwise, the same along the whole ride;
    `weights` (k, m) of the departures of an ensemble's members, None for a single forecast. Where
    the departures are at hand they are used, by time and place, and the other two are not.
    """

    speed_factor: NDArray[np.float64]
    turn: NDArray[np.float64]
    weights: NDArray[np.float64] | None = None


def draw_wind(conditions: Conditions, rng: np.random.Generator, count: int) -> WindDraws:
    """Draw winds.

    Of a single forecast: a log-normal factor on speed, so none is negative, and a normal turn. Of
    an ensemble: its members, each as often as any other.

    Parameters
    ----------
    conditions : weather of the race
    rng : of the draws
    count : k

    Returns
    -------
    factor and turn [rad] of each, or weights of the members
    """
    width = np.sqrt(np.log1p(conditions.speed_sd**2))
    factor = np.exp(width * rng.standard_normal(count) - 0.5 * width**2)
    turn = conditions.direction_sd * rng.standard_normal(count)
    if conditions.members is None:
        return WindDraws(factor, turn)
    return WindDraws(factor, turn, _weights(rng, conditions.members.count, count))


def _weights(rng: np.random.Generator, members: int, count: int) -> NDArray[np.float64]:
    """(count, members) weights of departures, a member a row.

    m members are a sample: the range between the second-least and second-largest of twenty does
    not hold nine in ten of the days. So each draw is a member about a mean that is known to
    s/√m, with a spread that m - 1 differences show: for normal members that is the predictive
    distribution of one more, Student's t with m - 1 degrees of freedom and scale s √(1 + 1/m)
    (Gelman et al. 2013, Bayesian Data Analysis, 3rd ed., section 3.2). With fifty members it
    moves the edge of the range by 3 %.
    """
    rounds = -(-count // members)
    picked = np.concatenate([rng.permutation(members) for _ in range(rounds)])[:count]
    mean_error = rng.standard_normal((count, members)) / members
    # Departures are about the sample's own mean, so their mean square is (m - 1)/m of s².
    scale = np.minimum(np.sqrt(members / rng.chisquare(members - 1, count)), _WIDEST)
    return np.asarray(scale[:, None] * (np.eye(members)[picked] + mean_error))


def spread_wind(headwind: NDArray[np.float64], crosswind: NDArray[np.float64],
                draws: WindDraws, departures: AirDepartures | None = None,
                ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Head wind and cross wind of every draw.

    Both are linear in the wind, so turning and scaling it does the same to their pair; no road
    has to be laid again.

    Parameters
    ----------
    headwind, crosswind : (n,) m/s, of the forecast
    draws : of the weather, k
    departures : of the same steps, as a `PacingProblem` carries them for an ensemble; without them
        its draws are a factor and a turn as well

    Returns
    -------
    head wind and cross wind (k, n) [m/s], in memory step by step, as rides side by side take them
    """
    head, cross = headwind[:, None], crosswind[:, None]
    if draws.weights is not None and departures is not None:
        return ((head + departures.headwind.T @ draws.weights.T).T,
                (cross + departures.crosswind.T @ draws.weights.T).T)
    along = draws.speed_factor * np.cos(draws.turn)
    across = draws.speed_factor * np.sin(draws.turn)
    return (along * head + across * cross).T, (along * cross - across * head).T


def spread_density(draws: WindDraws, departures: AirDepartures | None) -> NDArray[np.float64]:
    """Factor on the air density of every draw.

    Parameters
    ----------
    draws : of the weather, k
    departures : of the members' air

    Returns
    -------
    (k,) factor; ones where no members tell of it
    """
    if draws.weights is None or departures is None:
        return np.ones(len(draws.turn))
    return np.asarray(np.maximum(1.0 + draws.weights @ departures.density, 0.5))
