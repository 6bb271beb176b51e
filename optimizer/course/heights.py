"""Heights of the road from heights in a file: steps, spikes, bridges, drift, noise."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from optimizer.course.geodesy import cartesian
from optimizer.course.smoothing import Smooth, running_median, smooth

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course.cleaning import Log

__all__ = ["Heights", "road_heights"]

# Half of a wave of 94 m passes: shorter ones move no rider, who carries 5 m of height in speed.
_LEAST_PENALTY = 5.0
_MASKS = (0.0, 30.0, 60.0)  # m, lengths over which noise may hang together
_MORE_NOISE = 1.3  # times; less is chance
_STAIR_SHARE = 0.45  # of steps without any change of height
_RISERS, _ALONE = 3, 0.3  # risers that stand alone: at least so many, and so large a share
_RISER_SD = 0.2  # m
_SPIKE = 6.0  # m
_STEEP = 0.25  # steeper, down and up again at once, is no road but a bridge or a fault
_DENSE = 40.0  # m
_ROUGH = (2.0, 20.0, 200.0)  # penalties, per datum and 10 m
_NO_ROAD = 8.0  # m
_LONGEST_BRIDGE, _LONGEST_TUNNEL = 1500.0, 4000.0  # m
_SAME_ROAD, _ANOTHER_PASS = 15.0, 300.0  # m beside, m along
_THIN, _MOST_PLACES = 20.0, 5000  # m between places that are looked at, at most so many
_SMOOTH = 0.05  # m of noise; heights written to 0.1 m have 0.03 (the sd of an even distribution)
_DRIFT_PER_KM, _DRIFT_LASTS = 1.8, 10.0  # m², km: 3 m of standard deviation


@dataclass(frozen=True)
class Heights:
    """Heights at the nodes with their standard error, and that of the grade [m, -]."""

    values: NDArray[np.float64]
    noise_sd: float
    height_sd: float
    grade_sd: float


def road_heights(where: NDArray[np.float64], height: NDArray[np.float64],
                 nodes: NDArray[np.float64], latitude: NDArray[np.float64],
                 longitude: NDArray[np.float64], penalty: float | None, log: Log) -> Heights:
    """Heights of the road at even nodes.

    Parameters
    ----------
    where, height : (p,) m along, m; what the file says
    nodes : (n + 1,) m along, even
    latitude, longitude : (n + 1,) degrees, to see where the course comes by again
    penalty : of the smoothing; None lets the data choose
    log : of what was corrected

    Returns
    -------
    heights (n + 1,) and their standard error [m]
    """
    data = _Data(where, height, np.ones(len(where)))
    if log.wants("spikes"):
        data = _without_spikes(data, log)
    if log.wants("steps"):
        data = _without_steps(data, log)
    if log.wants("bridges"):
        data = _over_bridges(data, nodes, log)
    if not log.wants("heights"):
        return Heights(np.interp(nodes, data.where, data.height), 0.0, 0.0, 0.0)
    data = _bridged_gaps(data)
    chosen = _choose(data, nodes, penalty)
    fit = _fit(data, nodes, chosen.penalty)
    if log.wants("drift"):
        drift = np.interp(data.where, nodes, _drift(fit, nodes, latitude, longitude, log))
        fit = _fit(replace(data, height=data.height - drift), nodes, chosen.penalty)
    _note_steep(fit, nodes, log)
    height_sd, grade_sd = _errors(chosen, nodes)
    before, after = f"{_ascent(height):.0f} m", f"{_ascent(fit):.0f} m"
    smooth_already = chosen.noise_sd < _SMOOTH and before == after
    log.corrected("heights", "noise of the heights", 0 if smooth_already else len(where),
                  f"smoothed: ascent {before} in the file, {after} now")
    return Heights(fit, chosen.noise_sd, height_sd, grade_sd)


def _ascent(height: NDArray[np.float64]) -> float:
    return float(np.maximum(np.diff(height), 0.0).sum())


# --- smoothing --------------------------------------------------------------------------


@dataclass(frozen=True)
class _Data:
    """Heights to be smoothed: (p,) m along, m, relative precision with a typical value of 1."""

    where: NDArray[np.float64]
    height: NDArray[np.float64]
    weight: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.where)

    def take(self, which: NDArray[np.bool_] | NDArray[np.int64]) -> _Data:
        return _Data(self.where[which], self.height[which], self.weight[which])


@dataclass(frozen=True)
class _Choice:
    """The penalty that the data ask for, and the data that asked, with theirs."""

    penalty: float
    noise_sd: float
    asked: _Data
    own_penalty: float


def _smooth(data: _Data, nodes: NDArray[np.float64], penalty: float | None = None) -> Smooth:
    return smooth(data.where / nodes[-1] * (len(nodes) - 1), data.height, len(nodes),
                  weight=data.weight, penalty=penalty)


def _fit(data: _Data, nodes: NDArray[np.float64], penalty: float) -> NDArray[np.float64]:
    return _smooth(data, nodes, penalty).values


def _choose(data: _Data, nodes: NDArray[np.float64], penalty: float | None) -> _Choice:
    """Penalty from the data's own noise.

    Noise of a terrain model or a barometer hangs together over some length and then looks
    like road to a criterion that takes data as independent. So it is asked again of data
    thinned to one in 30 m and in 60 m; where more noise shows there, that answer holds, with
    all the data between counted as the copies that they are. On a recorded ride it is the one
    whose grades explain the measured power best.
    """
    step = float(nodes[1] - nodes[0])
    # λ per datum and 10 m of road, whatever the grid: Σ (second difference)² of one curve
    # falls with the cube of its step.
    unit = (10.0 / step) ** 3 * len(data) * 10.0 / float(nodes[-1])
    best: _Choice | None = None
    for mask in _MASKS:
        kept = np.flatnonzero(np.diff(np.floor(data.where / mask), prepend=-1.0) > 0) if mask else \
            np.arange(len(data))
        if best is not None and len(kept) < max(30, len(data) // 100):
            break
        asked = data.take(kept)
        own = _smooth(asked, nodes)
        share = len(data) / len(kept)
        if best is None or own.noise_sd > _MORE_NOISE * best.noise_sd:
            best = _Choice(max(own.penalty * share, _LEAST_PENALTY * unit), own.noise_sd,
                           asked, max(own.penalty, _LEAST_PENALTY * unit / share))
    assert best is not None  # noqa: S101 - the first mask keeps every point
    if penalty is not None:
        strength = penalty * unit
        return replace(best, penalty=strength, own_penalty=strength * len(best.asked) / len(data))
    return best


def _errors(choice: _Choice, nodes: NDArray[np.float64]) -> tuple[float, float]:
    """Give the standard errors of heights and of grades over 100 m: noise that is left."""
    noise = np.random.default_rng(0).standard_normal(len(choice.asked))
    left = _fit(replace(choice.asked, height=choice.noise_sd * noise
                        / np.sqrt(choice.asked.weight)), nodes, choice.own_penalty)
    span = max(min(round(100.0 / (nodes[1] - nodes[0])), len(nodes) - 1), 1)
    slope = (left[span:] - left[:-span]) / (nodes[span] - nodes[0])
    return float(np.sqrt(np.mean(left**2))), float(np.sqrt(np.mean(slope**2)))


def _bridged_gaps(data: _Data) -> _Data:
    """Points on the straight line through gaps over 300 m, where a spline would swing out."""
    where = data.where
    gaps = np.flatnonzero(np.diff(where) > 300.0)
    if not len(gaps):
        return data
    fresh = np.concatenate([np.arange(where[k] + 100.0, where[k + 1] - 50.0, 100.0) for k in gaps])
    return _merged(data, _Data(fresh, np.interp(fresh, where, data.height), np.ones(len(fresh))))


def _merged(*parts: _Data) -> _Data:
    where, height, weight = (np.concatenate([getattr(part, name) for part in parts])
                             for name in ("where", "height", "weight"))
    return _Data(where, height, weight).take(np.argsort(where, kind="stable"))


# --- what is wrong with heights ---------------------------------------------------------


def _without_spikes(data: _Data, log: Log) -> _Data:
    """Drop heights that stand out of their five neighbours by more than any road can."""
    where, height = data.where, data.height
    if len(height) < 7:
        return data
    middle = running_median(height, 5)
    off = np.abs(height - middle)
    reach = np.interp(np.arange(len(where)) + 2, np.arange(len(where)), where) - np.interp(
        np.arange(len(where)) - 2, np.arange(len(where)), where)
    usual = 1.4826 * float(np.median(off))
    wrong = off > np.maximum(_SPIKE, 6 * usual) + 0.3 * np.minimum(reach, 100.0)
    log.corrected("spikes", "single wrong heights", int(wrong.sum()),
                  f"dropped, up to {off[wrong].max(initial=0.0):.0f} m off")
    return data.take(~wrong)


def _without_steps(data: _Data, log: Log) -> _Data:
    """Turn stairs into what they say: the height half way up each riser, where it stands.

    Rounded heights are wrong on a tread by up to half a step, but right at its edge; so are
    those of a terrain model's cells half way between two. Hilltops and hollows have no edge;
    see `_beyond_middle`.
    """
    where, height = data.where, data.height
    change = np.diff(height)
    if len(change) < 10 or np.mean(change == 0.0) < _STAIR_SHARE or not _stairs(change != 0.0):
        return data
    rise = np.flatnonzero(change)
    riser_at = 0.5 * (where[rise] + where[rise + 1])
    riser = 0.5 * (height[rise] + height[rise + 1])
    turns = np.flatnonzero(np.sign(change[rise[:-1]]) != np.sign(change[rise[1:]]))
    tread_at = 0.5 * (riser_at[turns] + riser_at[turns + 1])
    tread = height[rise[turns] + 1]
    least = float(np.abs(change[rise]).min())
    if np.allclose(height / least, np.round(height / least), atol=0.01):
        tread = tread + _beyond_middle(riser_at, change[rise], turns)
    size = float(np.median(np.abs(change[rise])))
    log.corrected("steps", "steps in the heights", len(rise),
                  f"of {size:.1f} m, turned into slopes")
    if size > 1.5:
        log.warnings.append(f"The heights come in steps of {size:.0f} m; short climbs between two "
                            "steps cannot be seen.")
    ends = _Data(where[[0, -1]], height[[0, -1]], np.ones(2))
    if len(rise) < 2:
        return _merged(ends, _Data(riser_at, riser, np.ones(1)))
    # A riser stands anywhere between its two points: so much the height is off where it is steep.
    slope = np.abs(change[rise]) / np.maximum(np.gradient(riser_at), 1.0)
    sd = np.hypot((where[rise + 1] - where[rise]) * slope / np.sqrt(12.0), _RISER_SD)
    scale = float(np.exp(np.mean(np.log(sd))))
    others = min(scale**2, 1.0)
    return _merged(replace(ends, weight=np.full(2, others)),
                   _Data(riser_at, riser, (scale / sd) ** 2),
                   _Data(tread_at, tread, np.full(len(tread), others)))


def _stairs(rises: NDArray[np.bool_]) -> bool:
    """Whether most risers stand alone, between treads; on a ramp one follows on the other."""
    before, after = np.append(False, rises[:-1]), np.append(rises[1:], False)
    alone = np.count_nonzero(rises & ~before & ~after)
    return bool(alone >= _RISERS and alone >= _ALONE * np.count_nonzero(rises))


def _beyond_middle(riser_at: NDArray[np.float64], change: NDArray[np.float64],
                   turns: NDArray[np.int64]) -> NDArray[np.float64]:
    """How far hilltops and hollows lie beyond the middle of their tread, for rounded heights.

    The parabola through the two edges of the tread and the next edge out: with w the tread,
    d the one before it and q the step, it rises r = q / ((1 + 2d/w)² - 1) above the edge.
    """
    width = riser_at[turns + 1] - riser_at[turns]
    step = np.abs(change[turns])
    rise, sides = np.zeros(len(turns)), np.zeros(len(turns))
    for edge, next_out in ((turns, turns - 1), (turns + 1, turns + 2)):
        known = (next_out >= 0) & (next_out < len(riser_at))
        outer = np.clip(next_out, 0, len(riser_at) - 1)
        known &= np.sign(change[outer]) == np.sign(change[edge])
        before = np.abs(riser_at[edge] - riser_at[outer])
        slope = 1.0 + 2.0 * before / width
        rise += np.where(known, step / np.maximum(slope**2 - 1.0, 1e-3), 0.0)
        sides += known
    beyond = np.where(sides > 0, rise / np.maximum(sides, 1), 0.5 * step)
    return np.asarray(np.sign(change[turns]) * (np.minimum(beyond, step) - 0.5 * step))


def _over_bridges(data: _Data, nodes: NDArray[np.float64], log: Log) -> _Data:
    """Lay a straight line over what only a terrain model rides: valleys, hills over tunnels.

    Steep down and soon steep up again, or the other way round, with both rims on one gentle
    line, is no road.
    """
    where, height = data.where, data.height
    if np.median(np.diff(where)) > _DENSE:
        return data  # a slope between two points is all there is to see
    rough = _rough(data, nodes)
    grade = np.diff(rough) / np.diff(nodes)
    steep = np.sign(grade) * (np.abs(grade) > _STEEP)
    edges = np.flatnonzero(np.diff(np.concatenate([[0.0], steep, [0.0]])))
    flanks = [(int(a), int(b), int(steep[a])) for a, b in pairwise(edges) if steep[a]]
    said = np.interp(nodes, where, height)  # where few heights are left the curve swings
    spans: list[tuple[int, int]] = []
    alone: list[tuple[float, int]] = []
    k = 0
    while k < len(flanks):
        rims = _paired(rough, nodes, grade, *flanks[k:k + 2])
        if rims is None:
            a, b, _ = flanks[k]
            alone.append((abs(said[b] - said[a]), a))
        else:
            spans.append(rims)
        k += 1 if rims is None else 2
    size, place = max(alone, default=(0.0, 0))
    if size > _NO_ROAD:
        log.warnings.append(f"At km {nodes[place] / 1000:.1f} the heights jump by {size:.0f} m, "
                            "steeper than roads are; the grades there may be wrong.")
    if not spans:
        return data
    level, deepest = height.copy(), 0.0
    for a, b in spans:
        inside = (where > nodes[a]) & (where < nodes[b])
        level[inside] = np.interp(where[inside], nodes[[a, b]], rough[[a, b]])
        deepest = max(deepest, float(np.abs(height - level)[inside].max(initial=0.0)))
    places = ", ".join(f"{nodes[a] / 1000:.1f}" for a, _ in spans[:5])
    log.corrected("bridges", "dips and humps that no road has (bridges, tunnels, faults)",
                  len(spans), f"levelled (km {places}{' ...' if len(spans) > 5 else ''}), "
                  f"up to {deepest:.0f} m")
    return replace(data, height=level)


def _rough(data: _Data, nodes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Smooth just so much that noise makes no grades of more than a few percent."""
    step = float(nodes[1] - nodes[0])
    curvature = np.diff(data.height, 2)
    noise_sd = 1.4826 * float(np.median(np.abs(curvature))) / np.sqrt(6.0)
    noise = noise_sd * np.random.default_rng(0).standard_normal(len(data))
    density = max(len(data) / len(nodes), 0.05)
    for strength in _ROUGH:
        penalty = strength * density * (10.0 / step) ** 3
        if np.std(np.diff(_fit(replace(data, height=noise), nodes, penalty))) < 0.04 * step:
            break
    return _fit(data, nodes, penalty)


