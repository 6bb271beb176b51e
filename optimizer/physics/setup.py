"""One set of equipment, as the road feels it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from optimizer import defaults
from optimizer.frozen import ReadOnlyArrays

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Setup"]


@dataclass(frozen=True)
class Setup(ReadOnlyArrays):
    """Bike and kit. Drag is a change against the baseline in which the rider's CdA was found.

    Attributes
    ----------
    mass : kg, bike, kit and bottles (all but the rider)
    rolling_resistance : Crr of the tyres on smooth asphalt (the course has factors on it)
    drivetrain_efficiency : power at the wheel over power at the cranks
    wheel_inertia : kg m², both wheels
    wheel_radius : m
    yaw : (m,) rad, increasing from 0
    drag_area_change : (m,) m², change of CdA at each yaw against the baseline
    bearing : (a, b) of the bearing friction a + b v [N, N s/m], Martin et al. 1998
    cornering_factor : factor on corner speeds
    crosswind_limit : m/s, cross wind at the rider above which this set is not to be ridden
    rolling_resistance_sd, mass_sd : standard errors of the bike as it stands; mass with rider

    Examples
    --------
    >>> bike = Setup("bike", mass=9.6, rolling_resistance=0.0042)
    >>> bike.wheel_radius
    0.334
    """

    name: str
    mass: float
    rolling_resistance: float
    drivetrain_efficiency: float = defaults.DRIVETRAIN_EFFICIENCY.si
    wheel_inertia: float = defaults.WHEEL_INERTIA.si
    wheel_radius: float = defaults.WHEEL_RADIUS.si
    yaw: NDArray[np.float64] = field(default_factory=lambda: np.zeros(1))
    drag_area_change: NDArray[np.float64] = field(default_factory=lambda: np.zeros(1))
    bearing: tuple[float, float] = defaults.BEARING
    cornering_factor: float = 1.0
    crosswind_limit: float = float("inf")
    rolling_resistance_sd: float = 0.0
    mass_sd: float = 0.0

    @property
    def spinning_mass(self) -> float:
        """Mass that the wheels add to the inertia by spinning, I / r² [kg]."""
        return self.wheel_inertia / self.wheel_radius**2
