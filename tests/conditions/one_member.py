"""One weather of an ensemble, made by hand: what its departures are checked against."""

from __future__ import annotations

from dataclasses import replace

import numpy as np


def member(conditions, weight):
    """The forecast and some of each departure; a one among zeros is that member."""
    members = conditions.members

    def sum_of(departures):
        return np.asarray(np.tensordot(weight, departures, axes=1))

    warmer = sum_of(members.temperature)
    now = float(np.interp(0.0, conditions.wind_time, warmer[:, 0])
                if len(conditions.wind_time) > 1 else warmer[0, 0])
    return replace(
        conditions, members=None,
        wind_east=conditions.wind_east + sum_of(members.east),
        wind_north=conditions.wind_north + sum_of(members.north),
        gust=np.maximum(conditions.gust + sum_of(members.gust), 0.0),
        temperature=conditions.temperature + now,
        temperature_change=conditions.temperature_change + warmer - now,
        pressure=conditions.pressure + float(sum_of(members.pressure)),
        humidity=float(np.clip(conditions.humidity + sum_of(members.humidity), 0.0, 1.0)))
