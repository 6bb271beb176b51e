"""What several rides of a season say together: drag, tyres, critical power, effort exponent.

Each ride is read for itself, with what was known before it taken out again, so that nothing
counts twice. Rides of one rider differ truly, in position, clothes, road, form: y_i ~ N(μ + b_i,
S_i), b_i ~ N(0, τ²). μ is the season's value, τ what one race differs from it by; the next race
is one more draw, known within var(μ) + τ² (random effects; Higgins, Thompson and Spiegelhalter
2009, J. R. Statist. Soc. A 172:137, section 4). τ has a half-normal prior, since two or three
rides say little of it; sums over a grid of τ take its uncertainty in.

CdA and Crr of a ride are strongly correlated, so they are pooled as pairs: rides at other
speeds or on other roads tell them apart.

Critical power: each ride needed at least some CP, by the reserve and by the effort law with
exponent p; a ride to the limit had just that. Both unknowns are taken together on a grid. Rides
that were not to the limit say "no lower than" with the errors of one law and one W', which further
rides don't average out: the one that asks for most counts, the others add nothing. CP is the
median, which a tail cut off below hardly moves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = ["EXPONENTS", "LAW_SD", "Before", "Learned", "NextPlan", "Pooled", "next_plan",
           "own_estimate", "pool"]

EXPONENTS: Final = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0)
"""Exponents of the effort law for which a ride says which critical power it needed."""

# What races of one rider differ by: half-normal scales of τ. Common practice, no source.
_DRAG_APART, _ROLLING_APART, _POWER_APART = 0.006, 0.0004, 0.02  # m², -, of CP
# Judgements, no source.
LAW_SD: Final = 0.03
"""Relative error of what the effort law makes of a ride of up to half an hour."""

_LIMIT_SD = 0.01  # relative, how well a rider knows that nothing was left
_TICKS = 14
_LEAST_ROLLING, _MOST_ROLLING = 0.0015, 0.03  # of a bike's file
_TAILS = 4.0  # degrees of freedom of what was thought of CP: a stated error is a guess itself


@dataclass(frozen=True)
class Before:
    """What was known before the first ride, in SI.

    `drag_area_sd`, `rolling_sd` of the rider's and the bike's figures; `power`, `power_sd` CP;
    `exponent`, `exponent_sd` of the effort law.
    """

    drag_area_sd: float
    rolling_sd: float
    power: float
    power_sd: float
    exponent: float
    exponent_sd: float


@dataclass(frozen=True)
class Learned:
    """What one ride says on its own.

    Attributes
    ----------
    ride : its name
    drag, covariance : (2,), (2, 2) CdA [m²] and Crr, more than before the first ride; None
        where the ride says nothing of them
    shown : W, least CP with which the reserve lasted by the planned W'; 0 where it says nothing
    shown_sd : W
    needed : (k,) W, least CP by the effort law at each of `EXPONENTS`; may be empty
    all_out : the rider had nothing left
    law_sd : relative error of `needed`
    """

    ride: str
    drag: NDArray[np.float64] | None
    covariance: NDArray[np.float64] | None
    shown: float
    shown_sd: float
    needed: tuple[float, ...]
    all_out: bool
    law_sd: float = LAW_SD


@dataclass(frozen=True)
class Pooled:
    """What the season says.

    Attributes
    ----------
    rides : how many
    drag, covariance : (2,), (2, 2) CdA [m²] and Crr of the season, more than before the first
        ride
    next_covariance : (2, 2) the same for the next race
    drag_apart : what races differ by in CdA [m²], best estimate of τ
    power, power_sd, next_power_sd : W, median CP of the season and its standard error, and that
        of the next race
    exponent, exponent_sd : of the effort law
    """

    rides: int
    drag: NDArray[np.float64]
    covariance: NDArray[np.float64]
    next_covariance: NDArray[np.float64]
    drag_apart: float
    power: float
    power_sd: float
    next_power_sd: float
    exponent: float
    exponent_sd: float

    def drag_area_sd(self, rolling_worth: float) -> float:
        """Give the standard error of the next race's drag, tyres included, as CdA [m²].

        `rolling_worth` [m²]: the CdA that takes as much as a Crr of one, m g / (½ ρ v²).
        """
        way = np.array([1.0, rolling_worth])
        return float(np.sqrt(way @ self.next_covariance @ way))


@dataclass(frozen=True)
class NextPlan:
    """What to plan the next ride with; each figure beside the one that is planned with now.

    `rides` of the season. `drag_area`, `drag_area_sd` [m²] of the first position, tyres included
    in the latter; nan for the sd where no ride told of drag. `rolling_resistance` of the bike.
    `power`, `power_sd` [W]: CP of the next day; nan for the sd where no ride told of it.
    """

    rides: int
    drag_area: float
    drag_area_now: float
    drag_area_sd: float
    rolling_resistance: float
    rolling_resistance_now: float
    power: float
    power_now: float
    power_sd: float

    @property
    def tells_drag(self) -> bool:
        """Whether any ride of the season told of drag."""
        return not math.isnan(self.drag_area_sd)

    @property
    def tells_power(self) -> bool:
        """Whether any ride of the season told of CP."""
        return not math.isnan(self.power_sd)


def next_plan(pooled: Pooled, rides: Sequence[Learned], now: tuple[float, float, float],
              applied: tuple[float, float], rolling_worth: float) -> NextPlan:
    """Give the figures of the next plan.

    Parameters
    ----------
    pooled, rides : the season
    now : CdA of the first position [m²], Crr of the bike and CP [W], as planned with by now
    applied : changes of CdA and Crr that these carry already
    rolling_worth : m², the CdA that takes as much as a Crr of one
    """
    area, rolling, power = now
    drag_sd = power_sd = math.nan
    if any(ride.drag is not None for ride in rides):
        area = area + float(pooled.drag[0]) - applied[0]
        rolling = min(max(rolling + float(pooled.drag[1]) - applied[1], _LEAST_ROLLING),
                      _MOST_ROLLING)
        drag_sd = pooled.drag_area_sd(rolling_worth)
    if any(ride.shown > 0.0 or ride.needed for ride in rides):
        power, power_sd = pooled.power, pooled.next_power_sd
    return NextPlan(len(rides), area, now[0], drag_sd, rolling, now[1], power, now[2], power_sd)


def own_estimate(mean: NDArray[np.float64], covariance: NDArray[np.float64],
                 prior: NDArray[np.float64], prior_sd: NDArray[np.float64],
                 ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Take a normal prior out of a normal posterior: what the data said by themselves.

    Directions of which they said next to nothing stay as vague as a hundred times the prior.
    """
    scale = np.diag(1.0 / prior_sd)  # in units of the prior, where its precision is one
    posterior = np.linalg.inv(scale @ covariance @ scale)
    values, vectors = np.linalg.eigh(posterior - np.eye(len(prior)))
    precision = np.maximum(values, 1e-4)
    moved = vectors.T @ posterior @ scale @ (mean - prior)
    own = vectors @ (moved / precision) * prior_sd
    spread = (vectors / precision) @ vectors.T * np.outer(prior_sd, prior_sd)
    return prior + own, spread


