"""A ride cut at its nodes: work, kinetic energy, distance and air of each segment."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.conditions.air import air_density_along
from optimizer.conditions.wind import wind_along
from optimizer.physics import GRAVITY, DragArea, Setup, aerodynamic_force
from optimizer.ride.places import Nodes, heading_of
from optimizer.ride.spans import longest_step

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.ride.ride import Ride

__all__ = ["Along", "Samples", "Segments", "cut", "drag_energy"]

_OPEN_LAND = 0.03  # m, roughness length of open land in the classes of Davenport and Wieringa
_UNIT = DragArea.constant(1.0)


@dataclass(frozen=True)
class Along:
    """What a plan knows of the road under each sample of a ride; each (n,).

    Attributes
    ----------
    heading : of the road [rad clockwise from north]
    density : of the air [kg/m³]
    east, north : where the air is thought to move to, at the rider [m/s]
    area : CdA in the planned position and yaw, over the one that is asked for
    rolling : Crr over its mean
    """

    heading: NDArray[np.float64]
    density: NDArray[np.float64]
    east: NDArray[np.float64]
    north: NDArray[np.float64]
    area: NDArray[np.float64]
    rolling: NDArray[np.float64]

    def between(self, first: int, end: int) -> Along:
        """Give the samples from `first` to before `end`."""
        part = slice(first, end)
        return Along(self.heading[part], self.density[part], self.east[part], self.north[part],
                     self.area[part], self.rolling[part])


@dataclass(frozen=True)
class Samples:
    """All rides sample by sample, each with the segment that it lies in.

    Attributes
    ----------
    segment : (n,) number of the segment, -1 for what lies in none
    weight : (n,) seconds of the segment that the sample stands for
    speed : (n,) m/s
    heading : (n,) rad; nan where unknown
    density : (n,) kg/m³
    east, north : (n,) where the air is thought to move to, at the rider [m/s]
    area : (n,) CdA over the one that is asked for
    """

    segment: NDArray[np.int64]
    weight: NDArray[np.float64]
    speed: NDArray[np.float64]
    heading: NDArray[np.float64]
    density: NDArray[np.float64]
    east: NDArray[np.float64]
    north: NDArray[np.float64]
    area: NDArray[np.float64]


@dataclass(frozen=True)
class Segments:
    """The energy of each segment between two nodes.

    Attributes
    ----------
    nodes : the moments and places; `first` (s,) is the node at the start of each segment,
        `first` + 1 the one at its end
    ride : (s,) number of the ride
    clock : (s,) seconds of the middle, on one clock for all rides
    duration, length : (s,) s, m
    rolled : (s,) m of a road with the mean Crr that take as much
    work : (s,) J at the wheel
    kinetic : (s,) J gained
    bearing : (s,) J lost in bearings
    speed : (s,) mean, m/s
    node_clock, node_height, node_distance : (k,) at the nodes; height nan where unknown
    complete : (s,) whether everything was recorded throughout
    mass, effective_mass : kg, rider with bike; the latter with the inertia of the wheels
    samples : what the air's share is summed over
    """

    nodes: Nodes
    first: NDArray[np.int64]
    ride: NDArray[np.int64]
    clock: NDArray[np.float64]
    duration: NDArray[np.float64]
    length: NDArray[np.float64]
    rolled: NDArray[np.float64]
    work: NDArray[np.float64]
    kinetic: NDArray[np.float64]
    bearing: NDArray[np.float64]
    speed: NDArray[np.float64]
    node_clock: NDArray[np.float64]
    node_height: NDArray[np.float64]
    node_distance: NDArray[np.float64]
    complete: NDArray[np.bool_]
    mass: float
    effective_mass: float
    samples: Samples

    def __len__(self) -> int:
        return len(self.first)


def cut(rides: Sequence[Ride], conditions: Sequence[Conditions], setup: Setup, rider_mass: float,
        nodes: Nodes, along: Sequence[Along] = ()) -> Segments:
    """Cut rides at their nodes.

    `conditions`: one a ride, for the air; `setup`: efficiency, inertia,
    bearings and mass, taken as known; `along`: what a plan knows of each ride, if there is one.
    """
    parts = [_cut_one(ride, offset, setup, nodes, number,
                      along[number] if along else _nothing_known(weather, ride))
             for number, (ride, offset, weather)
             in enumerate(zip(rides, _clock_offsets(rides), conditions, strict=True))]
    first = np.flatnonzero(nodes.ride[1:] == nodes.ride[:-1])
    counts = np.cumsum([0, *(len(part["duration"]) for part in parts)])

    def joined(name: str) -> NDArray[np.float64]:
        return np.concatenate([part[name] for part in parts])

    mass = rider_mass + setup.mass
    effective = mass + setup.spinning_mass
    speed = joined("node_speed")
    segment = np.concatenate([np.where(part["segment"] >= 0, part["segment"] + start, -1)
                              for part, start in zip(parts, counts[:-1], strict=True)])
    return Segments(
        nodes=nodes, first=first, ride=nodes.ride[first],
        clock=joined("clock"), duration=joined("duration"), length=joined("length"),
        rolled=joined("rolled"),
        work=setup.drivetrain_efficiency * joined("work"),
        kinetic=0.5 * effective * (speed[first + 1]**2 - speed[first]**2),
        bearing=joined("bearing"), speed=joined("length") / joined("duration"),
        node_clock=joined("node_clock"), node_height=joined("node_height"),
        node_distance=joined("node_distance"), complete=joined("complete").astype(bool), mass=mass,
        effective_mass=effective,
        samples=Samples(segment.astype(np.int64), joined("weight"), joined("speed"),
                        joined("heading"), joined("density"), joined("east"), joined("north"),
                        joined("area")))


def _clock_offsets(rides: Sequence[Ride]) -> list[float]:
    """Start of each ride on one clock; ten minutes between rides that have none."""
    if all(ride.start is not None for ride in rides):
        zero = min(ride.start for ride in rides if ride.start is not None)
        return [(ride.start - zero).total_seconds() for ride in rides if ride.start is not None]
    ends = np.cumsum([ride.duration + 600.0 for ride in rides])
    return [0.0, *(float(end) for end in ends[:-1])]


def _cut_one(ride: Ride, offset: float, setup: Setup, nodes: Nodes, number: int,
             along: Along) -> dict[str, NDArray[np.float64]]:
    at = nodes.time[nodes.ride == number]
    time = ride.time
    power = np.where(np.isfinite(ride.power), ride.power, 0.0)
    duration = np.diff(at)
    a, b = setup.bearing
    # Each sample stands for the time half-way to its neighbours, within its segment.
    edges = np.concatenate([[time[0]], 0.5 * (time[1:] + time[:-1]), [time[-1]]])
    segment = np.searchsorted(at, time, side="right") - 1
    segment = np.where((time < at[0]) | (segment >= len(duration)), -1, segment)
    inside = np.clip(segment, 0, len(duration) - 1)
    weight = np.maximum(np.minimum(edges[1:], at[inside + 1])
                        - np.maximum(edges[:-1], at[inside]), 0.0)
    weight = np.where(segment >= 0, weight, 0.0)
    total = np.bincount(inside, weight, len(duration))
    weight = weight * np.divide(duration, total, out=np.zeros_like(total), where=total > 0)[inside]
    blind = np.interp(at, time, _running(time, _missing(ride)))
    ridden = np.bincount(inside, weight * ride.speed, len(duration))
    travelled = np.diff(np.interp(at, time, ride.distance))
    return {
        "segment": segment.astype(float), "weight": weight, "speed": ride.speed,
        "heading": along.heading, "density": along.density, "east": along.east,
        "north": along.north, "area": along.area,
        "clock": offset + 0.5 * (at[1:] + at[:-1]), "duration": duration, "length": travelled,
        "rolled": travelled * np.divide(
            np.bincount(inside, weight * ride.speed * along.rolling, len(duration)), ridden,
            out=np.ones_like(ridden), where=ridden > 0),
        "work": np.diff(np.interp(at, time, _running(time, power))),
        "bearing": a * travelled + b * np.diff(np.interp(at, time, _running(time, ride.speed**2))),
        "node_clock": offset + at, "node_height": _around(ride, ride.elevation, at),
        "node_speed": _around(ride, ride.speed, at),
        "node_distance": np.interp(at, time, ride.distance),
        "complete": (np.diff(blind) < 0.5) & (total > 0)}


def _running(time: NDArray[np.float64], values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Integral over time from the first sample, by trapezia."""
    return np.concatenate([[0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(time))])


