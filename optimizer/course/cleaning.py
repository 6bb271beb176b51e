"""Correct a track point by point: order, repeats, stops, jumps, gaps, missing heights."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from optimizer.course.course import Correction
from optimizer.course.geodesy import east_north, step_lengths
from optimizer.course.smoothing import running_median
from optimizer.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course.gpx import Points

__all__ = ["MENDING", "Cleaning", "Log", "clean_points"]

# What can be left undone, by the name that switches it off.
MENDING = {
    "order": "points sorted by time",
    "repeats": "points at the same place merged",
    "stops": "points gathered while standing merged",
    "tangles": "small full circles round the place of a stop cut out",
    "jumps": "points far off the road dropped",
    "positions": "noise taken out of the positions",
    "spikes": "single wrong heights dropped",
    "bridges": "valleys under bridges and hills over tunnels cut out of the heights",
    "steps": "stairs in the heights turned into slopes",
    "drift": "heights made equal where the course comes by again",
    "heights": "heights smoothed",
}

_SAME_PLACE = 0.01  # m
_STOP_TIME, _STOP_RADIUS = 15.0, 6.0  # s, m: slower than 0.4 m/s is no riding
# A full circle so short, that ends so near its begin and on one level: of a radius that nobody
# rides at racing speed. Where the file has times it has to be as slow as pushing a bike about.
_CIRCLE_WAY, _CIRCLE_ENDS, _CIRCLE_LEVEL = 80.0, 5.0, 3.0  # m
_CIRCLE_TURN, _CIRCLE_SPEED = np.radians(300.0), 4.0  # rad, m/s
_JUMP = 100.0  # m
_TOO_FAST = 40.0  # m/s
_JOINED = 200.0  # m; segments that end and begin nearer than this belong together
_HEIGHTS = (-450.0, 9000.0)  # m, from below the lowest road to above the highest


@dataclass(frozen=True)
class Cleaning:
    """What may be corrected, and how strongly.

    Attributes
    ----------
    step : of the course's grid [m]
    skip : names from `MENDING` to leave undone
    penalty : of the smoothing of heights, on squared second differences per 10 m; None lets
        the data choose
    flat : take a course without heights as flat, instead of refusing it
    piece : which of several unconnected pieces to take, from 1; None the longest
    """

    step: float = 10.0
    skip: frozenset[str] = field(default_factory=frozenset)
    penalty: float | None = None
    flat: bool = False
    piece: int | None = None


class Log:
    """What was corrected and what to be wary of, in the order in which it was found."""

    def __init__(self, file: str, skip: frozenset[str]) -> None:
        unknown = sorted(skip - set(MENDING))
        if unknown:
            raise InputError(file, "", f'there is no correction "{unknown[0]}" to leave out',
                             f"the corrections are {', '.join(MENDING)}")
        self.file, self.skip = file, skip
        self.corrections: list[Correction] = []
        self.warnings: list[str] = []

    def wants(self, option: str) -> bool:
        """Tell whether the correction is switched on."""
        return option not in self.skip

    def corrected(self, option: str, what: str, count: int, effect: str) -> None:
        """Note a correction, if it changed anything."""
        if count:
            self.corrections.append(Correction(what, int(count), effect, option))


def clean_points(points: Points, cleaning: Cleaning, log: Log, *,
                 heights: bool = True) -> Points:
    """Points in order, apart from each other, without jumps, each with a height.

    Parameters
    ----------
    points : of a file
    cleaning : what may be corrected
    log : of what was corrected
    heights : whether a file without them is refused; else they are all nan

    Returns
    -------
    cleaned points

    Raises
    ------
    InputError
        where nothing is left to ride on, or heights are missing
    """
    points = _one_piece(_in_order(points, log), cleaning, log)
    if log.wants("repeats"):
        still = _lengths(points) <= _SAME_PLACE
        points = _merge(points, np.concatenate([[False], still]))
        log.corrected("repeats", "points at the same place", int(still.sum()), "merged into one")
    if log.wants("jumps"):
        points = _without_jumps(points, log)
    if log.wants("stops"):
        points = _without_stops(points, log)
    if log.wants("tangles"):
        points = _without_tangles(points, log)
    # Whatever is switched off, two points at one place have no direction between them.
    points = _merge(points, np.concatenate([[False], _lengths(points) <= 1e-6]))
    if len(points) < 2:
        raise InputError(log.file, "", "has no length: all its points are at one place",
                         "export the track of a ride, or a drawn course")
    _note_gaps(points, log)
    return _with_heights(points, cleaning, log, heights)


def _long(length: float) -> str:
    """Say a length [m], from ten kilometres on in kilometres."""
    return f"{length:.0f} m" if length < 10e3 else f"{length / 1000.0:.0f} km"


def _lengths(points: Points) -> NDArray[np.float64]:
    return step_lengths(points.latitude, points.longitude)


def _take(points: Points, which: NDArray[np.bool_] | NDArray[np.int64]) -> Points:
    return replace(points, **{name: getattr(points, name)[which] for name in (
        "latitude", "longitude", "elevation", "time", "segment")})


def _merge(points: Points, with_former: NDArray[np.bool_]) -> Points:
    """Merge each marked point into the one before it; heights are averaged where known."""
    if not with_former.any():
        return points
    group = np.cumsum(~with_former) - 1
    known = np.isfinite(points.elevation)
    counts = np.bincount(group, known)
    sums = np.bincount(group, np.where(known, points.elevation, 0.0))
    merged = _take(points, ~with_former)
    return replace(merged, elevation=np.where(counts > 0, sums / np.maximum(counts, 1), np.nan))


def _in_order(points: Points, log: Log) -> Points:
    """Sort by time, where that makes the way shorter; else the file's order is right."""
    back = np.diff(points.time) < 0
    if not back.any() or not log.wants("order"):
        return points
    if np.isfinite(points.time).all():
        ordered = _take(points, np.argsort(points.time, kind="stable"))
        if _lengths(ordered).sum() < _lengths(points).sum():
            log.corrected("order", "points out of order", int(back.sum()), "sorted by time")
            return ordered
    log.warnings.append("Times run backwards in the file; the order of its points was kept.")
    return points


