"""What is assumed where the files do not say: one table for files, Python and the starter.

Each value stands in the unit in which a file states it; `si` gives it to the model.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

__all__ = ["GRAVITY", "NINE_IN_TEN", "ZERO_CELSIUS", "Default", "table"]

GRAVITY: Final = 9.80665
"""m/s², standard gravity (CGPM 1901)."""
ZERO_CELSIUS: Final = 273.15
"""K (ISO 80000-5)."""
NINE_IN_TEN: Final = 1.645
"""Standard errors on either side that hold 90 % of a normal distribution."""

_KMH: Final = 1 / 3.6
_PRACTICE: Final = "common practice, no source"
_JUDGEMENT: Final = "a judgement of ours, no source"


class Default(NamedTuple):
    """A value in the `unit` of the files, where it comes from, and SI units in one of `unit`."""

    value: float
    unit: str
    source: str
    in_si: float = 1.0

    @property
    def si(self) -> float:
        """The value in SI."""
        return self.value * self.in_si


# The bike.
BIKE_MASS: Final = Default(9.5, "kg", _PRACTICE + ": bike, clothes, helmet and bottles")
ROLLING_RESISTANCE: Final = Default(
    0.0042, "", _PRACTICE + ": a good tyre on smooth asphalt")
ROLLING_RESISTANCE_SD: Final = Default(0.0004, "", _JUDGEMENT)
MASS_SD: Final = Default(0.5, "kg", _JUDGEMENT)
DRIVETRAIN_EFFICIENCY: Final = Default(
    0.976, "", "Martin et al. 1998, J. Appl. Biomech. 14:276: 0.97698 on their bike")
WHEEL_INERTIA: Final = Default(0.14, "kg m²", "Martin et al. 1998: both wheels")
WHEEL_RADIUS: Final = Default(
    0.334, "m", "rim of 622 mm (ISO 5775) with a tyre 23 mm high; Martin et al. 1998 had 0.311")
BEARING: Final = (0.091, 0.0087)
"""N and N s/m, bearing friction a + b v: Martin et al. 1998."""

# Corners and descents.
GRIP_USED: Final = Default(60.0, "%", _PRACTICE + ": 40 careful, 60 practised, 75 bold", 0.01)
BRAKING: Final = Default(3.5, "m/s²", _PRACTICE + ": firm, far from the limit in the dry")
U_TURN_SPEED: Final = Default(11.0, "km/h", _PRACTICE + ": round a cone in two lanes", _KMH)

# The weather.
TEMPERATURE: Final = Default(20.0, "°C", _JUDGEMENT + ": a mild day")
HUMIDITY: Final = Default(50.0, "%", _JUDGEMENT + ": a mild day", 0.01)
WIND_SPEED_SD: Final = Default(25.0, "%", _PRACTICE + ": a forecast of the day before", 0.01)
WIND_DIRECTION_SD: Final = Default(
    20.0, "°", _PRACTICE + ": a forecast of the day before", math.radians(1.0))

# The rider.
W_PRIME: Final = Default(
    18.72, "kJ", "mean of eight trained cyclists, efforts of 3 and 12 min, 2016 (PubMed 27918663)",
    1e3)
W_PRIME_SD: Final = Default(6.21, "kJ", "standard deviation of the same eight, 2016", 1e3)
ENDURANCE_LOSS: Final = Default(
    8.0, "% of CP by 2.72 times the duration beyond half an hour (8 is 5.5 % per doubling)",
    "order of the endurance index of elite road cyclists, -9.5 % of maximal aerobic power per unit "
    "of log duration (Pinot and Grappe 2014; whether that is the natural logarithm was not seen)",
    0.01)
ENDURANCE_LOSS_SD: Final = Default(3.0, ENDURANCE_LOSS.unit, _JUDGEMENT, 0.01)
EFFORT_EXPONENT: Final = Default(
    4.0, "", _PRACTICE + "; 3 to 6 agree with the ±15 % of power that riders took without more "
    "perceived exertion (Front. Physiol. 2020, 11:1098)")
EFFORT_EXPONENT_SD: Final = Default(0.75, "", _JUDGEMENT + ": 90 % range about 3 to 5")
# Which best efforts to give. The fit leaves out what is shorter than two minutes, needs ten minutes
# for CP and a factor of three between the shortest and the longest, and takes what lasts longer
# than half an hour for the loss over hours (`rider/fit.py`, `rider/power_duration.py`).
SHORT_EFFORT: Final = Default(4.0, "min", _PRACTICE + ": all of W' is used up")
LONG_EFFORT: Final = Default(20.0, "min", _PRACTICE + ": W' hardly counts any more")
WHICH_EFFORTS: Final = (
    f"one of about {SHORT_EFFORT.value:g} minutes and one of about {LONG_EFFORT.value:g} (both "
    "between 2 and 30, the longer at least three times as long); for rides of hours, one of an "
    "hour or more as well")
PEDALLING_SPEED: Final = Default(60.0, "km/h", _PRACTICE + ": above it a rider tucks in", _KMH)
SURGE_CAP: Final = Default(150.0, "% of CP", _PRACTICE, 0.01)
AERO_POWER_SHARE: Final = Default(97.0, "% of CP", _PRACTICE, 0.01)

# Kit.
LEAST_GAIN: Final = Default(0.5, "s", _JUDGEMENT + ": less is lost in the uncertainty of any test")

# How to compute.
CARD_LINES: Final = Default(8, "", _PRACTICE + ": what a card shows at a glance")
DRAWS: Final = Default(400, "", _JUDGEMENT + ": the ends of a 90 % range to about a tenth of it")
SEED: Final = Default(1, "", "any number does")


def table() -> dict[str, Default]:
    """Give all defaults by name, in the order of this file."""
    return {name.lower(): value for name, value in globals().items() if isinstance(value, Default)}
