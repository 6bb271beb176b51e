"""What rides say of CdA and Crr: in closed form for a given wind, summed over candidate winds."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from optimizer.ride.disturbances import LOG_SD, OF_THE_ROAD, SIZES, TIMES, patterns
from optimizer.ride.feedback import expected_score, following
from optimizer.ride.segments import drag_energy, gravity_of
from optimizer.ride.variance import fit_variances

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.ride.balance import Balance
    from optimizer.ride.segments import Segments
    from optimizer.ride.variance import Fit

__all__ = ["Posterior", "Turning", "posterior_of"]

_LEVEL_SD = 100.0  # m, of the altimeter's zero
_ROUNDS = 4  # of linearising about the wind
_SETTLED = 0.05  # m/s
_GRID, _REACH = 15, 3.6  # candidates of the wind a side, within so many standard deviations
_EXPONENTS = (1.5, 1.0, 1.0)  # of the disturbances of the road, over a fixed way
_HALF = 0.25  # m/s, for differences by the wind
_SLICES = 24  # of a distribution of Crr that is cut off
_SLOW, _TICK = 240.0, 10.0  # s: what changes faster is no slow wind; grid on which it is taken
_KNOWN = ("power meter and drivetrain", "wheel circumference", "mass")


@dataclass(frozen=True)
class Posterior:
    """What the rides say, as a mixture of normal distributions over candidates of the wind.

    Attributes
    ----------
    weight : (c,) probability of each candidate
    mean : (c, g + 1) CdA of each group of rides [m²], then Crr
    covariance : (c, g + 1, g + 1)
    wind : (c, 2) east and north, more than was thought [m/s]
    pattern : name -> standard deviation of each disturbance
    shrinks : source of uncertainty -> what the standard deviation of the first CdA would be without
    score : (s,) standardised residual of each segment, nan where left out
    drag, weighted, row_precision : (r,), (r,), (r, r) of the rows of the segments: what the
        air took [m], precision times residual, precision
    moved : (g + 1, 3) what CdA and Crr would be off by if meter, wheel or mass were off by one
        standard deviation; their covariance has it
    rows : (r, g + 3) how rows answer CdA of each group, Crr and the wind, each by one standard
        deviation of what was known before, `scale` (g + 3,)
    turning : the wind that changes in the course of the rides
    """

    weight: NDArray[np.float64]
    mean: NDArray[np.float64]
    covariance: NDArray[np.float64]
    wind: NDArray[np.float64]
    pattern: dict[str, float]
    shrinks: dict[str, float]
    score: NDArray[np.float64]
    drag: NDArray[np.float64]
    weighted: NDArray[np.float64]
    row_precision: NDArray[np.float64]
    moved: NDArray[np.float64]
    rows: NDArray[np.float64]
    scale: NDArray[np.float64]
    turning: Turning

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
        low, high = float(np.min(centre - 9 * spread)), float(np.max(centre + 9 * spread))

        def beyond(x: float, q: float) -> float:
            return float(self.weight @ ndtr((x - centre) / spread)) - q

        return np.array([brentq(beyond, low, high, args=(q,), xtol=1e-9) for q in at])

    def share_below(self, least: float) -> float:
        """Probability that Crr, the last parameter, is below `least`."""
        from scipy.special import ndtr

        sd = np.sqrt(self.covariance[:, -1, -1])
        return float(self.weight @ ndtr((least - self.mean[:, -1]) / sd))

    def share_above(self, most: float) -> float:
        """Probability that Crr is above `most`."""
        return self._mirrored().share_below(-most)

    def with_most_rolling(self, most: float) -> Posterior:
        """Give the same posterior under the condition that Crr is at most `most`."""
        return self._mirrored().with_least_rolling(-most)._mirrored()  # noqa: SLF001 - own class

    def _mirrored(self) -> Posterior:
        """Give the same posterior of minus Crr."""
        sign = np.ones(self.mean.shape[1])
        sign[-1] = -1.0
        return replace(self, mean=self.mean * sign, covariance=self.covariance
                       * np.outer(sign, sign))

    def area_given(self, rolling: float, group: int = 0) -> tuple[float, float]:
        """CdA of a group [m²] and its standard deviation if Crr were known, by meter and mass.

        What they get wrong is in both figures: a plan with these, by the same meter and mass,
        asks for the power that the rides took.
        """
        mean, c = self.moments()
        moved = self.moved[[group, -1]]
        c = c[np.ix_([group, -1], [group, -1])] - moved @ moved.T
        slope = c[0, 1] / c[1, 1]
        off = moved[0] - slope * moved[1]
        return (float(mean[group] + slope * (rolling - mean[-1])),
                float(np.sqrt(max(c[0, 0] - slope * c[0, 1], 0.0) + off @ off)))

    def with_least_rolling(self, least: float) -> Posterior:
        """Give the same posterior under the condition that Crr is at least `least`.

        Each normal distribution is cut in slices of equal probability along Crr, beyond the
        bound, and stays normal in what else there is, given Crr. Tails by their logarithms,
        so that a bound far out is met as exactly as a near one.
        """
        from scipy.special import log_ndtr, ndtri_exp

        sd = np.sqrt(self.covariance[:, -1, -1])
        edge = (least - self.mean[:, -1]) / sd
        beyond = log_ndtr(-edge)
        part = (np.arange(_SLICES) + 0.5) / _SLICES
        # Standardised Crr of each slice: the tail beyond it is (1 - part) of that of the bound.
        at = -ndtri_exp(np.log1p(-part) + beyond[:, None])
        slope = self.covariance[:, :, -1] / sd[:, None]
        mean = self.mean[:, None, :] + at[:, :, None] * slope[:, None, :]
        given = self.covariance - np.einsum("ci,cj->cij", slope, slope)
        width = np.gradient(at, axis=1)
        covariance = given[:, None] + (width**2 / 12.0)[:, :, None, None] * np.einsum(
            "ci,cj->cij", slope, slope)[:, None]
        with np.errstate(divide="ignore"):
            log_weight = np.log(self.weight) + beyond
        weight = np.exp(log_weight - log_weight.max())
        weight = np.repeat(weight / weight.sum() / _SLICES, _SLICES)
        kept = weight > 1e-9
        size = self.mean.shape[1]
        return replace(
            self, weight=weight[kept] / weight[kept].sum(), mean=mean.reshape(-1, size)[kept],
            covariance=covariance.reshape(-1, size, size)[kept],
            wind=np.repeat(self.wind, _SLICES, axis=0)[kept])


@dataclass(frozen=True)
class Turning:
    """What the rides say of the wind that changes slowly while they last.

    Two of the disturbances: a wind that turns and grows, east and north alike, and one along the
    road that lasts for half a minute, of which the mean over some minutes counts. The
    expectation of both, given the rides, is linear in `weighted`, precision times residual.

    Attributes
    ----------
    clock : (r,) s, of the rows
    east, north, by_headwind : (r,) what a row answers to one m/s of wind towards there, and in the
        face [m s/m]
    sizes, times : of the turning wind and of the one along the road [m²/s², s]
    """

    clock: NDArray[np.float64]
    east: NDArray[np.float64]
    north: NDArray[np.float64]
    by_headwind: NDArray[np.float64]
    sizes: tuple[float, float]
    times: tuple[float, float]

    def at(self, clock: NDArray[np.float64], weighted: NDArray[np.float64],
           ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """East, north and head wind, (k,) each, at some moments on the clock [m/s]."""
        ticks = np.arange(self.clock[0] - _SLOW, self.clock[-1] + _SLOW, _TICK)
        away = np.abs(ticks[:, None] - self.clock[None, :])
        turning, along = (size * np.exp(-away / time)
                          for size, time in zip(self.sizes, self.times, strict=True))
        found = (turning @ (self.east * weighted), turning @ (self.north * weighted),
                 along @ (self.by_headwind * weighted))
        width = round(_SLOW / _TICK)
        box = np.ones(width)
        # At the ends the mean is over the part of these minutes that was ridden.
        seen = (ticks >= self.clock[0]) & (ticks <= self.clock[-1])
        share = np.maximum(np.convolve(seen, box, mode="same"), 1.0)
        east, north, face = (np.interp(clock, ticks, np.convolve(line * seen, box, mode="same")
                                       / share) for line in found)
        return east, north, face


@dataclass(frozen=True)
class _Model:
    """The regression linearised about one wind.

    Attributes
    ----------
    columns : (n, q) projected, each at one prior standard deviation: CdA of each group, Crr,
        wind east and north
    known : (n, 3) the same of what is taken as known: meter, wheel, mass
    offset : (n,) what the parameters explain at their prior means
    grain : (n, n) covariance of the power meter's noise and the altimeter's zero
    road, patterns : of the disturbances, by row and projected
    energy, slopes : (s, q) the columns over all segments [J], and their slopes by speed
    by_headwind : (s,) energy per m/s of head wind [J s/m]
    rate : (s,) at which speed goes back to its balance [1/s]
    east, north : (s,) energy per m/s of wind from there [J s/m]
    """

    columns: NDArray[np.float64]
    known: NDArray[np.float64]
    offset: NDArray[np.float64]
    grain: NDArray[np.float64]
    road: list[NDArray[np.float64]]
    patterns: list[NDArray[np.float64]]
    energy: NDArray[np.float64]
    slopes: NDArray[np.float64]
    by_headwind: NDArray[np.float64]
    rate: NDArray[np.float64]
    east: NDArray[np.float64]
    north: NDArray[np.float64]


@dataclass(frozen=True)
class _Prior:
    """Means and standard deviations of CdA of each group, Crr and the wind, before the test."""

    mean: NDArray[np.float64]
    scale: NDArray[np.float64]
    groups: int


def posterior_of(balance: Balance, groups: NDArray[np.int64],
                 sizes: dict[str, float] | None = None) -> Posterior:
    """Posterior of the CdA of each group of rides, and of Crr.

    `groups` (rides,): number of the group that each ride belongs to. `sizes`: the disturbances
    by name (squares, as in `SIZES`) where they are known, as when a test is planned; else the
    rides tell them.
    """
    a = balance.assumptions
    group, count = groups[balance.segments.ride], int(groups.max()) + 1
    prior = _Prior(
        np.concatenate([np.full(count, a.drag_area), [balance.rolling_resistance, 0.0, 0.0]]),
        np.concatenate([np.full(count, a.drag_area_sd),
                        [a.rolling_resistance_sd, a.wind_sd, a.wind_sd]]), count)
    usual = np.array(list((sizes or SIZES).values()))
    usual = usual[:None if len(balance.heights) else OF_THE_ROAD + 1]
    value, size = prior.mean, usual
    for _ in range(_ROUNDS):
        model = _linearise(balance, group, prior, value)
        fit = fit_variances(balance.data - model.offset,
                            model.grain + model.columns @ model.columns.T, model.patterns,
                            size, usual, np.full(len(usual), 1e-4 if sizes else LOG_SD))
        size = fit.size
        noise = model.grain + sum(s * v for s, v in zip(size, model.patterns, strict=True))
        pull = _pull(balance, model, noise, size)
        spread = np.eye(model.columns.shape[1]) - model.columns.T @ fit.precision @ model.columns
        if not np.all(np.diag(spread) > 0.0):
            raise np.linalg.LinAlgError("the disturbances drown the rest")
        best = model.columns.T @ fit.weighted + spread @ pull
        before, value = value, prior.mean + best[:len(prior.scale)] * prior.scale
        value[:count] = np.maximum(value[:count], 0.05)
        if np.abs(value - before)[count + 1:].max() < _SETTLED:
            break
    # What a wrong meter, wheel or mass would move the answer by. The rides do not correct the
    # three: a fit that could would call a meter wrong to make tyres look right.
    moved = model.columns.T @ fit.precision @ model.known
    return _mixture(balance, group, prior, model, fit, noise, pull, value, spread, moved)


def _only(values: NDArray[np.float64], group: NDArray[np.int64], k: int) -> NDArray[np.float64]:
    return np.where(group == k, values, 0.0)


def _linearise(balance: Balance, group: NDArray[np.int64], prior: _Prior,
               value: NDArray[np.float64]) -> _Model:
    segments = balance.segments
    weight, count = gravity_of(segments), prior.groups
    east, north = value[-2:]
    speed = np.maximum(segments.speed, 1.0)
    energy, slope = drag_energy(segments, east, north)
    pairs: list[tuple[NDArray[np.float64], NDArray[np.float64]]]
    area = value[:count][group]
    blown = [_blown(segments, area, east, north, e, n) for e, n in ((_HALF, 0.0), (0.0, _HALF))]
    nothing, rolled = np.zeros(len(segments)), weight * segments.rolled
    pairs = [*((_only(energy, group, k), _only(slope, group, k)) for k in range(count)),
             (rolled, nothing), *blown]
    at_mean = np.append(prior.mean[:-2], -value[-2:])
    offset = balance.project(np.column_stack([pair[0] for pair in pairs]) @ at_mean)
    pairs = [(scale * x, scale * dx) for scale, (x, dx) in zip(prior.scale, pairs, strict=True)]
    table = np.column_stack([pair[0] for pair in pairs])
    rate = (area * slope / segments.length + segments.work / (segments.length * speed)
            ) / segments.effective_mass
    rate = np.maximum(rate, 1e-3)
    by_headwind = area * slope  # a head wind adds to the air speed as the rider's own speed does
    road, projected = patterns(balance, by_headwind, blown[0][0], blown[1][0])
    known = balance.project(np.column_stack(_known(balance, area * energy)))
    return _Model(balance.project(table), known, offset, _grain(balance), road, projected, table,
                  np.column_stack([pair[1] for pair in pairs]), by_headwind, rate, blown[0][0],
                  blown[1][0])


def _blown(segments: Segments, area: NDArray[np.float64], east: float, north: float,
           e: float, n: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Energy per m/s of wind towards (e, n), and its slope by speed, by central differences."""
    more = drag_energy(segments, east + e, north + n)
    less = drag_energy(segments, east - e, north - n)
    scale = area / (2.0 * (e + n))
    return scale * (more[0] - less[0]), scale * (more[1] - less[1])


