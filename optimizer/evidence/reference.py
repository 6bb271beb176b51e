"""The rider and the road on which changes in different units are compared."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.defaults import BEARING, DRIVETRAIN_EFFICIENCY, ROLLING_RESISTANCE
from optimizer.physics import GRAVITY, DragArea, road_load

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.physics import Setup
    from optimizer.rider import Rider

__all__ = ["Reference"]

_WORDS = {
    "drag_area": "CdA {:.3f} m²", "mass": "{:.0f} kg in all", "rolling_resistance": "Crr {:.4f}",
    "efficiency": "drivetrain efficiency {:.3f}", "air_density": "air of {:.2f} kg/m³"}


@dataclass(frozen=True)
class Reference:
    """A rider on a flat, still, straight road at steady speed.

    The defaults are a plausible time trialist, not anybody: CdA of an aero position, 80 kg
    all told, good tyres on asphalt, the chain efficiency of Martin et al. 1998, air of 20 °C
    near sea level, 40 km/h.

    Attributes
    ----------
    drag_area : m², rider and baseline bike
    drag_area_sd : m²; figures that hang on the whole drag (time, percent) inherit it
    mass : kg, rider, bike and kit
    rolling_resistance : Crr
    efficiency : power at the wheel over power at the cranks
    air_density : kg/m³
    speed : m/s, where power and drag are compared
    bearing : (a, b) of the bearing friction a + b v [N, N s/m]
    assumed : names of the fields that were not given
    """

    drag_area: float = 0.27
    drag_area_sd: float = 0.027
    mass: float = 80.0
    rolling_resistance: float = ROLLING_RESISTANCE.si
    efficiency: float = DRIVETRAIN_EFFICIENCY.si
    air_density: float = 1.2
    speed: float = 40 / 3.6
    bearing: tuple[float, float] = BEARING
    assumed: tuple[str, ...] = ()

    @classmethod
    def of(cls, *, power: float | None = None, **known: Any) -> Reference:
        """Build from what is known (None counts as unknown); `assumed` names the rest.

        `power` [W] at the cranks sets the speed. A drag area that is given is exact unless
        `drag_area_sd` says otherwise.
        """
        known = {name: value for name, value in known.items() if value is not None}
        if "drag_area" in known:
            known.setdefault("drag_area_sd", 0.0)
        here = cls(**known)
        speed = here.speed if power is None else float(here.speed_at(power))
        given = set(known) | (set() if power is None else {"speed"})
        return replace(here, speed=speed, assumed=tuple(
            name for name in (*_WORDS, "speed") if name not in given))

    @classmethod
    def for_rider(cls, rider: Rider, setup: Setup, air_density: float | None = None,
                  speed: float | None = None) -> Reference:
        """Put a rider in the position for the flat on baseline kit, at CP unless `speed` says."""
        return cls.of(
            power=rider.critical_power if speed is None else None, speed=speed,
            drag_area=rider.positions[0].drag_area, drag_area_sd=rider.drag_area_sd,
            mass=rider.mass + setup.mass, rolling_resistance=setup.rolling_resistance,
            efficiency=setup.drivetrain_efficiency, bearing=setup.bearing,
            air_density=air_density)

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What was not given, in words with its value."""
        words = tuple(text.format(getattr(self, name)) for name, text in _WORDS.items()
                      if name in self.assumed)
        return (*words, f"{self.speed * 3.6:.0f} km/h") if "speed" in self.assumed else words

    def force(self, speed: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Whole resisting force [N] at steady `speed` [m/s]."""
        return road_load(
            np.asarray(speed, dtype=float), 0.0, 0.0, 0.0, self.air_density,
            drag=DragArea.constant(self.drag_area), mass=self.mass,
            rolling_resistance=self.rolling_resistance, bearing=self.bearing)

    def power_at(self, speed: float) -> float:
        """Power at the cranks [W] at steady `speed` [m/s]."""
        return float(self.force(speed)) * speed / self.efficiency

    def speed_at(self, power: NDArray[np.float64] | float, *,
                 drag_area_change: NDArray[np.float64] | float = 0.0,
                 rolling_resistance_change: float = 0.0, efficiency_change: float = 0.0,
                 mass_change: float = 0.0) -> NDArray[np.float64]:
        """Steady speed [m/s] at `power` [W] at the cranks, with changes; arrays broadcast.

        Root of the cubic ½ρ CdA v³ + b v² + (a + m g Crr) v = ηP by Newton from above,
        which is convex there and so converges from one side.
        """
        area = 0.5 * self.air_density * (self.drag_area + np.asarray(drag_area_change))
        steady = self.bearing[0] + (self.mass + mass_change) * GRAVITY * (
            self.rolling_resistance + rolling_resistance_change)
        wheel = (self.efficiency + efficiency_change) * np.asarray(power, dtype=float)
        v = np.cbrt(wheel / area)
        for _ in range(60):
            value = ((area * v + self.bearing[1]) * v + steady) * v - wheel
            step = value / ((3 * area * v + 2 * self.bearing[1]) * v + steady)
            v = v - step
            if np.all(np.abs(step) < 1e-13 * v):
                break
        return np.asarray(v)
