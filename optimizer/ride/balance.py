"""The energy balance of all segments as one regression, and the posterior of CdA and Crr.

Between two nodes the work at the wheel goes into height, speed, tyres and air (Martin et al.
1998, J. Appl. Biomech. 14:276):

    η W - ΔE_kin - E_bearing = m g Δh + Crr m g L + CdA ∫ ½ ρ v_a q ds

The height of each place is unknown and the same at every visit; the altimeter, where there is
one, sees it with an offset, a drift and noise. Given the wind all of that is linear, so CdA and
Crr have a closed posterior; the two components of the steady wind are summed over a grid. What
gusts, a slowly turning wind, errors of speed and place at the nodes and the altimeter leave is
correlated in known patterns, whose sizes the ride itself tells (`optimizer.ride.variance`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from optimizer.ride.feedback import expected_score, response
from optimizer.ride.segments import drag_energy, gravity_of
from optimizer.ride.variance import Fit, fit_variances, free_directions

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.ride.segments import Segments

__all__ = ["Assumptions", "Balance", "Posterior", "balance_of", "posterior_of"]

_GUST_TIME = 5.0  # s, integral time of the gusts a moving rider meets
_SWELL_TIME = 60.0  # s, of what lasts over several segments
_SLOW_TIME = 1200.0  # s, of a wind that turns and grows in the course of a test
_ALTIMETER_TIME = 120.0  # s, of an altimeter that follows wind and warmth
_HOUR = 3600.0
_ROUNDS = 4  # of linearising about the wind
_GRID = 15  # candidates of the wind a side
_REACH = 3.6  # standard deviations of the wind that the grid covers

# Name, median of the size (square of a standard deviation), in the unit that is named.
_PATTERNS = (
    ("gusts", 0.6**2),  # (m/s)²
    ("swell", 0.3**2),  # (m/s)²
    ("turning wind", 0.5**2),  # (m/s)²
    ("speed and place at the nodes", 0.15**2),  # m² of height
    ("noise of the altimeter", 0.5**2),  # m²
    ("wandering of the altimeter", 0.7**2),  # m²
    ("drift of the altimeter", 2.0**2),  # m² an hour
)
_LOG_SD = 1.4  # of a size: a factor of two in the standard deviation
_LEVEL_SD = 100.0  # m, of the altimeter's zero


@dataclass(frozen=True)
class Assumptions:
    """What a ride cannot tell, with its doubt.

    Attributes
    ----------
    power_scale_sd : relative, of the meter's calibration and the drivetrain's efficiency
    power_noise : relative, of one sample
    speed_scale_sd : relative, of the wheel's circumference
    mass_sd : relative, of rider with bike
    density_sd : relative, of the air
    rolling_resistance, rolling_resistance_sd : Crr before the test
    wind_sd : m/s, each component of the steady wind at the rider, against what was thought
    drag_area, drag_area_sd : m², before the test: nearly nothing
    """

    power_scale_sd: float = 0.016
    power_noise: float = 0.015
    speed_scale_sd: float = 0.003
    mass_sd: float = 0.005
    density_sd: float = 0.005
    rolling_resistance: float = 0.005
    rolling_resistance_sd: float = 0.003
    wind_sd: float = 3.0
    drag_area: float = 0.3
    drag_area_sd: float = 0.3


@dataclass(frozen=True)
class Balance:
    """Rows of the regression with unknown heights projected out; everything in metres of height.

    Attributes
    ----------
    kept : (r,) segments that have a row; then come `heights`, (z,) nodes that have one
    free : (r + z, n) directions that no height of a place reaches
    data : (n,) projected
    assumptions : what is taken as known, with doubt
    """

    segments: Segments
    kept: NDArray[np.int64]
    heights: NDArray[np.int64]
    free: NDArray[np.float64]
    data: NDArray[np.float64]
    assumptions: Assumptions

    def project(self, of_segments: NDArray[np.float64],
                of_heights: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
        """Bring columns over all segments [J] (and over the heights [m]) to the free directions."""
        rows = of_segments[self.kept] / gravity_of(self.segments)
        out = self.free[:len(self.kept)].T @ rows
        if of_heights is not None:
            out = out + self.free[len(self.kept):].T @ of_heights
        return np.asarray(out)


def balance_of(segments: Segments, assumptions: Assumptions,
               left_out: NDArray[np.bool_]) -> Balance:
    """Set up the regression without the segments that are `left_out` (s,)."""
    kept = np.flatnonzero(segments.complete & ~left_out)
    heights = np.flatnonzero(np.isfinite(segments.node_height))
    nodes, first = segments.nodes, segments.first[kept]
    design = np.zeros((len(kept) + len(heights), nodes.places))
    rows = np.arange(len(kept))
    np.add.at(design, (rows, nodes.place[first + 1]), 1.0)
    np.add.at(design, (rows, nodes.place[first]), -1.0)
    design[len(kept) + np.arange(len(heights)), nodes.place[heights]] = 1.0
    design = design[:, np.any(design != 0.0, axis=0)]
    free = free_directions(design)
    energy = segments.work - segments.kinetic - segments.bearing
    data = free.T @ np.concatenate([energy[kept] / gravity_of(segments),
                                    segments.node_height[heights]])
    return Balance(segments, kept, heights, free, data, assumptions)


@dataclass(frozen=True)
class Posterior:
    """What the rides say of CdA and Crr, as a mixture over candidates of the wind.

    Attributes
    ----------
    weight : (c,) probability of each candidate
    mean : (c, g + 1) CdA of each group of rides [m²], then Crr
    covariance : (g + 1, g + 1) for each candidate, (c, g + 1, g + 1)
    wind : (c, 2) east and north, more than was thought [m/s]
    pattern : name -> standard deviation of each pattern of errors
    score : (s,) standardised residual of each segment, nan where left out
    """

    weight: NDArray[np.float64]
    mean: NDArray[np.float64]
    covariance: NDArray[np.float64]
    wind: NDArray[np.float64]
    pattern: dict[str, float]
    score: NDArray[np.float64]

    def moments(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Mean (g + 1,) and covariance (g + 1, g + 1) of the mixture."""
        mean = self.weight @ self.mean
        apart = self.mean - mean
        return mean, (np.einsum("c,cij->ij", self.weight, self.covariance)
                      + np.einsum("c,ci,cj->ij", self.weight, apart, apart))

    def quantiles(self, direction: NDArray[np.float64],
                  at: Sequence[float]) -> NDArray[np.float64]:
        """Quantiles of a linear combination of the parameters."""
        from scipy.optimize import brentq
        from scipy.special import ndtr

        centre = self.mean @ direction
        spread = np.sqrt(np.einsum("i,cij,j->c", direction, self.covariance, direction))
        low, high = float(np.min(centre - 8 * spread)), float(np.max(centre + 8 * spread))

        def below(x: float, q: float) -> float:
            return float(self.weight @ ndtr((x - centre) / spread)) - q

        return np.array([brentq(below, low, high, args=(q,), xtol=1e-9) for q in at])

    def chance_below(self, direction: NDArray[np.float64], value: float) -> float:
        """Probability that a linear combination of the parameters is below `value`."""
        from scipy.special import ndtr

        centre = self.mean @ direction
        spread = np.sqrt(np.einsum("i,cij,j->c", direction, self.covariance, direction))
        return float(self.weight @ ndtr((value - centre) / spread))


