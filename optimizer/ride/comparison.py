"""Two setups on one course: the difference in CdA, how sure it is, what could be seen at all.

The CdA of run r is that of its setup, plus a drift with time, plus what the rider did not
repeat: CdA_r = a + d [r is the second setup] + b t_r + u_r, u_r ~ N(0, τ²). The runs are known
with the covariance that the field test gives them, so a common error of meter, wheel or
profile drops out of d. τ² has a scaled inverse χ² prior, worth a few runs, since four runs say
little of it; with that prior left out and runs known exactly, d has Student's t distribution of
ordinary regression.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.ride.field_test import FieldTest

__all__ = ["DRIFT_SD", "REPEAT_RUNS", "REPEAT_SD", "Comparison", "compare", "difference",
           "freedom_of", "power_to_see", "smallest_to_see"]

# Common practice, no source: what a practised rider repeats, and what creeps in an hour.
REPEAT_SD = 0.0025  # m²
REPEAT_RUNS = 6.0  # how many runs that knowledge is worth
DRIFT_SD = 0.004  # m² an hour
_MOST_RUNS, _SEEN = 32, 0.8
_CLEAR = 0.95  # chance of its sign from which a change is clear: its 90 % range leaves zero out
_LEVEL = 2.0 * (1.0 - _CLEAR)  # of the two-sided test that says the same
_SIZES = np.geomspace(1e-5, 0.05, 120)  # of τ, m²


@dataclass(frozen=True)
class Comparison:
    """Second setup against the first.

    Attributes
    ----------
    first, second : names
    change : of CdA [m²], negative where the second has less drag; `sd`, `low`, `high` (90 %)
    chance_less : that the second has less drag
    smallest : change that such a test shows four times in five
    drift, drift_sd : m² an hour
    repeat : what the rider did not repeat, best estimate of τ [m²]
    mixed_with_order : correlation of the setup with the order of the runs; 0 is best
    percent : change in % of the first one's CdA, with `percent_low` and `percent_high`
    more_runs : how many more runs, half with each, would show a change as large as this one
        four times in five; 0 where the interval leaves zero out, None where 32 are too few
    """

    first: str
    second: str
    change: float
    sd: float
    low: float
    high: float
    chance_less: float
    smallest: float
    drift: float
    drift_sd: float
    repeat: float
    mixed_with_order: float
    percent: float
    percent_low: float
    percent_high: float
    more_runs: int | None


@dataclass(frozen=True)
class Difference:
    """Distribution of d: a mixture of normal distributions over τ.

    `weight`, `mean`, `sd` (k,); `size` (k,) of τ; `drift`, `drift_sd`; `freedom`: degrees of
    freedom behind τ.
    """

    weight: NDArray[np.float64]
    mean: NDArray[np.float64]
    sd: NDArray[np.float64]
    size: NDArray[np.float64]
    drift: float
    drift_sd: float
    freedom: float

    def quantile(self, q: float) -> float:
        """Quantile of d."""
        from scipy.optimize import brentq
        from scipy.special import ndtr

        reach = 12 * float(self.sd.max())
        low, high = float(self.mean.min()) - reach, float(self.mean.max()) + reach
        return float(brentq(lambda x: float(self.weight @ ndtr((x - self.mean) / self.sd)) - q,
                            low, high, xtol=1e-10))

    def below(self, value: float) -> float:
        """Probability that d is below `value`."""
        from scipy.special import ndtr

        return float(self.weight @ ndtr((value - self.mean) / self.sd))


def difference(runs: NDArray[np.float64], covariance: NDArray[np.float64],
               second: NDArray[np.bool_], hours: NDArray[np.float64], *,
               repeat_sd: float = REPEAT_SD, repeat_runs: float = REPEAT_RUNS,
               drift_sd: float = DRIFT_SD) -> Difference:
    """Distribution of the difference between two setups.

    Parameters
    ----------
    runs, covariance : (n,), (n, n) CdA of the runs [m²]
    second : (n,) which were ridden with the second setup
    hours : (n,) when
    repeat_sd, repeat_runs : prior of τ and its weight; 0 runs for none (p(τ) ~ 1/τ)
    drift_sd : m² an hour, inf for a drift that is free
    """
    n = len(runs)
    design = np.column_stack([np.ones(n), second, hours - hours.mean()])
    strength = np.diag([0.0, 0.0, 0.0 if math.isinf(drift_sd) else drift_sd**-2])
    if drift_sd == 0.0:
        design, strength = design[:, :2], strength[:2, :2]
    size = _SIZES * repeat_sd / REPEAT_SD
    log_weight, mean, sd, drifts = (np.empty(len(size)) for _ in range(4))
    drift_sds = np.zeros(len(size))
    for k, tau in enumerate(size):
        noise = covariance + tau**2 * np.eye(n)
        solved = np.linalg.solve(noise, np.column_stack([design, runs]))
        information = design.T @ solved[:, :-1] + strength
        inverse = np.linalg.inv(information)
        best = inverse @ design.T @ solved[:, -1]
        quadratic = runs @ solved[:, -1] - best @ information @ best
        # The prior of log τ is that of τ², times the step of the grid, which is even in log τ.
        prior = -repeat_runs * math.log(tau) - 0.5 * repeat_runs * repeat_sd**2 / tau**2
        log_weight[k] = -0.5 * (np.linalg.slogdet(noise)[1] + np.linalg.slogdet(information)[1]
                                + quadratic) + prior
        mean[k], sd[k] = best[1], math.sqrt(inverse[1, 1])
        if design.shape[1] == 3:
            drifts[k], drift_sds[k] = best[2], math.sqrt(inverse[2, 2])
        else:
            drifts[k] = 0.0
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    drift = float(weight @ drifts)
    return Difference(weight, mean, sd, size, drift,
                      float(np.sqrt(weight @ (drift_sds**2 + (drifts - drift)**2))),
                      max(repeat_runs + n - 2 - (1 if math.isinf(drift_sd) else 0), 1.0))


def compare(test: FieldTest, first: str, second: str) -> Comparison:
    """Compare two setups of a field test in which each ride stands on its own.

    Raises InputError where one of them was not ridden, or each only once in a row that any
    drift would fill.
    """
    setups = np.array(test.spec.setups)
    chosen = np.flatnonzero((setups == first) | (setups == second))
    for name in (first, second):
        if not np.any(setups == name):
            raise InputError("setups", "", f'"{name}" was not ridden',
                             f"ridden were {', '.join(dict.fromkeys(test.spec.setups))}")
    covariance = test.covariance[np.ix_(chosen, chosen)]
    runs, is_second = test.drag_area[chosen], setups[chosen] == second
    hours = test.clock[chosen] / 3600.0
    d = difference(runs, covariance, is_second, hours)
    change = float(d.weight @ d.mean)
    sd = float(np.sqrt(d.weight @ (d.sd**2 + (d.mean - change)**2)))
    low, high = d.quantile(0.05), d.quantile(0.95)
    less = d.below(0.0)
    base = float(np.mean(runs[~is_second]))
    freedom = freedom_of(sd, float(d.sd[0]), d.freedom)
    return Comparison(
        first=first, second=second, change=change, sd=sd, low=low, high=high,
        chance_less=less, smallest=smallest_to_see(sd, freedom), drift=d.drift,
        drift_sd=d.drift_sd, repeat=float(np.exp(d.weight @ np.log(d.size))),
        mixed_with_order=_correlation(is_second.astype(float), hours), percent=100 * change / base,
        percent_low=100 * low / base, percent_high=100 * high / base,
        more_runs=(0 if max(less, 1.0 - less) >= _CLEAR else
                   _more_runs(change, sd, len(chosen), freedom)))


def _more_runs(change: float, sd: float, runs: int, freedom: float) -> int | None:
    """Give the even number of further runs that would settle a change of this size.

    Runs alike: the standard error falls with the root of their number, and each adds a degree
    of freedom.
    """
    for more in range(2, _MOST_RUNS + 1, 2):
        if power_to_see(change, sd * math.sqrt(runs / (runs + more)), freedom + more) >= _SEEN:
            return more
    return None


def _correlation(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    a, b = a - a.mean(), b - b.mean()
    size = math.sqrt(float(a @ a) * float(b @ b))
    return float(a @ b) / size if size > 0.0 else 0.0


def freedom_of(sd: float, sd_without_repeat: float, freedom: float) -> float:
    """Degrees of freedom of a standard error of which only a part is estimated.

    Satterthwaite 1946, Biometrics Bulletin 2:110, with the rest known.
    """
    share = 1.0 - min(sd_without_repeat / sd, 1.0)**2
    return freedom / share**2 if share > 1e-3 else math.inf


def power_to_see(change: float, sd: float, freedom: float = math.inf,
                 level: float = _LEVEL) -> float:
    """Probability that a test with standard error `sd` shows a true `change` (two-sided).

    By the noncentral t distribution (Cohen 1988, Statistical Power Analysis for the
    Behavioral Sciences, ch. 2); `freedom` inf is the normal case.
    """
    from scipy.special import gammaincinv, ndtr, ndtri, stdtrit

    shift = abs(change) / sd
    if math.isinf(freedom):
        edge, scatter, weight = float(ndtri(1.0 - level / 2.0)), np.ones(1), np.ones(1)
    else:
        # Mean over the estimated deviation, at its quantiles: safe where the tails underflow.
        edge = float(stdtrit(freedom, 1.0 - level / 2.0))
        at, weight = np.polynomial.legendre.leggauss(200)
        scatter = np.sqrt(2.0 * gammaincinv(freedom / 2.0, 0.5 * (at + 1.0)) / freedom)
        weight = 0.5 * weight
    return float(weight @ (ndtr(shift - edge * scatter) + ndtr(-shift - edge * scatter)))


def smallest_to_see(sd: float, freedom: float = math.inf, power: float = 0.8,
                    level: float = _LEVEL) -> float:
    """Change that is shown with probability `power`."""
    from scipy.optimize import brentq

    most = 2.0
    while power_to_see(most, 1.0, freedom, level) < power and most < 1e3:
        most *= 1.5
    return sd * float(brentq(lambda x: power_to_see(x, 1.0, freedom, level) - power, 0.0, most))