def _known(balance: Balance, drag: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """(s,) each, what an error of meter, wheel and mass of one standard deviation makes."""
    segments, a = balance.segments, balance.assumptions
    weight, first = gravity_of(segments), segments.first
    rolled = balance.rolling_resistance * weight * segments.rolled
    climbed = np.nan_to_num(weight * (segments.node_height[first + 1]
                                      - segments.node_height[first]))
    return [a.power_scale_sd * segments.work,
            a.speed_scale_sd * (rolled + 3.0 * drag + 2.0 * segments.kinetic),
            a.mass_sd * (climbed + rolled + segments.kinetic)]


def _grain(balance: Balance) -> NDArray[np.float64]:
    segments = balance.segments
    top = balance.free[:len(balance.kept)]
    noise = ((balance.assumptions.power_noise * segments.work / gravity_of(segments))**2
             / (1.0 + segments.duration))[balance.kept]
    grain = top.T @ (noise[:, None] * top) + 1e-12 * np.eye(len(balance.data))
    ride = segments.nodes.ride[balance.heights]
    for number in np.unique(ride):
        level = balance.project(np.zeros(len(segments)), _LEVEL_SD * (ride == number))
        grain += np.outer(level, level)
    return grain


def _pull(balance: Balance, model: _Model, noise: NDArray[np.float64],
          size: NDArray[np.float64]) -> NDArray[np.float64]:
    """(q,) what is added to the score of each column since speed answers the disturbances."""
    segments, kept = balance.segments, balance.kept
    weight = gravity_of(segments)
    top = balance.free[:len(kept)] / weight
    road = [s * k * weight**2 for s, k in zip(size, model.road, strict=False)]
    speed = segments.speed[kept]
    # A gust meets a rider whom it has slowed already, and over a fixed way who rides slowly
    # in it is longer there: both make the mean error 2 ρ CdA E[h δv] a metre.
    rate = model.rate[kept]
    lasting = sum(k * time / (1.0 + rate * time) for k, time in zip(size, TIMES, strict=False))
    mean_error = (-2.0 * model.by_headwind[kept]**2 * lasting
                  / (segments.duration[kept] * segments.effective_mass * speed**2))
    # Drag is convex in the wind: E[(v + h) q] = v² + 3/2 σ² at equal variance along and across.
    mean_error = mean_error + 0.75 * model.by_headwind[kept] / speed * size[:OF_THE_ROAD].sum()
    precision = top @ np.linalg.inv(noise) @ top.T
    return -expected_score(model.energy[kept], model.slopes[kept], precision, road, _EXPONENTS,
                           mean_error, _slowed(balance, model, size), speed)


def _slowed(balance: Balance, model: _Model, size: NDArray[np.float64]) -> NDArray[np.float64]:
    """(r, r) what disturbances have taken from the mean speed, times errors [m/s J]."""
    segments, kept = balance.segments, balance.kept
    east, north, by_headwind = model.east[kept], model.north[kept], model.by_headwind[kept]
    along = np.outer(by_headwind, by_headwind)
    shapes = (along, along, np.outer(east, east) + np.outer(north, north))
    built_up = sum(k * shape * following(segments.clock[kept], segments.duration[kept],
                                         model.rate[kept], time)
                   for k, shape, time in zip(size, shapes, TIMES, strict=False))
    same = segments.ride[kept][:, None] == segments.ride[kept][None, :]
    return np.asarray(built_up * same
                      / (segments.effective_mass * segments.length[kept])[:, None])


def _candidates(centre: NDArray[np.float64],
                covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    """(c, 2) grid of winds along the axes of their covariance."""
    values, vectors = np.linalg.eigh(covariance)
    ticks = np.linspace(-_REACH, _REACH, _GRID)
    across = np.stack(np.meshgrid(ticks, ticks, indexing="ij"), axis=-1).reshape(-1, 2)
    return np.asarray(centre + (across * np.sqrt(np.maximum(values, 1e-12))) @ vectors.T)


def _mixture(balance: Balance, group: NDArray[np.int64], prior: _Prior, model: _Model, fit: Fit,
             noise: NDArray[np.float64], pull: NDArray[np.float64],
             value: NDArray[np.float64], spread: NDArray[np.float64],
             moved: NDArray[np.float64]) -> Posterior:
    """Give the closed posterior at each candidate of the wind, weighted by its evidence."""
    segments, a = balance.segments, balance.assumptions
    own = prior.groups + 1  # what is asked for; then two of the wind, the rest is marginal
    scale, mean = prior.scale[:own], prior.mean[:own]
    wind = _candidates(value[own:], spread[own:own + 2, own:own + 2]
                       * np.outer(prior.scale[own:], prior.scale[own:]))
    design = np.empty((len(wind), len(balance.data), own))
    for k, (e, n) in enumerate(wind):
        energy = drag_energy(segments, e, n)[0]
        design[k, :, :-1] = a.drag_area_sd * balance.project(
            np.column_stack([_only(energy, group, j) for j in range(prior.groups)]))
    design[:, :, -1] = model.columns[:, own - 1]
    factor = cho_factor(noise, lower=True)
    flat = np.moveaxis(design, 1, 0).reshape(len(balance.data), -1)
    solved = np.moveaxis(cho_solve(factor, flat).reshape(len(balance.data), len(wind), own), 0, 1)
    remainder = balance.data - design @ (mean / scale)
    information = np.einsum("cni,cnj->cij", design, solved) + np.eye(own)
    score = np.einsum("cni,cn->ci", solved, remainder) + pull[:own]
    inverse = np.linalg.inv(information)
    move = np.einsum("cij,cj->ci", inverse, score)
    against = wind / max(a.wind_sd, 1e-9)
    evidence = (0.5 * np.einsum("ci,ci->c", score, move)
                - 0.5 * np.linalg.slogdet(information)[1]
                - 0.5 * np.einsum("cn,nc->c", remainder, cho_solve(factor, remainder.T))
                - 0.5 * np.sum(against**2, axis=1) + against @ pull[own:own + 2])
    weight = np.exp(evidence - evidence.max())
    found = mean + move * scale
    covariance = (inverse + moved[:own] @ moved[:own].T) * np.outer(scale, scale)
    # The density of the air acts on CdA as a factor.
    covariance[:, :-1, :-1] += a.density_sd**2 * np.einsum("ci,cj->cij", found[:, :-1],
                                                           found[:, :-1])
    top = balance.free[:len(balance.kept)]
    weighted, precision = top @ fit.weighted, top @ fit.precision @ top.T
    scores = np.full(len(segments), np.nan)
    scores[balance.kept] = weighted / np.sqrt(np.maximum(np.diag(precision), 1e-300))
    at_best = (value[:prior.groups][group] * drag_energy(segments, *value[own:])[0])
    return Posterior(
        weight / weight.sum(), found, covariance, wind,
        {name: float(np.sqrt(s)) for name, s in zip(SIZES, fit.size, strict=False)},
        _shrinks(spread, moved, prior, a.density_sd * value[0]), scores,
        at_best[balance.kept] / gravity_of(segments), weighted, precision,
        moved[:own] * scale[:, None],
        (model.energy[:, :own + 2] / gravity_of(segments))[balance.kept], prior.scale,
        Turning(segments.clock[balance.kept], model.east[balance.kept] / gravity_of(segments),
                model.north[balance.kept] / gravity_of(segments),
                model.by_headwind[balance.kept] / gravity_of(segments),
                (float(fit.size[2]), float(fit.size[1])), (TIMES[2], TIMES[1])))


def _shrinks(spread: NDArray[np.float64], moved: NDArray[np.float64], prior: _Prior,
             by_density: float) -> dict[str, float]:
    """Find the standard deviation of the first CdA if a source of uncertainty were none."""
    own = prior.groups
    joint = np.block([[spread + moved @ moved.T, moved], [moved.T, np.eye(moved.shape[1])]])
    places = {"rolling resistance": [own], "steady wind": [own + 1, own + 2],
              **{name: [own + 3 + k] for k, name in enumerate(_KNOWN)}}
    every = [*range(own, joint.shape[0])]
    out = {}
    for name, at in {**places, "all of these": every}.items():
        block = joint[np.ix_(at, at)] + 1e-15 * np.eye(len(at))
        left = joint[0, 0] - joint[0, at] @ np.linalg.solve(block, joint[at, 0])
        out[name] = float(np.hypot(prior.scale[0] * np.sqrt(max(left, 0.0)), by_density))
    out["density of the air"] = float(prior.scale[0] * np.sqrt(joint[0, 0]))
    return out
