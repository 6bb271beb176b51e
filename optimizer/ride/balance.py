"""The energy balance of all segments as one regression, with unknown heights projected out.

Between two nodes the work at the wheel goes into height, speed, tyres and air (Martin et al.
1998, J. Appl. Biomech. 14:276):

    η W - ΔE_kin - E_bearing = m g Δh + Crr m g L + CdA ∫ ½ ρ v_a q ds

The height of each place is unknown and the same at every visit; the altimeter, where there is
one, sees it with an offset, a drift and noise. Both kinds of rows are linear in the heights, so
that the directions which no height reaches hold all that there is to know of CdA and Crr.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.ride.segments import gravity_of
from optimizer.ride.variance import free_directions

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.ride.segments import Segments

__all__ = ["Assumptions", "Balance", "balance_of", "wind_sd_of"]

# Of a stated wind, at the rider: shelter and gusts; its least; common practice, no source.
_WIND_UNCERTAINTY, _LEAST_WIND_SD = 0.4, 1.0
_UNSTATED_WIND_SD = 3.0  # m/s


@dataclass(frozen=True)
class Assumptions:
    """What a ride cannot tell, as standard deviations of what is taken as known.

    Attributes
    ----------
    power_scale_sd : relative, of the meter's calibration and the drivetrain's efficiency
    power_noise : relative, of one sample
    speed_scale_sd : relative, of the wheel's circumference
    mass_sd : relative, of rider with bike
    density_sd : relative, of the air
    rolling_resistance_sd : of Crr, against the bike's
    wind_sd : m/s, each component of the steady wind at the rider, against what was thought
    drag_area, drag_area_sd : m², CdA before the test: nearly nothing
    """

    # All of them common practice, no source: about what makers of meters state, a scale in a
    # hallway, a wheel rolled once along a tape.
    power_scale_sd: float = 0.016
    power_noise: float = 0.015
    speed_scale_sd: float = 0.003
    mass_sd: float = 0.005
    density_sd: float = 0.005
    rolling_resistance_sd: float = 0.003
    wind_sd: float = _UNSTATED_WIND_SD
    drag_area: float = 0.3
    drag_area_sd: float = 0.3


def wind_sd_of(stated: float | None) -> float:
    """Give the standard deviation of each component of the steady wind at the rider [m/s].

    `stated`: the wind at ten metres that somebody stated or forecast [m/s]; None for nothing.
    """
    if stated is None:
        return _UNSTATED_WIND_SD
    return max(_WIND_UNCERTAINTY * stated, _LEAST_WIND_SD)


@dataclass(frozen=True)
class Balance:
    """Rows of the regression; everything in metres of height.

    Attributes
    ----------
    kept : (r,) segments that have a row; then come `heights`, (z,) nodes that have one
    free : (r + z, n) directions that no height of a place reaches
    data : (n,) projected
    rolling_resistance : Crr before the test
    """

    segments: Segments
    kept: NDArray[np.int64]
    heights: NDArray[np.int64]
    free: NDArray[np.float64]
    data: NDArray[np.float64]
    rolling_resistance: float
    assumptions: Assumptions

    def project(self, of_segments: NDArray[np.float64],
                of_heights: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
        """Bring columns over all segments [J] and the heights [m] to the free directions."""
        rows = of_segments[self.kept] / gravity_of(self.segments)
        out = self.free[:len(self.kept)].T @ rows
        if of_heights is not None:
            out = out + self.free[len(self.kept):].T @ of_heights
        return np.asarray(out)


def balance_of(segments: Segments, rolling_resistance: float, assumptions: Assumptions,
               left_out: NDArray[np.bool_]) -> Balance:
    """Set up the regression without the segments that are `left_out` (s,)."""
    kept = np.flatnonzero(segments.complete & ~left_out)
    heights = np.flatnonzero(np.isfinite(segments.node_height))
    design = height_design(segments, kept, heights)
    free = free_directions(design[:, np.any(design != 0.0, axis=0)])
    data = free.T @ np.concatenate([lost_height(segments)[kept], segments.node_height[heights]])
    return Balance(segments, kept, heights, free, data, rolling_resistance, assumptions)


def lost_height(segments: Segments) -> NDArray[np.float64]:
    """(s,) energy that went into height, tyres and air, as metres of height."""
    return (segments.work - segments.kinetic - segments.bearing) / gravity_of(segments)


def height_design(segments: Segments, kept: NDArray[np.int64],
                  heights: NDArray[np.int64]) -> NDArray[np.float64]:
    """(r + z, places) how rows depend on the heights of the places."""
    nodes, first = segments.nodes, segments.first[kept]
    design = np.zeros((len(kept) + len(heights), nodes.places))
    rows = np.arange(len(kept))
    np.add.at(design, (rows, nodes.place[first + 1]), 1.0)
    np.add.at(design, (rows, nodes.place[first]), -1.0)
    design[len(kept) + np.arange(len(heights)), nodes.place[heights]] = 1.0
    return design