def _missing(ride: Ride) -> NDArray[np.float64]:
    """1 where power or samples are missing, else 0."""
    most, step = longest_step(ride.time), np.diff(ride.time)
    gap = (np.append(0.0, step) > most) | (np.append(step, 0.0) > most)
    return np.where(gap | ~np.isfinite(ride.power), 1.0, 0.0)


def _around(ride: Ride, values: NDArray[np.float64],
            at: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean of the five samples about a moment, which is less noisy than one."""
    kernel = np.ones(5)
    padded = np.pad(values, 2, mode="reflect", reflect_type="odd")
    return np.asarray(np.interp(at, ride.time, np.convolve(padded, kernel / 5.0, mode="valid")))


def _nothing_known(conditions: Conditions, ride: Ride) -> Along:
    """One drag and one road throughout, in the weather over open land, hour by hour."""
    same = np.ones(len(ride.time))
    height = ride.elevation if ride.has_elevation else conditions.reference_elevation * same
    density = air_density_along(conditions, height, ride.distance, ride.time)
    # Head and cross wind of somebody who rides north.
    south, east = wind_along(conditions, ride.distance, ride.time, 0.0 * same, _OPEN_LAND * same,
                             same)
    return Along(heading_of(ride), density, east, -south, same, same)


def drag_energy(segments: Segments, east: float, north: float,
                ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(s,) energy that the air takes per unit of CdA [J/m²], and its slope by speed.

    `east`, `north`: what the wind at the rider is more than was thought [m/s]. Where the
    heading is unknown the air is taken as calm.
    """
    samples = segments.samples
    inside = samples.segment >= 0
    way = samples.speed * samples.weight
    force, slope = _unit_drag(segments, east, north)
    out = np.zeros((2, len(segments)))
    for k, values in enumerate((force, slope)):
        out[k] = np.bincount(samples.segment[inside], (values * way)[inside], len(segments))
    return out[0], out[1]


def _unit_drag(segments: Segments, east: float, north: float,
               ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Force at each sample per unit of CdA [N/m²], and its slope by speed."""
    samples = segments.samples
    sine, cosine = np.sin(samples.heading), np.cos(samples.heading)
    east_all, north_all = samples.east + east, samples.north + north
    headwind = np.nan_to_num(-(east_all * sine + north_all * cosine))
    crosswind = np.nan_to_num(east_all * cosine - north_all * sine)
    force, slope, _ = aerodynamic_force(samples.speed, headwind, crosswind, samples.density, _UNIT)
    return samples.area * force, samples.area * slope


def gravity_of(segments: Segments) -> float:
    """Weight of rider and bike [N]."""
    return segments.mass * GRAVITY