def _decay(clock: NDArray[np.float64], time: float) -> NDArray[np.float64]:
    return np.asarray(np.exp(-np.abs(clock[:, None] - clock[None, :]) / time))


def _outer(columns: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(columns @ columns.T)


def _patterns(balance: Balance, push: NDArray[np.float64],
              east: NDArray[np.float64], north: NDArray[np.float64],
              ) -> tuple[list[NDArray[np.float64]], list[NDArray[np.float64]]]:
    """Covariance of each source of error at unit size: those of the road by row, all projected.

    `push` (s,): energy that one m/s of head wind takes [J s/m]; `east`, `north`: likewise.
    """
    segments = balance.segments
    kept, heights = balance.kept, balance.heights
    top, bottom = balance.free[:len(kept)], balance.free[len(kept):]
    weight = gravity_of(segments)
    clock = segments.clock[kept]
    push, east, north = push[kept] / weight, east[kept] / weight, north[kept] / weight
    averaged = np.minimum(1.0, 2.0 * _GUST_TIME / segments.duration[kept])
    slow = _decay(clock, _SLOW_TIME) * (np.outer(east, east) + np.outer(north, north))
    steps = np.zeros((len(kept), len(segments.node_clock)))
    rows, first = np.arange(len(kept)), segments.first[kept]
    steps[rows, first], steps[rows, first + 1] = -1.0, 1.0
    process = [np.diag(push**2 * averaged),
               _decay(clock, _SWELL_TIME) * np.outer(push, push), slow]
    out = [*(top.T @ k @ top for k in process), _outer(top.T @ steps)]
    if len(heights):
        hours = segments.node_clock[heights] / _HOUR
        ride = segments.nodes.ride[heights]
        same = ride[:, None] == ride[None, :]
        begin = np.array([hours[ride == number].min() if np.any(ride == number) else 0.0
                          for number in range(int(ride.max()) + 1)])[ride]
        walked = np.minimum.outer(hours - begin, hours - begin) * same
        wander = _decay(segments.node_clock[heights], _ALTIMETER_TIME) * same
        out += [_outer(bottom.T), bottom.T @ wander @ bottom, bottom.T @ walked @ bottom]
    return process, out


@dataclass(frozen=True)
class _Model:
    """The regression linearised about one wind, in projected rows.

    Attributes
    ----------
    columns : (n, q) parameters at one standard deviation: CdA of each group, Crr, wind
        east and north; then what is known with doubt
    offset : (n,) what the parameters explain at their prior means
    grain : (n, n) covariance of the power meter's noise
    patterns : n by n, of unknown size
    energy, slopes : (s, q) the columns over all segments [J], and their slopes by speed
    answer : (r, r) response of speed
    process : how many of the patterns speed answers to, of which `exponents` tells the growth
    """

    columns: NDArray[np.float64]
    offset: NDArray[np.float64]
    grain: NDArray[np.float64]
    patterns: list[NDArray[np.float64]]
    rows: list[NDArray[np.float64]]
    energy: NDArray[np.float64]
    slopes: NDArray[np.float64]
    answer: NDArray[np.float64]
    push: NDArray[np.float64]


_EXPONENTS = (1.5, 1.0, 1.0)  # of gusts, swell and turning wind, over a fixed way


def posterior_of(balance: Balance, groups: NDArray[np.int64]) -> Posterior:
    """Posterior of the CdA of each group of rides and of Crr.

    `groups` (rides,): number of the group that each ride belongs to.
    """
    a = balance.assumptions
    group = groups[balance.segments.ride]
    count = int(groups.max()) + 1
    prior = np.array([size for _, size in _PATTERNS][:7 if len(balance.heights) else 4])
    centre = np.concatenate([np.full(count, a.drag_area), [a.rolling_resistance, 0.0, 0.0]])
    scale = np.concatenate([np.full(count, a.drag_area_sd),
                            [a.rolling_resistance_sd, a.wind_sd, a.wind_sd]])
    value, size = centre.copy(), prior
    for _ in range(_ROUNDS):
        model = _linearise(balance, group, count, value, scale)
        rest = balance.data - model.offset
        fit = fit_variances(rest, model.grain + _outer(model.columns), model.patterns, size, prior,
                            np.full(len(prior), _LOG_SD))
        size = fit.size
        noise = model.grain + sum(s * v for s, v in zip(size, model.patterns, strict=True))
        pull = _pull(balance, model, np.linalg.inv(noise), size)
        spread = np.eye(model.columns.shape[1]) - model.columns.T @ fit.precision @ model.columns
        best = model.columns.T @ fit.weighted + spread @ pull
        moved = centre + best[:len(scale)] * scale
        moved[:count] = np.maximum(moved[:count], 0.05)
        gone = np.abs(moved - value)[count + 1:].max()
        value = moved
        if gone < 0.05:
            break
    covariance = (spread[:len(scale), :len(scale)] * np.outer(scale, scale))[count + 1:, count + 1:]
    return _mixture(balance, group, count, model, noise, pull, value, covariance, size, fit)


def _linearise(balance: Balance, group: NDArray[np.int64], count: int,
               value: NDArray[np.float64], scale: NDArray[np.float64]) -> _Model:
    segments, a = balance.segments, balance.assumptions
    weight = gravity_of(segments)
    east, north = value[-2:]
    energy, slope = drag_energy(segments, east, north)
    area = value[:count][group]
    half = 0.25
    blown = [(np.subtract(drag_energy(segments, east + half, north),
                          drag_energy(segments, east - half, north))) / (2 * half) * area,
             (np.subtract(drag_energy(segments, east, north + half),
                          drag_energy(segments, east, north - half))) / (2 * half) * area]
    push = area * 2.0 * energy / np.maximum(segments.speed, 1.0)
    rolled = weight * segments.length
    climbed = np.nan_to_num(weight * (segments.node_height[segments.first + 1]
                                      - segments.node_height[segments.first]))
    nothing = np.zeros(len(segments))
    crr = a.rolling_resistance
    known = [(a.power_scale_sd * segments.work,
              -a.power_scale_sd * segments.work / np.maximum(segments.speed, 1.0)),
             (a.speed_scale_sd * (crr * rolled + 3.0 * area * energy + 2.0 * segments.kinetic),
              a.speed_scale_sd * 3.0 * area * slope),
             (a.mass_sd * (climbed + crr * rolled + segments.kinetic), nothing)]
    pairs = [*((_one(energy, group, k), _one(slope, group, k)) for k in range(count)),
             (rolled, nothing), *blown]
    table = np.column_stack([pair[0] for pair in pairs])
    bend = np.column_stack([pair[1] for pair in pairs])
    offset = balance.project(table @ np.concatenate([
        np.full(count, a.drag_area), [crr, -east, -north]]))
    table = np.column_stack([table * scale, *(pair[0] for pair in known)])
    bend = np.column_stack([bend * scale, *(pair[1] for pair in known)])
    ride = segments.nodes.ride[balance.heights]
    levels = [balance.project(nothing, _LEVEL_SD * (ride == number)) for number in np.unique(ride)]
    nugget = balance.free[:len(balance.kept)]
    noise = (a.power_noise * segments.work / weight)**2 / (1.0 + segments.duration)
    grain = nugget.T @ (noise[balance.kept][:, None] * nugget) + 1e-12 * np.eye(len(balance.data))
    if levels:
        grain = grain + _outer(np.column_stack(levels))
    kept = balance.kept
    rate = (2.0 * area * energy / np.maximum(segments.speed, 1.0) / segments.length
            + segments.work / np.maximum(segments.length * segments.speed, 1.0)
            ) / segments.effective_mass
    rows, patterns = _patterns(balance, push, blown[0][0], blown[1][0])
    return _Model(balance.project(table), offset, grain, patterns, rows, table, bend,
                  response(segments.duration[kept], segments.speed[kept],
                           np.maximum(rate[kept], 1e-3), segments.ride[kept],
                           segments.effective_mass), push)


def _one(values: NDArray[np.float64], group: NDArray[np.int64], k: int) -> NDArray[np.float64]:
    return np.where(group == k, values, 0.0)


def _pull(balance: Balance, model: _Model, precision: NDArray[np.float64],
          size: NDArray[np.float64]) -> NDArray[np.float64]:
    """(q,) what has to be added to the score of each column for the feedback of speed."""
    segments = balance.segments
    kept, weight = balance.kept, gravity_of(segments)
    top = balance.free[:len(kept)] / weight
    patterns = [s * v * weight**2 for s, v in zip(size, model.rows, strict=False)]
    speed = segments.speed[kept]
    # What the answer of the speed to a gust takes from the gust itself: short gusts by the
    # rule for correlated noise (half the correlation at one moment), long ones as computed.
    gusts, *longer = patterns
    mean_error = -(np.diag(gusts) / (segments.effective_mass * speed)
                   + np.einsum("ij,ji->i", model.answer, np.sum(longer, axis=0))) / speed
    # Drag is convex in the wind: E[(v + h) q] = v² + 3/2 σ² at equal variance along and across.
    mean_error = mean_error + 0.75 * model.push[kept] / speed * size[:3].sum()
    return -expected_score(model.energy[kept], model.slopes[kept], top @ precision @ top.T,
                           patterns, _EXPONENTS, mean_error, model.answer, speed)


def _mixture(balance: Balance, group: NDArray[np.int64], count: int, model: _Model,
             noise: NDArray[np.float64], pull: NDArray[np.float64],
             centre: NDArray[np.float64], covariance: NDArray[np.float64],
             size: NDArray[np.float64], fit: Fit) -> Posterior:
    """Closed posterior at each candidate of the wind, weighted by its evidence."""
    a, segments = balance.assumptions, balance.segments
    values, vectors = np.linalg.eigh(covariance)
    ticks = np.linspace(-_REACH, _REACH, _GRID)
    across = np.stack(np.meshgrid(ticks, ticks, indexing="ij"), axis=-1).reshape(-1, 2)
    wind = centre[count + 1:] + (across * np.sqrt(np.maximum(values, 1e-8))) @ vectors.T
    scale = np.append(np.full(count, a.drag_area_sd), a.rolling_resistance_sd)
    own = len(scale)  # parameters that are asked for; the wind is summed, the rest marginal
    rest = model.columns[:, own + 2:]
    rolling = model.columns[:, own - 1]
    columns = np.stack([np.column_stack([
        balance.project(np.column_stack([_one(energy, group, k) for k in range(count)]))
        * a.drag_area_sd, rolling])
        for energy in (drag_energy(segments, e, n)[0] for e, n in wind)])
    factor = cho_factor(noise + _outer(rest), lower=True)
    flat = np.moveaxis(columns, 1, 0).reshape(len(rolling), -1)
    solved = np.moveaxis(cho_solve(factor, flat).reshape(len(rolling), len(wind), -1), 0, 1)
    at_prior = columns @ (np.append(np.full(count, a.drag_area), a.rolling_resistance) / scale)
    information = np.einsum("cni,cnj->cij", columns, solved) + np.eye(own)
    score = np.einsum("cni,cn->ci", solved, balance.data - at_prior)
    score += pull[:own] - np.einsum("cni,n->ci", solved, rest @ pull[own + 2:])
    inverse = np.linalg.inv(information)
    move = np.einsum("cij,cj->ci", inverse, score)
    remainder = balance.data - at_prior
    evidence = (0.5 * np.einsum("ci,ci->c", score, move)
                - 0.5 * np.linalg.slogdet(information)[1]
                - 0.5 * np.einsum("cn,cn->c", remainder, cho_solve(factor, remainder.T).T)
                - 0.5 * np.sum((wind / max(a.wind_sd, 1e-9))**2, axis=1)
                + (wind / max(a.wind_sd, 1e-9)) @ pull[own:own + 2])
    weight = np.exp(evidence - evidence.max())
    weight /= weight.sum()
    names = [name for name, _ in _PATTERNS]
    mean = np.append(np.full(count, a.drag_area), a.rolling_resistance) + move * scale
    return Posterior(weight, mean, inverse * np.outer(scale, scale), wind,
                     {name: float(np.sqrt(s)) for name, s in zip(names, size, strict=False)},
                     _scores(balance, fit))


def _scores(balance: Balance, fit: Fit) -> NDArray[np.float64]:
    """Standardised residual of each segment against all the others."""
    top = balance.free[:len(balance.kept)]
    weighted = top @ fit.weighted
    own = np.einsum("ri,ij,rj->r", top, fit.precision, top, optimize=True)
    score = np.full(len(balance.segments), np.nan)
    score[balance.kept] = weighted / np.sqrt(np.maximum(own, 1e-300))
    return score