def _paired(height: NDArray[np.float64], nodes: NDArray[np.float64], grade: NDArray[np.float64],
            *flanks: tuple[int, int, int]) -> tuple[int, int] | None:
    """Rims of a dip or hump between two steep flanks, or None where they are none."""
    if len(flanks) < 2:
        return None
    (a, _, sign), (_, b, other) = flanks
    longest = _LONGEST_BRIDGE if sign < 0 else _LONGEST_TUNNEL
    if sign == other or nodes[b] - nodes[a] > longest:
        return None
    return _rims(height, nodes, grade, a, b)


def _rims(height: NDArray[np.float64], nodes: NDArray[np.float64], grade: NDArray[np.float64],
          a: int, b: int) -> tuple[int, int] | None:
    """Nodes where the gentle road ends and begins again; None where there is no such line."""
    reach = max(int(150.0 / (nodes[1] - nodes[0])), 1)
    for _ in range(3):
        chord = (height[b] - height[a]) / (nodes[b] - nodes[a])
        start, end = a, b
        while a > max(start - reach, 0) and abs(grade[a - 1] - chord) > 0.06:
            a -= 1
        while b < min(end + reach, len(grade)) and abs(grade[b] - chord) > 0.06:
            b += 1
        if (a, b) == (start, end):
            break
    line = np.interp(nodes[a:b + 1], nodes[[a, b]], height[[a, b]])
    off = height[a:b + 1] - line
    chord = (height[b] - height[a]) / (nodes[b] - nodes[a])
    if abs(chord) > 0.12 or np.abs(off).max() < 4.0:
        return None
    # All on one side of the line: a dip or a hump, not a wave.
    if min(off.max(), -off.min()) > 0.25 * np.abs(off).max():
        return None
    return a, b


