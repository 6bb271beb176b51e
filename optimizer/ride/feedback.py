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

__all__ = ["expected_score", "following"]


def following(clock: NDArray[np.float64], duration: NDArray[np.float64],
              rate: NDArray[np.float64], time: float) -> NDArray[np.float64]:
    """(s, s) [i, j]: covariance of what a disturbance has built up in segment i with it in j [s].

    The disturbance has unit variance and forgets in `time` seconds; what it builds up fades at
    `rate` (s,) [1/s]: u' = w - rate u. Means over segments with middles at `clock`, (s,).
    Closed form of the double integral of E[u(t) w(s)] = ∫ exp(-|s - t + x|/time - rate x) dx.
    """
    both, forget = 1.0 / (rate + 1.0 / time), np.full(len(clock), 1.0 / time)
    apart = np.where(np.abs(forget - rate) < 1e-6, 1e-6, forget - rate)
    fades, forgets = _means(clock, duration, rate), _means(clock, duration, forget)
    after = (fades * (1.0 / apart + both)[:, None] - forgets / apart[:, None])
    out = np.where(clock[:, None] > clock[None, :], after, forgets * both[:, None])
    # Within a segment one half of the pairs is of each kind.
    np.fill_diagonal(out, np.diag(after) + np.diag(forgets) * both)
    return np.asarray(out)


def _means(clock: NDArray[np.float64], duration: NDArray[np.float64],
           rate: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean of exp(-rate |t - s|) over t in segment i and s in segment j; half of it if i = j."""
    x = rate[:, None] * duration[None, :]
    end = -np.expm1(-x) / x
    own = np.diag(end)
    half = 0.5 * duration
    gap = np.abs(clock[:, None] - clock[None, :]) - half[:, None] - half[None, :]
    out = own[:, None] * end * np.exp(-rate[:, None] * np.maximum(gap, 0.0))
    np.fill_diagonal(out, (1.0 - own) / (rate * duration))
    return np.asarray(out)


def expected_score(columns: NDArray[np.float64], slopes: NDArray[np.float64],
                   precision: NDArray[np.float64], patterns: Sequence[NDArray[np.float64]],
                   exponents: Sequence[float], mean_error: NDArray[np.float64],
                   slowed: NDArray[np.float64],
                   speed: NDArray[np.float64]) -> NDArray[np.float64]:
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
    slowed : (s, s) F, F_ij = -E[δv_i e_j], what errors take from the mean speed
    speed : (s,) m/s

    With P changing with v as the K_q do: E[x'Pe] = Σ (Px) E[e] - Σ dx/dv diag(FP)
    + Σ_q γ_q/v (K_q Px diag(FP) + Px diag(FPK_q)).
    """
    seen = precision @ columns
    own = np.einsum("ij,ji->i", slowed, precision)
    out = mean_error @ seen - own @ slopes
    for exponent, pattern in zip(exponents, patterns, strict=True):
        turned = np.einsum("ij,ji->i", slowed @ precision, pattern)
        out = out + exponent * ((own / speed) @ (pattern @ seen) + (turned / speed) @ seen)
    return np.asarray(out)
