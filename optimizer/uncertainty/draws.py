"""The days that may come: draws of everything that has a standard error."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.conditions.draws import WindDraws, draw_wind
from optimizer.uncertainty.heights import draw_heights

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.day import RaceDay
    from optimizer.evidence import Effect
    from optimizer.physics import Setup

__all__ = ["Draws", "draw_days"]

_POWER: Final = (0.5, 1.5)  # times CP; a rider further off would not start
_RESERVE: Final = (0.3, 1.7)  # times W'
_EXPONENT: Final = (1.0, 12.0)


@dataclass(frozen=True)
class Draws:
    """What k drawn days are; the same for every set of kit and every plan.

    Attributes
    ----------
    wind : what the wind does
    critical_power, w_prime : (k,) W, J of the rider on that day
    endurance_loss, effort_exponent : (k,)
    drag_area, rolling_resistance, mass : (k,) m², Crr, kg on top of those of rider and bike
    items : name -> (k,) standard normal, times the item's standard errors
    heights : (q, k) standard normals at even places along the course, times the standard error of
        its heights there; None where that is not known by place
    """

    wind: WindDraws
    critical_power: NDArray[np.float64]
    w_prime: NDArray[np.float64]
    endurance_loss: NDArray[np.float64]
    effort_exponent: NDArray[np.float64]
    drag_area: NDArray[np.float64]
    rolling_resistance: NDArray[np.float64]
    mass: NDArray[np.float64]
    items: dict[str, NDArray[np.float64]]
    heights: NDArray[np.float64] | None = None

    @property
    def count(self) -> int:
        """Number of days k."""
        return len(self.critical_power)


def draw_days(day: RaceDay, bike: Setup, effects: Sequence[Effect], count: int,
              seed: int) -> Draws:
    """Draw days about the expected one.

    Of the rider as expected on the day, whatever margin a plan keeps; of the bike its rolling
    resistance and mass; of each effect one normal, whether or not a set holds the item.

    Parameters
    ----------
    day : course, weather and rider of the race day
    bike : its mass and rolling resistance
    effects : what each item does
    count : k
    seed : the same seed gives the same days

    Returns
    -------
    k days
    """
    rng = np.random.default_rng(seed)
    wind = draw_wind(day.conditions, rng, count)
    rider = day.expected

    def normal() -> NDArray[np.float64]:
        # One in each of `count` equally likely parts (McKay, Beckman and Conover 1979,
        # Technometrics 21:239): ranges and chances settle with far fewer days.
        even = (rng.permutation(count) + rng.random(count)) / count
        return np.fromiter(map(NormalDist().inv_cdf, even), float, count)

    def about(value: float, sd: float, low: float, high: float) -> NDArray[np.float64]:
        return np.clip(value + sd * normal(), low, high)

    cp, w_prime = rider.critical_power, rider.w_prime
    return Draws(
        wind=wind,
        critical_power=about(cp, rider.critical_power_sd, _POWER[0] * cp, _POWER[1] * cp),
        w_prime=about(w_prime, rider.w_prime_sd, _RESERVE[0] * w_prime, _RESERVE[1] * w_prime),
        endurance_loss=about(rider.endurance_loss, rider.endurance_loss_sd, 0.0, 0.5),
        effort_exponent=about(rider.effort_exponent, rider.effort_exponent_sd, *_EXPONENT),
        drag_area=rider.drag_area_sd * normal(),
        rolling_resistance=bike.rolling_resistance_sd * normal(),
        mass=bike.mass_sd * normal(),
        items={effect.item: normal() for effect in effects},
        heights=draw_heights(day.course, rng, count))