def _note_steep(height: NDArray[np.float64], nodes: NDArray[np.float64], log: Log) -> None:
    grade = np.diff(height) / np.diff(nodes)
    worst = int(np.argmax(np.abs(grade)))
    if abs(grade[worst]) > _STEEP:
        log.warnings.append(f"A grade of {grade[worst]:+.0%} at km {nodes[worst] / 1000:.1f} is "
                            "steeper than roads are; the heights there may be wrong.")


# --- drift ------------------------------------------------------------------------------


def _drift(height: NDArray[np.float64], nodes: NDArray[np.float64],
           latitude: NDArray[np.float64], longitude: NDArray[np.float64],
           log: Log) -> NDArray[np.float64]:
    """Drift (n + 1,) of a barometer, from places that the course comes by more than once.

    A random walk along the way, fitted to the differences between passes by least squares.
    """
    first, second, beyond = _passes(nodes, latitude, longitude)
    none = np.zeros_like(height)
    # Legs of a hairpin run side by side at other heights: no drift is as fast as that.
    higher = height[first] - height[second] - beyond * np.gradient(height, nodes)[second]
    gap = np.abs(higher)
    lasting = np.minimum(np.abs(nodes[first] - nodes[second]) / 1000.0, _DRIFT_LASTS)
    possible = gap < 2.0 + 3.0 * np.sqrt(_DRIFT_PER_KM * lasting)
    first, second = first[possible], second[possible]
    gap, higher = gap[possible], higher[possible]
    if not len(first) or np.sqrt(np.mean(gap**2)) < 1.0:
        return none
    knots = np.linspace(0.0, nodes[-1], min(max(int(nodes[-1] / 1000.0), 2), 1000) + 1)
    rows = _hat(nodes[first], knots) - _hat(nodes[second], knots)
    step_sd = np.sqrt(_DRIFT_PER_KM * (knots[1] - knots[0]) / 1000.0)
    walk = np.diff(np.eye(len(knots)), axis=0) / step_sd
    normal = rows.T @ rows + walk.T @ walk + 1e-6 * np.eye(len(knots))
    knot_drift = np.linalg.solve(normal, rows.T @ higher)
    drift = np.interp(nodes, knots, knot_drift - knot_drift.mean())
    log.corrected("drift", "places passed again at another height", len(first),
                  f"up to {gap.max():.0f} m, evened out along the way")
    return np.asarray(drift)


