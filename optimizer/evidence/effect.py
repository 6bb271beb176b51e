"""What a change of kit does, as one figure with its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from optimizer.frozen import ReadOnlyArrays

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Effect", "Grounds"]

Grounds = Literal["tested", "seller", "mass", "none"]
"""What a gain rests on: somebody's test, the seller's word alone, the scale alone, nothing."""


@dataclass(frozen=True)
class Effect(ReadOnlyArrays):
    """Pooled effect of an item against its baseline; negative drag is a gain.

    Attributes
    ----------
    item : name, as in the catalogue
    yaw : (m,) rad, increasing from 0
    drag_area : (m,) m², mean change of CdA at each yaw
    drag_area_sd : m², standard error, common to all yaws
    rolling_resistance, rolling_resistance_sd : change of Crr
    efficiency, efficiency_sd : change of drivetrain efficiency
    mass, mass_sd : change of mass that the evidence states [kg]
    data : number of data behind it
    disagreement : I² of the pool, 0 to 1
    basis : one line: what it rests on
    warnings : what a reader has to know
    grounds : what the gain rests on
    """

    item: str
    yaw: NDArray[np.float64] = field(default_factory=lambda: np.zeros(1))
    drag_area: NDArray[np.float64] = field(default_factory=lambda: np.zeros(1))
    drag_area_sd: float = 0.0
    rolling_resistance: float = 0.0
    rolling_resistance_sd: float = 0.0
    efficiency: float = 0.0
    efficiency_sd: float = 0.0
    mass: float = 0.0
    mass_sd: float = 0.0
    data: int = 0
    disagreement: float = 0.0
    basis: str = ""
    warnings: tuple[str, ...] = ()
    grounds: Grounds = "tested"
