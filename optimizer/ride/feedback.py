"""What a least-squares fit makes of the fact that speed answers the wind.

A gust slows the rider, and the slower rider then loses less to the air than the fit expects: the
error of a segment and the drag energy computed from the speed in it are negatively
correlated, and CdA comes out too small, by one or two standard errors in gusty air. (Ljung
1999, System Identification, ch. 13, on data taken in closed loop.) The expectation of the score
x'P e under the rider's own response to the errors is known to first order; subtracting it
removes that bias.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = ["expected_score", "response"]


def response(duration: NDArray[np.float64], speed: NDArray[np.float64],
             rate: NDArray[np.float64], ride: NDArray[np.int64],
             effective_mass: float) -> NDArray[np.float64]:
    """(s, s) loss of mean speed in segment i by a joule lost evenly over segment j [m/s/J].

    Speed goes back to its balance at `rate` (s,) [1/s]. All arrays (s,), in order of time.
    """
    x = np.maximum(rate * duration, 1e-6)
    mean = -np.expm1(-x) / x
    gone = np.concatenate([[0.0], np.cumsum(x)])
    # From the end of j to the start of i.
    between = gone[:-1][:, None] - gone[1:][None, :]
    out = np.tril(mean[:, None] * np.exp(-np.maximum(between, 0.0)) * mean[None, :], -1)
    np.fill_diagonal(out, (1.0 - mean) / x)
    out *= ride[:, None] == ride[None, :]
    return np.asarray(out / (effective_mass * speed)[None, :])


def expected_score(columns: NDArray[np.float64], slopes: NDArray[np.float64],
                   precision: NDArray[np.float64], patterns: Sequence[NDArray[np.float64]],
                   exponents: Sequence[float], mean_error: NDArray[np.float64],
                   answer: NDArray[np.float64], speed: NDArray[np.float64],
                   ) -> NDArray[np.float64]:
    """(k,) expectation of x'P e for each column x.

    Parameters
    ----------
    columns, slopes : (s, k) energy of each segment per unit of a parameter, and its
        derivative by speed
    precision : (s, s) P, inverse covariance with all unknown heights projected out
    patterns : (s, s) each, covariances K_q of the errors to which the speed answers
    exponents : how the standard deviation of each grows with speed, γ_q = d log C / d log v
    mean_error : (s,) expectation of e, which is not zero since a gust meets a rider whom it
        has slowed already
    answer : (s, s) A, the `response`
    speed : (s,) m/s

    With δv = -A e, and P changing with v as the K_q do: E[x'Pe] = Σ (Px) E[e]
    - Σ dx/dv diag(AKP) + Σ_q γ_q/v (K_q Px diag(AKP) + Px diag(AKPK_q)).
    """
    seen = precision @ columns
    follow = answer @ np.sum(patterns, axis=0)
    own = np.einsum("ij,ji->i", follow, precision)
    out = mean_error @ seen - own @ slopes
    for exponent, pattern in zip(exponents, patterns, strict=True):
        turned = np.einsum("ij,ji->i", follow @ precision, pattern)
        out = out + exponent * ((own / speed) @ (pattern @ seen) + (turned / speed) @ seen)
    return np.asarray(out)
