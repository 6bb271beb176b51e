"""Where a ride has been before: nodes along it that return to the same places."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.course.geodesy import local_metres, step_lengths

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.ride.ride import Ride

__all__ = ["Nodes", "heading_of", "lap_of", "map_over_wheel", "nodes_by_place"]

_NEAR = 18.0  # m, two lanes and the error of two fixes
_LAP_PLACES = (0.2, 0.35, 0.5, 0.65, 0.8)  # of a ride, places of which returns are looked for


@dataclass(frozen=True)
class Nodes:
    """Moments at which a ride passes places.

    Attributes
    ----------
    ride : (k,) number of the ride
    time : (k,) seconds after that ride's first sample
    place : (k,) number of the place; the same number is the same height
    places : how many there are
    """

    ride: NDArray[np.int64]
    time: NDArray[np.float64]
    place: NDArray[np.int64]
    places: int


def heading_of(ride: Ride) -> NDArray[np.float64]:
    """(n,) direction of travel at each sample [rad clockwise from north]; nan without positions.

    Positions have to be known throughout.

    From the positions some 15 m before and behind, so that the error of a fix turns it by a
    few degrees at most.
    """
    if not ride.has_position:
        return np.full(len(ride.time), np.nan)
    x, y = local_metres(ride.latitude, ride.longitude, (ride.latitude[0], ride.longitude[0]))
    # np.interp takes an increasing axis; a stop adds nothing to it.
    axis = ride.distance + 1e-6 * ride.time
    ends = [np.clip(axis + step, axis[0], axis[-1]) for step in (-15.0, 15.0)]
    dx, dy = (np.interp(ends[1], axis, line) - np.interp(ends[0], axis, line)
              for line in (x, y))
    return np.arctan2(dx, dy)


def nodes_by_place(rides: Sequence[Ride], spacing: float,
                   lap_length: float | None = None) -> Nodes:
    """Nodes about every `spacing` metres, at places visited before wherever there are some.

    `lap_length` [m] tells places by the distance alone, for rides without positions.
    """
    if lap_length is not None:
        return _by_distance(rides, lap_length / max(round(lap_length / spacing), 1), lap_length)
    if not all(ride.has_position for ride in rides):
        return _by_distance(rides, spacing, None)
    return _by_map(rides, spacing)


def _by_distance(rides: Sequence[Ride], spacing: float, lap_length: float | None) -> Nodes:
    number, time, place = [], [], []
    count = 0
    for k, ride in enumerate(rides):
        along = np.arange(0.0, ride.length, spacing)
        axis = ride.distance + 1e-6 * ride.time
        number.append(np.full(len(along), k))
        time.append(np.interp(along, axis, ride.time))
        if lap_length is None:
            place.append(count + np.arange(len(along)))
            count += len(along)
        else:
            place.append(np.round(along % lap_length / spacing).astype(int)
                         % round(lap_length / spacing))
            count = round(lap_length / spacing)
    return Nodes(np.concatenate(number), np.concatenate(time), np.concatenate(place), count)


class _Map:
    """Tracks of all rides in one plane, with the passages of each place found so far."""

    def __init__(self, rides: Sequence[Ride]) -> None:
        origin = (float(rides[0].latitude[0]), float(rides[0].longitude[0]))
        tracks = [local_metres(ride.latitude, ride.longitude, origin) for ride in rides]
        self.x = np.concatenate([track[0] for track in tracks])
        self.y = np.concatenate([track[1] for track in tracks])
        self.heading = np.concatenate([heading_of(ride) for ride in rides])
        self.ends = np.cumsum([len(ride.time) for ride in rides])

    def passages(self, place: tuple[float, float], after: float) -> NDArray[np.float64]:
        """Fractional sample numbers beyond `after` at which any track passes a place."""
        first = int(after) + 1
        dx, dy = place[0] - self.x[first:], place[1] - self.y[first:]
        sine, cosine = np.sin(self.heading[first:]), np.cos(self.heading[first:])
        ahead, aside = dx * sine + dy * cosine, np.abs(dx * cosine - dy * sine)
        near = (np.maximum(aside[:-1], aside[1:]) < _NEAR) & (ahead[:-1] < 2 * _NEAR)
        at = np.flatnonzero(near & (ahead[:-1] > 0.0) & (ahead[1:] <= 0.0))
        at = at[~np.isin(first + at + 1, self.ends)]
        return np.asarray(first + at + ahead[at] / (ahead[at] - ahead[at + 1]))


def map_over_wheel(ride: Ride) -> float:
    """Ratio of the way by the map to the recorded one, where the air counts; 1 without positions.

    Each step counts by the square of its speed, as its drag does: at a walking pace positions
    wander and corners are cut, at speed the circumference of the wheel is left.
    """
    if not ride.has_position:
        return 1.0
    known = ride.between(*ride.fixes)
    counts = known.speed[1:]**2
    wheel = float(counts @ np.diff(known.distance))
    return float(counts @ step_lengths(known.latitude, known.longitude)) / wheel if wheel else 1.0


def lap_of(ride: Ride) -> float | None:
    """Metres after which a ride mostly returns to the same places in the same direction.

    Positions have to be known throughout; None where it does not return.
    """
    if not ride.has_position:
        return None
    track, number = _Map((ride,)), np.arange(len(ride.time))
    found: list[float] = []
    for part in _LAP_PLACES:
        sample = int(np.searchsorted(ride.distance, part * ride.length))
        place = (float(track.x[sample]), float(track.y[sample]))
        at = np.interp(track.passages(place, 0.0), number, ride.distance)
        found += np.diff(at).tolist()
    return float(np.median(found)) if found else None


def _by_map(rides: Sequence[Ride], spacing: float) -> Nodes:
    """Walk along the rides; take the next known place if one is near, else make a new one."""
    tracks = _Map(rides)
    starts = np.concatenate([[0], tracks.ends[:-1]])
    axis = np.concatenate([ride.distance + 1e-6 * ride.time for ride in rides])
    known_at, known_place = np.empty(0), np.empty(0, dtype=np.int64)  # passages, sorted
    count = 0
    samples: list[float] = []
    places: list[int] = []
    for start, end in zip(starts, tracks.ends, strict=True):
        sample, distance = float(start), float(axis[start])
        while True:
            reach = float(np.interp(distance + 1.6 * spacing, axis[start:end],
                                    np.arange(start, end)))
            least = float(np.interp(distance + 0.5 * spacing, axis[start:end],
                                    np.arange(start, end)))
            lo, hi = np.searchsorted(known_at, [least, reach])
            if hi > lo:
                # Of the known places within reach the one nearest to an even spacing.
                gone = np.interp(known_at[lo:hi], np.arange(start, end), axis[start:end]) - distance
                best = lo + int(np.argmin(np.abs(gone - spacing)))
                sample, place = float(known_at[best]), int(known_place[best])
            else:
                if samples and samples[-1] >= start:
                    if distance + spacing >= axis[end - 1]:
                        break
                    sample = float(np.interp(distance + spacing, axis[start:end],
                                             np.arange(start, end)))
                place = count
                count += 1
                whole = int(sample)
                part = sample - whole
                nxt = min(whole + 1, end - 1)
                spot = (tracks.x[whole] * (1 - part) + tracks.x[nxt] * part,
                        tracks.y[whole] * (1 - part) + tracks.y[nxt] * part)
                more = tracks.passages(spot, sample + 3.0)
                known_at = np.concatenate([known_at, more])
                known_place = np.concatenate([known_place, np.full(len(more), place)])
                order = np.argsort(known_at, kind="stable")
                known_at, known_place = known_at[order], known_place[order]
            samples.append(sample)
            places.append(place)
            distance = float(np.interp(sample, np.arange(start, end), axis[start:end]))
    at = np.array(samples)
    number = np.searchsorted(tracks.ends, at, side="right")
    time = np.concatenate([ride.time for ride in rides])
    return Nodes(number, np.interp(at, np.arange(len(time)), time), np.array(places), count)
