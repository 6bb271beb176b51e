"""Linear regression whose errors are sums of known patterns of unknown size.

y = X b + e with e ~ N(0, K + Σ θ_j V_j): b flat, θ_j positive with a log-normal prior. The θ_j
maximise the likelihood of what X leaves free (restricted likelihood: Patterson and Thompson
1971, Biometrika 58:545), so that the uncertainty about b counts the degrees of freedom that b used.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import LinAlgError, cho_factor, cho_solve, lapack, qr

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = ["Fit", "fit_variances", "free_directions"]

_ROUNDS = 40


@dataclass(frozen=True)
class Fit:
    """Sizes of the patterns at the best fit.

    Attributes
    ----------
    size : (j,) θ
    precision : (n, n) inverse of the whole covariance
    weighted : (n,) precision times y
    """

    size: NDArray[np.float64]
    precision: NDArray[np.float64]
    weighted: NDArray[np.float64]


def free_directions(design: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, n - rank) orthonormal directions that no column of `design` reaches."""
    if design.shape[1] == 0:
        return np.eye(len(design))
    q, r, _ = qr(design, pivoting=True)
    diagonal = np.abs(np.diag(r))
    rank = int(np.sum(diagonal > 1e-9 * diagonal[0]))
    return np.asarray(q[:, rank:])


def fit_variances(y: NDArray[np.float64], known: NDArray[np.float64],
                  patterns: Sequence[NDArray[np.float64]], guess: NDArray[np.float64],
                  prior: NDArray[np.float64], prior_log_sd: NDArray[np.float64]) -> Fit:
    """Find the sizes θ of the patterns.

    Parameters
    ----------
    y : (n,) data, or their projection on the free directions
    known : (n, n) part of the covariance that is known, K
    patterns : j of (n, n), V_j
    guess : (j,) where to start
    prior, prior_log_sd : (j,) median of θ and standard deviation of log θ

    Newton's method on log θ with step halving and the average of observed and expected
    information, ½ y'P V_i P V_j P y, which needs no traces (Gilmour, Thompson and Cullis 1995,
    Biometrics 51:1440).
    """
    log_size = np.log(guess)
    centre, strength = np.log(prior), 1.0 / prior_log_sd**2
    flat = np.array([v.ravel() for v in patterns])
    value, factor = _evaluate(y, known, flat, log_size, centre, strength)
    precision = _inverse(factor)
    for _ in range(_ROUNDS):
        size = np.exp(log_size)
        weighted = precision @ y
        bent = np.column_stack([s * (v @ weighted) for s, v in zip(size, patterns, strict=True)])
        slope = 0.5 * (weighted @ bent - size * (flat @ precision.ravel())) - strength * (
            log_size - centre)
        information = 0.5 * bent.T @ precision @ bent
        step = np.linalg.solve(information + np.diag(strength), slope)
        step *= min(1.0, 2.0 / max(float(np.abs(step).max()), 1e-12))
        better = value
        for _ in range(12):
            better, factor = _evaluate(y, known, flat, log_size + step, centre, strength)
            if better > value:
                break
            step = 0.5 * step
        if better <= value:
            break
        log_size, precision = log_size + step, _inverse(factor)
        gained, value = better - value, better
        if gained < 1e-4:
            break
    return Fit(np.exp(log_size), precision, precision @ y)


def _evaluate(y: NDArray[np.float64], known: NDArray[np.float64],
              flat: NDArray[np.float64], log_size: NDArray[np.float64],
              centre: NDArray[np.float64], strength: NDArray[np.float64],
              ) -> tuple[float, NDArray[np.float64]]:
    """Logarithm of likelihood times prior, and the Cholesky factor of the covariance (lower half).

    `flat` (j, n²) are the patterns. Sizes that are worlds apart are not to be had in double
    precision: never better than others.
    """
    covariance = known + (np.exp(log_size) @ flat).reshape(known.shape)
    try:
        factor = cho_factor(covariance, lower=True)
    except LinAlgError:
        return -np.inf, covariance
    half = float(np.sum(np.log(np.diag(factor[0]))))
    quadratic = float(y @ cho_solve(factor, y))
    penalty = 0.5 * float(np.sum(strength * (log_size - centre)**2))
    return -half - 0.5 * quadratic - penalty, factor[0]


def _inverse(factor: NDArray[np.float64]) -> NDArray[np.float64]:
    """Inverse of the covariance from its factor: twice the work of that, so where it is needed."""
    inverse, _ = lapack.dpotri(factor, lower=1)
    lower = np.tril(inverse)
    return np.asarray(lower + np.tril(inverse, -1).T)
