"""Best mean powers out of recorded rides."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.errors import InputError
from optimizer.rider.power_duration import Efforts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = ["DURATIONS", "best_of_rides", "best_power", "undominated"]

DURATIONS: Final = (5.0, 15.0, 30.0, 60.0, 120.0, 180.0, 300.0, 480.0, 720.0, 1200.0, 1800.0,
                    2700.0, 3600.0, 5400.0, 7200.0, 10800.0, 14400.0, 18000.0)
"""s, where best powers are looked for."""

_HOLD: Final = 5.0  # s; a sample stands for at most so long, the rest of a gap is not ridden


def best_power(time: NDArray[np.float64], power: NDArray[np.float64],
               duration: Sequence[float] | NDArray[np.float64]) -> NDArray[np.float64]:
    """Greatest mean power over any stretch of each duration.

    Exact for that staircase: work is piecewise linear in time, so the best stretch starts or
    ends at a sample.

    Parameters
    ----------
    time : (m,) s, increasing, at any spacing
    power : (m,) W at those times; each sample stands until the next one, but no longer than five
        seconds, so that a pause counts as no power
    duration : (k,) s

    Returns
    -------
    (k,) W; nan where the ride is shorter
    """
    end = np.append(time[1:], time[-1] + _last_step(time))
    held = np.minimum(end, time + _HOLD)
    nodes = np.stack([time, held], axis=1).ravel()
    work = np.cumsum(np.stack([np.zeros_like(time), power * (held - time)], axis=1).ravel())
    out = np.full(len(duration), np.nan)
    for k, span in enumerate(duration):
        if span > nodes[-1] - nodes[0] + 1e-9:
            continue
        starts = np.concatenate([nodes, nodes - span])
        starts = np.clip(starts, nodes[0], nodes[-1] - span)
        done = np.interp(starts + span, nodes, work) - np.interp(starts, nodes, work)
        out[k] = done.max() / span
    return out


def _last_step(time: NDArray[np.float64]) -> float:
    return min(float(np.median(np.diff(time))), _HOLD) if len(time) > 1 else 1.0


def best_of_rides(rides: Sequence[tuple[str, NDArray[np.float64], NDArray[np.float64]]],
                  duration: Sequence[float] = DURATIONS) -> Efforts:
    """Best power for each duration over several rides.

    A duration that no ride lasts is left out, and so is one that a longer effort matches or
    beats.

    Parameters
    ----------
    rides : name, (m,) s and (m,) W of each
    duration : s

    Returns
    -------
    efforts with the names of their rides

    Raises
    ------
    InputError
        where nothing is left
    """
    table = np.stack([best_power(time, power, duration) for _, time, power in rides])
    lasted = ~np.all(np.isnan(table), axis=0)
    if not np.any(lasted):
        raise InputError(rides[0][0], "", f"is shorter than {duration[0]:.0f} s",
                         "name a longer ride")
    at = np.nanargmax(table[:, lasted], axis=0)
    best = np.nanmax(table[:, lasted], axis=0)
    found = Efforts(np.array(duration)[lasted], best, tuple(rides[k][0] for k in at),
                    overlapping=True)
    return undominated(found)


def undominated(efforts: Efforts) -> Efforts:
    """Efforts without those that a longer one matches or beats: they cannot have been all-out.

    Parameters
    ----------
    efforts : best efforts

    Returns
    -------
    the others
    """
    later = np.append(np.maximum.accumulate(efforts.power[::-1])[::-1][1:], 0.0)
    keep = np.flatnonzero((efforts.power > later) & (efforts.power > 0.0))
    source = tuple(efforts.source[k] for k in keep) if efforts.source else ()
    return Efforts(efforts.duration[keep], efforts.power[keep], source, efforts.overlapping)
