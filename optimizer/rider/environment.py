"""What altitude and heat leave of critical power: optional relations, none of them personal.

All coefficients here are from memory of the papers named. Riders differ widely, and W' is
left as it is. In heat no plan replaces drinking, cooling and stopping: heat illness can kill,
and a warning from organiser or doctor counts more than any figure.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.rider.rider import AltitudeResponse, HeatResponse, Rider

__all__ = ["ALTITUDE_CAUTION", "HEAT_CAUTION", "altitude_share", "critical_power_factor",
           "environment_cautions", "heat_share", "uncounted_losses"]

_RESPONSE_TOP: Final = 4000.0  # m, where the relations end

# Loss of aerobic power per kelvin above 20 °C. Unacclimatised: 6.5 % less power over 30 min
# at 32 °C than at 23 °C in elite road cyclists (Tatterson, Hahn, Martin and Febbraio 2000,
# J. Sci. Med. Sport 3:186). Acclimatised: about a third of that remains after two weeks in
# the heat (Racinais, Périard, Karlsen and Nybo 2015, Med. Sci. Sports Exerc. 47:601).
_HEAT_ONSET: Final = 293.15  # K
_HEAT_LOSS: Final[dict[HeatResponse, float]] = {
    "none": 0.0, "unacclimatised": 0.0072, "acclimatised": 0.0024}
_HEAT_TOP: Final = 313.15  # K; beyond it nothing was measured and nobody should race

ALTITUDE_CAUTION: Final = (
    "critical power is lowered for altitude, by the height of each place and a mean of published "
    "tests; riders differ by several per cent, and the first days are the worst")
HEAT_CAUTION: Final = (
    "critical power is lowered for heat above 20 °C, by the temperature where and when the plan "
    "passes and a mean of published tests (the rider's table says how far); heat illness comes "
    "on a rider who feels strong: drink, cool, stop when dizzy or shivering, and follow the "
    "organiser's and your doctor's advice before this plan")


def altitude_share(elevation: NDArray[np.float64] | float,
                   response: AltitudeResponse) -> NDArray[np.float64]:
    """Aerobic power at a height over that at sea level.

    "acclimatised" and "unacclimatised": 99.9 - 1.90 x - 1.12 x² and 100 - 4.07 x - 1.43 x²
    + 0.178 x³ percent with x in km, each over its own value at sea level; Bassett, Kyle,
    Passfield, Broker and Burke 1999, Med. Sci. Sports Exerc. 31:1665, after four studies.
    "linear": 6.3 % less per 1000 m from 300 m on, maximal oxygen uptake of endurance athletes
    without acclimatisation; Wehrlin and Hallén 2006, Eur. J. Appl. Physiol. 96:404. Heights
    are cut to 0 to 4000 m.

    Parameters
    ----------
    elevation : m above the sea
    response : relation to use

    Returns
    -------
    share of the power at sea level
    """
    x = np.clip(np.asarray(elevation, dtype=float), 0.0, _RESPONSE_TOP) / 1000.0
    if response == "acclimatised":
        return np.asarray(1.0 - (1.90 * x + 1.12 * x**2) / 99.9)
    if response == "unacclimatised":
        return np.asarray(1.0 - (4.07 * x + 1.43 * x**2 - 0.178 * x**3) / 100.0)
    if response == "linear":
        return np.asarray(1.0 - 0.063 * np.maximum(x - 0.3, 0.0))
    return np.ones_like(x)


def heat_share(temperature: NDArray[np.float64] | float,
               response: HeatResponse) -> NDArray[np.float64]:
    """Power over half an hour to an hour in heat over that at 20 °C or less.

    Parameters
    ----------
    temperature : K
    response : relation to use

    Returns
    -------
    share of the power in cool air
    """
    above = np.clip(np.asarray(temperature, dtype=float), _HEAT_ONSET, _HEAT_TOP) - _HEAT_ONSET
    return np.asarray(1.0 - _HEAT_LOSS[response] * above)


def critical_power_factor(rider: Rider, elevation: NDArray[np.float64] | float,
                          temperature: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """CP at a height and a temperature over the rider's where it was tested, by their relations.

    Parameters
    ----------
    rider : who rides
    elevation : m above the sea
    temperature : K

    Returns
    -------
    factor; arrays broadcast
    """
    here = (altitude_share(elevation, rider.altitude_response)
            * heat_share(temperature, rider.heat_response))
    tested = (altitude_share(rider.tested_elevation, rider.altitude_response)
              * heat_share(rider.tested_temperature, rider.heat_response))
    return np.asarray(here / tested)


def environment_cautions(rider: Rider) -> tuple[str, ...]:
    """Say what a rider has to know whose CP is changed for altitude or heat.

    Parameters
    ----------
    rider : who rides

    Returns
    -------
    sentences, none where CP is not changed
    """
    return (*((ALTITUDE_CAUTION,) if rider.altitude_response != "none" else ()),
            *((HEAT_CAUTION,) if rider.heat_response != "none" else ()))


def uncounted_losses(rider: Rider, elevation: float, temperature: float) -> tuple[float, float]:
    """Find what height and heat would take from a rider's CP for whom no relation is stated.

    By the relations for riders who are not used to them.

    Parameters
    ----------
    rider : who rides
    elevation : m above the sea
    temperature : K

    Returns
    -------
    shares of CP lost to height and to heat, 0 for one that the rider's relations count
    """
    height = heat = 0.0
    if rider.altitude_response == "none":
        height = 1.0 - float(altitude_share(elevation, "unacclimatised")
                             / altitude_share(rider.tested_elevation, "unacclimatised"))
    if rider.heat_response == "none":
        heat = 1.0 - float(heat_share(temperature, "unacclimatised")
                           / heat_share(rider.tested_temperature, "unacclimatised"))
    return max(height, 0.0), max(heat, 0.0)