def pool(before: Before, rides: Sequence[Learned]) -> Pooled:
    """Pool the rides of a season with what was known before it."""
    drag, covariance, apart = _pool_drag(before, rides)
    power, power_sd, next_sd, exponent, exponent_sd = _pool_power(before, rides)
    if len(rides) == 1 and power < rides[0].shown:
        power = rides[0].shown  # one ride alone cannot be a good day among others
    return Pooled(len(rides), drag, covariance, covariance + np.diag(apart**2), float(apart[0]),
                  power, power_sd, next_sd, exponent, exponent_sd)


def _pool_drag(before: Before, rides: Sequence[Learned],
               ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Mean and covariance of the season's CdA and Crr, and (2,) what races differ by."""
    told = [(ride.drag, ride.covariance) for ride in rides
            if ride.drag is not None and ride.covariance is not None]
    ticks = np.linspace(0.0, 3.0, _TICKS)
    grid = np.stack(np.meshgrid(ticks, ticks, indexing="ij"), axis=-1).reshape(-1, 2)
    tau2 = (grid * (_DRAG_APART, _ROLLING_APART))**2
    precision = np.tile(np.diag([before.drag_area_sd**-2, before.rolling_sd**-2]),
                        (len(grid), 1, 1))
    pull, log_weight = np.zeros((len(grid), 2)), -0.5 * np.sum(grid**2, axis=1)
    for y, s in told:
        weight = np.linalg.inv(s + tau2[:, :, None] * np.eye(2))
        precision = precision + weight
        pull = pull + weight @ y
        log_weight = log_weight + 0.5 * np.linalg.slogdet(weight)[1] - 0.5 * (weight @ y) @ y
    spread = np.linalg.inv(precision)
    means = np.einsum("kij,kj->ki", spread, pull)
    log_weight = (log_weight + 0.5 * np.einsum("ki,ki->k", pull, means)
                  + 0.5 * np.linalg.slogdet(spread)[1])
    weights = np.exp(log_weight - log_weight.max())
    weights /= weights.sum()
    mean = weights @ means
    off = means - mean
    covariance = (np.einsum("k,kij->ij", weights, spread)
                  + np.einsum("k,ki,kj->ij", weights, off, off))
    return mean, covariance, np.sqrt(weights @ tau2)


def _pool_power(before: Before, rides: Sequence[Learned]) -> tuple[float, ...]:
    """CP of the season with its standard error, that of the next race, exponent with its own."""
    from scipy.special import log_ndtr

    told = [ride for ride in rides if ride.shown > 0.0 or ride.needed]
    if not told:
        spread = _POWER_APART * before.power
        return (before.power, before.power_sd, math.hypot(before.power_sd, spread),
                before.exponent, before.exponent_sd)
    most = max([before.power, *(max(ride.shown, *ride.needed, 0.0) for ride in told)])
    sd = before.power_sd
    power = np.linspace(max(before.power - 5.0 * sd, 0.3 * before.power),
                        max(before.power + 6.0 * sd, 1.1 * most), 240)[:, None, None]
    exponent = np.linspace(EXPONENTS[0], EXPONENTS[-1], 57)[None, :, None]
    tau = before.power * _POWER_APART * np.linspace(0.0, 3.0, _TICKS)[None, None, :]
    log = (-0.5 * (_TAILS + 1.0) * np.log1p(((power - before.power) / sd)**2 / _TAILS)
           - 0.5 * ((exponent - before.exponent) / before.exponent_sd)**2
           - 0.5 * (tau / (before.power * _POWER_APART))**2)
    no_lower: NDArray[np.float64] = np.full((1, 1, 1), np.inf)
    for ride in told:
        least, error = np.full(exponent.shape, ride.shown), np.full(exponent.shape, ride.shown_sd)
        if ride.needed:
            by_law = np.interp(exponent, EXPONENTS, ride.needed)
            error = np.where(by_law > least, ride.law_sd * by_law, error)
            least = np.maximum(by_law, least)
        if ride.all_out:
            spread = tau**2 + error**2 + (_LIMIT_SD * least)**2
            log = log - 0.5 * (power - least)**2 / spread - 0.5 * np.log(spread)
        else:
            above = (power - least) / np.sqrt(tau**2 + error**2 + 1e-9)
            no_lower = np.minimum(no_lower, above)
    log = log + log_ndtr(no_lower)
    weight = np.exp(log - log.max())
    weight /= weight.sum()

    def moments(values: NDArray[np.float64]) -> tuple[float, float]:
        mean = float(np.sum(weight * values))
        return mean, math.sqrt(float(np.sum(weight * (values - mean)**2)))

    sd_of_power = moments(power)[1]
    shares, values = weight.sum(axis=(1, 2)), power[:, 0, 0]
    median = float(np.interp(0.5, np.cumsum(shares) - 0.5 * shares, values))
    apart = float(np.sum(weight * tau**2))
    return median, sd_of_power, math.sqrt(sd_of_power**2 + apart), *moments(exponent)
