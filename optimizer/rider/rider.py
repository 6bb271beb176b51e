"""The rider, as the pacing engine needs to know them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from optimizer.rider.defaults import EFFORT_EXPONENT, PEDALLING_SPEED
from optimizer.rider.recovery import LAWS, Recovery, RecoveryLaw

__all__ = ["AltitudeResponse", "HeatResponse", "Position", "Recovery", "Rider"]

AltitudeResponse = Literal["none", "acclimatised", "unacclimatised", "linear"]
HeatResponse = Literal["none", "acclimatised", "unacclimatised"]
"""Published relations between CP and height or heat; see `optimizer.rider.environment`."""


@dataclass(frozen=True)
class Position:
    """A way to sit on the bike.

    `drag_area` is CdA of rider and baseline bike at zero yaw [m²]; `power_share` the part
    of CP that can be held in it; `max_power_share` the part of maximal power;
    `longest` the longest spell in it [s].
    """

    name: str
    drag_area: float
    power_share: float = 1.0
    max_power_share: float = 1.0
    longest: float = float("inf")


@dataclass(frozen=True)
class Rider:
    """What a rider can do on the day, in SI.

    Attributes
    ----------
    mass : kg, rider with clothes and drink
    critical_power : W, CP at the course, after any correction for heat or altitude
    w_prime : J, work capacity above CP
    max_power : W, what the plan may ask for at most (surge cap)
    positions : first the one for the flat (aero), then others
    recovery : how the reserve refills below CP
    recovery_share : for "partial": the part of (CP - P) that refills the reserve
    reserve_floor : J, what must be left of W' at every point
    effort_exponent : p of the effort law, see `optimizer.rider.effort`
    pedalling_speed : m/s, above which the rider does not pedal
    *_sd : standard errors
    assumed : which of these are defaults, in words, for the report
    endurance_loss : part of CP lost each time the duration grows by the factor e beyond half
        an hour
    effort_share : part of the power that could be held for the whole ride which the plan
        may spend
    time_share : part of the endurance that the ride may use, the rest being left for a run
    run_fresh_time : s, that run with fresh legs; 0 without a run
    altitude_response, heat_response : the relation by which CP falls, see
        `optimizer.rider.environment`
    tested_elevation, tested_temperature : m, K, where CP was found
    warnings : what the efforts say against the figures that they make
    """

    name: str
    mass: float
    critical_power: float
    w_prime: float
    max_power: float
    positions: tuple[Position, ...]
    recovery: Recovery = "linear"
    recovery_share: float = 1.0
    reserve_floor: float = 0.0
    effort_exponent: float = EFFORT_EXPONENT
    pedalling_speed: float = PEDALLING_SPEED
    critical_power_sd: float = 0.0
    w_prime_sd: float = 0.0
    drag_area_sd: float = 0.0
    assumed: tuple[str, ...] = ()
    endurance_loss: float = 0.0
    endurance_loss_sd: float = 0.0
    effort_share: float = 1.0
    time_share: float = 1.0
    run_fresh_time: float = 0.0
    altitude_response: AltitudeResponse = "none"
    heat_response: HeatResponse = "none"
    tested_elevation: float = 0.0
    tested_temperature: float = 293.15
    effort_exponent_sd: float = 0.0
    warnings: tuple[str, ...] = ()

    @property
    def refill(self) -> tuple[RecoveryLaw, float]:
        """How the reserve refills: the law, and the share r of (CP - P) that it goes by."""
        return LAWS[self.recovery], self.recovery_share if self.recovery == "partial" else 1.0
