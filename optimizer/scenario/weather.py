"""Weather as people state it: km/h, degrees, hPa, percent."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from optimizer import defaults
from optimizer.conditions import Conditions
from optimizer.errors import InputError
from optimizer.scenario.units import parse_direction, parse_quantity

if TYPE_CHECKING:
    from datetime import datetime

__all__ = ["parse_wind", "standard_pressure", "weather"]


def standard_pressure(elevation: float) -> float:
    """Pressure [Pa] of the standard atmosphere at a height [m] (ISO 2533, troposphere)."""
    return float(101325.0 * (1.0 - 0.0065 * elevation / 288.15) ** 5.25588)


def weather(*, wind_kmh: float = 0.0, wind_from_deg: float = 0.0,
            temperature_c: float = defaults.TEMPERATURE.value,
            pressure_hpa: float | None = None, humidity_percent: float = defaults.HUMIDITY.value,
            elevation_m: float = 0.0,
            wind_uncertainty_percent: float = defaults.WIND_SPEED_SD.value,
            wind_uncertainty_deg: float = defaults.WIND_DIRECTION_SD.value, wet: bool = False,
            start_time: datetime | None = None) -> Conditions:
    """Return conditions with one wind for all day.

    The wind is the one of forecasts, ten metres above ground.

    Parameters
    ----------
    wind_kmh, wind_from_deg : wind and where it comes from (0 north, 90 east)
    temperature_c, pressure_hpa, humidity_percent : at `elevation_m`; without a pressure it is that
        of the standard atmosphere there
    elevation_m : m above the sea
    wind_uncertainty_percent, wind_uncertainty_deg : standard deviation of what the wind may be
        instead
    wet : whether the road is
    start_time : of the race

    Returns
    -------
    the conditions, in SI

    Raises
    ------
    InputError
        for a value that is not a finite number or out of range

    Examples
    --------
    >>> air = weather(wind_kmh=18, wind_from_deg=270)
    >>> float(air.wind_east[0, 0])
    5.0
    """
    values = {"wind_kmh": (wind_kmh, 0, 200), "wind_from_deg": (wind_from_deg, 0, 360),
              "temperature_c": (temperature_c, -30, 55), "elevation_m": (elevation_m, -450, 6000),
              "humidity_percent": (humidity_percent, 0, 100),
              "pressure_hpa": (1000.0 if pressure_hpa is None else pressure_hpa, 400, 1100),
              "wind_uncertainty_percent": (wind_uncertainty_percent, 0, 100),
              "wind_uncertainty_deg": (wind_uncertainty_deg, 0, 90)}
    for name, (value, low, high) in values.items():
        if not low <= value <= high:  # also false for NaN
            raise InputError("weather", name, f"{value} is out of range",
                             f"it has to be between {low} and {high}")
    if start_time is not None and not 1900 <= start_time.year <= 2200:
        raise InputError("weather", "start_time", f"{start_time} is out of range",
                         "the year has to be between 1900 and 2200")
    speed, angle = wind_kmh / 3.6, math.radians(wind_from_deg)
    return Conditions(
        temperature=temperature_c + defaults.ZERO_CELSIUS,
        pressure=standard_pressure(elevation_m) if pressure_hpa is None else 100.0 * pressure_hpa,
        humidity=humidity_percent / 100, reference_elevation=elevation_m,
        wind_east=np.array([[-speed * math.sin(angle)]]),
        wind_north=np.array([[-speed * math.cos(angle)]]),
        speed_sd=wind_uncertainty_percent / 100, direction_sd=math.radians(wind_uncertainty_deg),
        wet=wet, start_time=start_time)


def parse_wind(text: str) -> tuple[float, float]:
    """Speed [km/h] and the direction it comes from [deg], from "25@225" or "25@SW"."""
    try:
        said, place = text.split("@", 1)
        speed = parse_quantity(said, "km/h", decimal_comma="," in said)
        angle = parse_direction(place)
    except ValueError as error:
        raise InputError("--wind", "", f'"{text}" is not a wind',
                         "write km/h and where it comes from, in degrees or as a point "
                         "of the compass: 25@225 or 25@SW") from error
    if not (0 <= speed <= 150 and 0 <= angle <= 360):
        raise InputError("--wind", "", f'"{text}" is out of range',
                         "0 to 150 km/h, from 0 to 360 degrees (0 north, 90 east)")
    return speed, angle
