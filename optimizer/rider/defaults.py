"""What to assume where the rider does not know: published means with wide bands."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from optimizer import defaults as table

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "AERO_POWER_SHARE", "CRITICAL_POWER_PER_KG", "DRAG_AREA_BAND", "EFFORT_EXPONENT",
    "EFFORT_EXPONENT_SD", "ENDURANCE_LOSS", "ENDURANCE_LOSS_SD", "LEVEL_BAND",
    "PEDALLING_SPEED", "POSITION_RATIOS", "SURGE_CAP", "W_PRIME", "W_PRIME_SD", "Level",
    "drag_area_from_body", "frontal_area", "height_from_mass",
]

Level = Literal["starting", "recreational", "trained", "competitive", "elite"]
"""How a rider without any recorded effort describes themselves."""

CRITICAL_POWER_PER_KG: Final[dict[Level, float]] = {
    "starting": 2.2, "recreational": 2.8, "trained": 3.5, "competitive": 4.2, "elite": 5.2}
"""W/kg. Common practice, no source; meant to be replaced by two efforts."""

W_PRIME: Final = table.W_PRIME.si
W_PRIME_SD: Final = table.W_PRIME_SD.si
ENDURANCE_LOSS: Final = table.ENDURANCE_LOSS.si
ENDURANCE_LOSS_SD: Final = table.ENDURANCE_LOSS_SD.si
SURGE_CAP: Final = table.SURGE_CAP.si
EFFORT_EXPONENT: Final = table.EFFORT_EXPONENT.si
EFFORT_EXPONENT_SD: Final = table.EFFORT_EXPONENT_SD.si
PEDALLING_SPEED: Final = table.PEDALLING_SPEED.si
AERO_POWER_SHARE: Final = table.AERO_POWER_SHARE.si

LEVEL_BAND: Final = 0.15  # standard error of CP by level, relative; a judgement

POSITION_RATIOS: Final[dict[str, float]] = {
    "aero": 1.0, "drops": 0.307 / 0.269, "hoods": 0.359 / 0.269, "upright": 0.359 / 0.269}
"""CdA over that of the aero position: one set that explains the time differences between
positions of all three riders of Jeukendrup and Martin 2001, Sports Med. 31:559 (drops,
hoods and elbows on bars; computed, see the tests)."""

_DRAG_COEFFICIENT: Final = 0.74
DRAG_AREA_BAND: Final = 0.11
"""Drag coefficient of rider and bike on the extensions over the rider's frontal area, and
its relative standard error between riders; a judgement that covers the CdA of 0.244 m² of
an hour record (Padilla et al. 2000) and the 0.24 to 0.27 m² behind Jeukendrup and Martin
2001."""


def frontal_area(mass: NDArray[np.float64] | float,
                 height: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Frontal area of a rider on time-trial bars.

    0.0293 H^0.725 M^0.425 + 0.0604 with H in m, in form the body surface of Du Bois and Du Bois
    1916 (Arch. Intern. Med. 17:863) times 0.145: Bassett, Kyle, Passfield, Broker and Burke
    1999, Med. Sci. Sports Exerc. 31:1665 (coefficients from memory).

    Parameters
    ----------
    mass : kg
    height : m

    Returns
    -------
    m²
    """
    return np.asarray(0.0293 * np.power(height, 0.725) * np.power(mass, 0.425) + 0.0604)


def drag_area_from_body(mass: float, height: float) -> tuple[float, float]:
    """CdA on time-trial bars, guessed from the body.

    Parameters
    ----------
    mass : kg
    height : m

    Returns
    -------
    CdA and its standard error [m²]
    """
    area = float(_DRAG_COEFFICIENT * frontal_area(mass, height))
    return area, DRAG_AREA_BAND * area


def height_from_mass(mass: float) -> float:
    """Height of a rider at a body-mass index of 22 (a judgement).

    Parameters
    ----------
    mass : kg

    Returns
    -------
    m
    """
    return float(np.sqrt(mass / 22.0))
