"""The surface of a stretch from recorded rides over it: its Crr against that of the rest."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.conditions.wind import height_factor
from optimizer.errors import InputError
from optimizer.ride.field_test import field_test

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.ride.field_test import Runs

__all__ = ["MeasuredSurface", "surface_of"]

_OPEN_LAND = 0.03  # m, roughness length for which the wind of the rest is handed on
_WIDE = 0.01  # standard deviation of a Crr of which nothing is known
_WIND_SD = 0.3  # m/s, what the wind of a stretch may differ by from that of the rest
_SAME = 1e-3  # relative error left in what stretch and rest share: meter, mass, air, wheel
_SHORTEST = 300.0  # m of passes in all; less tells nothing


@dataclass(frozen=True)
class MeasuredSurface:
    """What rides say of a stretch from `start` to `end` [m].

    `rolling_resistance` of the stretch with its standard error; `factor` between it and that of the
    rest, with `factor_sd`; `length`: of all passes [m].
    """

    start: float
    end: float
    rolling_resistance: float
    rolling_resistance_sd: float
    factor: float
    factor_sd: float
    length: float


def surface_of(spec: Runs, passes: Sequence[tuple[int, float, float]]) -> MeasuredSurface:
    """Measure the surface of a stretch from each pass of it, (ride, start, end) [m].

    The rest of the rides tells CdA, wind and the Crr elsewhere; the passes, with CdA and wind as
    known from there, the Crr of the stretch. What both share (CdA, meter, mass, air, wind) raises
    or lowers both alike, and leaves their difference; so the difference is known far better than
    either. The surface elsewhere counts as 1.

    Raises InputError where either holds too little.
    """
    length = sum(end - start for _, start, end in passes)
    if length < _SHORTEST:
        raise InputError(spec.rides[0].place, "", f"passes the stretch for {length:.0f} m in all",
                         f"ride over it for {_SHORTEST:.0f} m or more, in several passes")
    rest = field_test(replace(spec, setups=("rest",) * len(spec.rides),
                              left_out=(*spec.left_out, *passes)))
    east, north = (component / float(height_factor(_OPEN_LAND)) for component in rest.wind)
    rides, weather = [], []
    for ride, start, end in passes:
        distance = spec.rides[ride].distance
        first, last = (int(k) for k in np.searchsorted(distance, [start, end]))
        if last - first < 10:
            raise InputError(spec.rides[ride].place, "", f"is not on the stretch from "
                             f"{start / 1000:g} to {end / 1000:g} km",
                             f"it is {distance[-1] / 1000:.1f} km long")
        rides.append(spec.rides[ride].between(first, last))
        weather.append(replace(
            spec.conditions[ride], wind_time=np.zeros(1), wind_distance=np.zeros(1),
            wind_east=np.array([[east]]), wind_north=np.array([[north]]),
            temperature_change=np.zeros((1, 1)), members=None))
    area = float(rest.drag_area[0])
    there = field_test(replace(
        spec, rides=tuple(rides), setups=("stretch",) * len(rides), conditions=tuple(weather),
        left_out=(), lap_length=None, assumptions=replace(
            spec.assumptions, drag_area=area, drag_area_sd=_SAME * area,
            rolling_resistance_sd=_WIDE, power_scale_sd=_SAME, speed_scale_sd=_SAME,
            mass_sd=_SAME, density_sd=_SAME, wind_sd=_WIND_SD)))
    c = rest.covariance
    own, other = there.rolling_resistance, rest.rolling_resistance
    # Given CdA, which both share, the rest's Crr errs by what its covariance leaves.
    given = float(max(c[-1, -1] - c[0, -1] ** 2 / c[0, 0], 0.0))
    apart, apart_sd = own - other, float(np.hypot(there.rolling_resistance_sd, np.sqrt(given)))
    return MeasuredSurface(
        passes[0][1], passes[0][2], own, float(np.hypot(apart_sd, rest.rolling_resistance_sd)),
        own / other, float(np.hypot(
            apart_sd / other, apart / other**2 * rest.rolling_resistance_sd)), length)