def _one_piece(points: Points, cleaning: Cleaning, log: Log) -> Points:
    """Join segments that follow on each other; of several unconnected pieces take one."""
    steps = _lengths(points)
    new = np.diff(points.segment) != 0
    apart = new & (steps > _JOINED)
    piece = np.concatenate([[0], np.cumsum(apart)])
    inside = np.where(apart, 0.0, steps)
    lengths = np.bincount(piece[1:], inside, piece[-1] + 1)
    if cleaning.piece is not None and not 1 <= cleaning.piece <= len(lengths):
        raise InputError(log.file, "piece", f"has {len(lengths)} pieces, not {cleaning.piece}",
                         f"name a piece from 1 to {len(lengths)}")
    chosen = int(np.argmax(lengths)) if cleaning.piece is None else cleaning.piece - 1
    if np.count_nonzero(lengths > 100.0) > 1:
        others = ", ".join(f"{length / 1000:.1f}" for length in lengths)
        log.warnings.append(
            f"The file contains {len(lengths)} pieces that do not touch ({others} km); piece "
            f"{chosen + 1} was taken.")
    joined = new & ~apart & (piece[1:] == chosen) & (steps > _SAME_PLACE)
    log.corrected("", "breaks in the track", int(joined.sum()),
                  f"joined by straight lines, {_long(steps[joined].sum())} in all")
    return _take(points, piece == chosen)


def _without_jumps(points: Points, log: Log) -> Points:
    """Drop a few points in a row that lie far off the line of those before and after."""
    steps = _lengths(points)
    usual = running_median(steps, 21)
    pause = np.diff(points.time)
    slow = steps < _TOO_FAST * np.where(np.isfinite(pause), pause, 0.0)
    long = np.flatnonzero((steps > np.maximum(_JUMP, 15 * usual)) & ~slow)
    drop = np.zeros(len(points), dtype=bool)
    for first, second in pairwise(long):
        if second - first > 10 or drop[first]:
            continue
        ends = [first, second + 1]
        direct = step_lengths(points.latitude[ends], points.longitude[ends])[0]
        if direct < 0.5 * max(steps[first], steps[second]):
            drop[first + 1:second + 1] = True
    # A first or last fix from another country has nothing on its other side to return to.
    for at in long[steps[long] > 20_000.0]:
        if at < 5:
            drop[:at + 1] = True
        elif at > len(steps) - 6:
            drop[at + 1:] = True
    log.corrected("jumps", "points far off the road", int(drop.sum()), "dropped")
    return _take(points, ~drop)


def _without_stops(points: Points, log: Log) -> Points:
    """Merge what a receiver gathers while it stands: less than 6 m in 15 s."""
    if not np.isfinite(points.time).all() or (np.diff(points.time) < 0).any():
        return points
    later = np.searchsorted(points.time, points.time + _STOP_TIME)
    later = np.minimum(np.maximum(later, np.arange(len(points)) + 1), len(points) - 1)
    pairs = np.stack([np.arange(len(points)), later], axis=1).ravel()
    away = step_lengths(points.latitude[pairs], points.longitude[pairs])[::2]
    waited = points.time[later] - points.time >= _STOP_TIME
    standing = waited & (away < _STOP_RADIUS)
    # Point i + 1 stands with point i if any standing window covers both.
    edges = np.zeros(len(points) + 1)
    np.add.at(edges, np.flatnonzero(standing) + 1, 1)
    np.add.at(edges, later[standing] + 1, -1)
    covered = np.cumsum(edges)[:-1] > 0
    covered[0] = False
    stops = int(np.sum(np.diff(np.concatenate([[0], covered.astype(int)])) == 1))
    removed = _lengths(points)[covered[1:]].sum()
    log.corrected("stops", "stops", stops,
                  f"{int(covered.sum())} points merged, {_long(removed)} of wandering")
    return _merge(points, covered)