def _hat(where: NDArray[np.float64], knots: NDArray[np.float64]) -> NDArray[np.float64]:
    """(m, k) weights of linear interpolation between knots."""
    scaled = where / knots[-1] * (len(knots) - 1)
    left = np.minimum(scaled.astype(np.int64), len(knots) - 2)
    weights = np.zeros((len(where), len(knots)))
    rows = np.arange(len(where))
    weights[rows, left] = 1 - (scaled - left)
    weights[rows, left + 1] = scaled - left
    return weights


def _passes(nodes: NDArray[np.float64], latitude: NDArray[np.float64],
            longitude: NDArray[np.float64],
            ) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Pairs of nodes where one road is ridden twice, along or against; and a closed course.

    The third array says how far the first place lies beyond the second, along its way [m].
    """
    from scipy.spatial import cKDTree

    apart = max(_THIN, nodes[-1] / _MOST_PLACES)  # laps by the hundred make pairs by the million
    thin = np.arange(0, len(nodes), max(round(apart / (nodes[1] - nodes[0])), 1))
    thin = np.unique(np.append(thin, len(nodes) - 1))
    everywhere = cartesian(latitude, longitude).T
    place = everywhere[thin]
    way = np.gradient(everywhere, axis=0)[thin]
    way = way / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-9)
    pairs = cKDTree(place).query_pairs(_SAME_ROAD, output_type="ndarray")
    pairs = pairs[np.abs(nodes[thin[pairs[:, 0]]] - nodes[thin[pairs[:, 1]]]) > _ANOTHER_PASS]
    first, second = pairs.min(axis=1), pairs.max(axis=1)
    same = np.abs(np.sum(way[first] * way[second], axis=1)) > 0.9
    closed = (first == 0) & (second == len(thin) - 1)
    first, second = first[same | closed], second[same | closed]
    every = max(len(first) // 5_000, 1)
    first, second = first[::every], second[::every]
    beyond = np.sum((place[first] - place[second]) * way[second], axis=1)
    return thin[first], thin[second], beyond