def _without_tangles(points: Points, log: Log) -> Points:
    """Cut out full circles of a few metres, which a rider turns, or a receiver, at a stop."""
    steps = _lengths(points)
    if not len(steps):
        return points
    east, north = east_north(points.latitude, points.longitude)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    change = (np.diff(np.arctan2(east, north)) + np.pi) % (2.0 * np.pi) - np.pi
    # Direction of the step that leaves each point, wound up; and how much was turned at all.
    wound = np.concatenate([[0.0], np.cumsum(change)])
    bent = np.concatenate([[0.0], np.cumsum(np.abs(change))])
    last = np.searchsorted(along, along[:-1] + _CIRCLE_WAY, side="right") - 1
    able = np.flatnonzero(bent[np.minimum(last, len(bent)) - 1] - bent >= _CIRCLE_TURN)
    keep = np.ones(len(points), dtype=bool)
    free = circles = 0
    x, y = np.concatenate([[0.0], np.cumsum(east)]), np.concatenate([[0.0], np.cumsum(north)])
    for i in able.tolist():
        later = np.arange(max(i, free) + 2, last[i] + 1)
        if i < free or not len(later):
            continue
        away = np.hypot(x[later] - x[i], y[later] - y[i])
        turned = np.abs(wound[later - 1] - wound[i])
        flat = ~(np.abs(points.elevation[later] - points.elevation[i]) > _CIRCLE_LEVEL)
        slow = ~((along[later] - along[i]) > _CIRCLE_SPEED * (points.time[later]
                                                              - points.time[i]))
        back = np.flatnonzero((away < _CIRCLE_ENDS) & (turned >= _CIRCLE_TURN) & flat & slow)
        if len(back):
            free = int(later[back[int(np.argmin(away[back]))]])
            keep[i + 1:free] = False
            circles += 1
    log.corrected("tangles", "full circles of a few metres", circles,
                  f"{_long(along[-1] - _lengths(_take(points, keep)).sum())} cut out")
    return _take(points, keep)


def _note_gaps(points: Points, log: Log) -> None:
    steps = _lengths(points)
    usual = float(np.median(steps))
    wide = steps > max(500.0, 20 * usual)
    if wide.any():
        where = float(np.concatenate([[0.0], np.cumsum(steps)])[int(np.argmax(steps))])
        longest = f"two points are {steps.max() / 1000:.1f} km apart"
        log.warnings.append(
            f"At km {where / 1000:.1f} {longest}: the road between them is not known."
            if wide.sum() == 1 else
            f"At {wide.sum()} places points are far apart: at km {where / 1000:.1f} {longest}. The "
            "road between them is not known.")
    if usual > 60.0:
        log.warnings.append(f"Points lie {usual:.0f} m apart; bends and slopes between them "
                            "cannot be seen.")


def _with_heights(points: Points, cleaning: Cleaning, log: Log, needed: bool) -> Points:
    """Fill missing heights along the way; refuse a track that has none."""
    height = points.elevation
    absurd = np.isfinite(height) & ((height < _HEIGHTS[0]) | (height > _HEIGHTS[1]))
    log.corrected("", "heights that no road has", int(absurd.sum()), "taken as missing")
    known = np.isfinite(height) & ~absurd
    if not known.any() or not np.any(height[known] != 0.0):
        if not needed:
            return replace(points, elevation=np.full(len(points), np.nan))
        if not cleaning.flat:
            raise InputError(log.file, "flat", "has no elevation, so its climbs are unknown",
                             "export it with elevation, or say that the course is flat")
        log.warnings.append("The file has no heights; the course is taken as flat, as you asked.")
        return replace(points, elevation=np.zeros(len(points)))
    if np.ptp(height[known]) == 0.0:
        log.warnings.append("Every height in the file is the same.")
    if known.all():
        return points
    along = np.concatenate([[0.0], np.cumsum(_lengths(points))])
    filled = np.interp(along, along[known], height[known])
    widest = float(np.max(np.diff(np.concatenate([[0.0], along[known], [along[-1]]]))))
    log.corrected("", "missing heights", int((~known).sum()),
                  f"drawn between known ones, at most {widest / 1000:.1f} km apart")
    if widest > 1000.0 or known.mean() < 0.5:
        log.warnings.append(f"Heights are missing at {np.mean(~known):.0%} of the points, up to "
                            f"{widest / 1000:.1f} km in a row.")
    return replace(points, elevation=filled)
