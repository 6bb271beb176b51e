"""Penalised smoothing on an even grid, in linear time, with the penalty from the data."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.lapack import dpbtrf, dpbtrs

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

__all__ = ["Smooth", "running_median", "runs_of", "smooth"]

_MOST_ASKED = 50_000  # data


@dataclass(frozen=True)
class Smooth:
    """A smoothed curve on the nodes of an even grid.

    Attributes
    ----------
    values : (n + 1,) or (n + 1, k)
    noise_sd : standard deviation of the data about the curve
    penalty : λ, on squared second differences in units of the grid
    """

    values: NDArray[np.float64]
    noise_sd: float
    penalty: float


def smooth(where: NDArray[np.float64], data: NDArray[np.float64], nodes: int, *,
           weight: NDArray[np.float64] | None = None, penalty: float | None = None,
           least_penalty: float = 1e-3, largest_penalty: float = 1e7) -> Smooth:
    """Penalised spline of degree 1 with a second-difference penalty.

    Eilers and Marx 1996, Stat. Sci. 11:89-121; the smoothing parameter by restricted
    maximum likelihood (Wood 2011, J. R. Statist. Soc. B 73:3-36), which needs one banded
    Cholesky factor for each trial, O(n).

    Parameters
    ----------
    where : (p,) position of each datum in units of the grid, 0 to nodes - 1, rising
    data : (p,) or (p, k) k curves that share one penalty
    nodes : of the grid
    weight : (p,) relative precision of each datum
    penalty : λ; None lets the data choose
    least_penalty, largest_penalty : bounds of that choice, the middle ones of very many

    Returns
    -------
    curve (nodes,) or (nodes, k), its penalty and what it leaves
    """
    y = data if data.ndim == 2 else data[:, None]
    middle = y.mean(axis=0)
    y = y - middle
    w = np.ones(len(y)) if weight is None else weight
    left = np.clip(where.astype(np.int64), 0, nodes - 2)
    right_share = where - left
    gram = np.zeros((3, nodes))
    gram[0] = (np.bincount(left, w * (1 - right_share) ** 2, nodes)
               + np.bincount(left + 1, w * right_share**2, nodes))
    gram[1] = np.bincount(left, w * right_share * (1 - right_share), nodes)
    moment = np.stack([np.bincount(left, w * (1 - right_share) * c, nodes)
                       + np.bincount(left + 1, w * right_share * c, nodes) for c in y.T], axis=1)
    least = 1e-12 * float(np.sum(w[:, None] * y**2)) + 1e-12
    roughness = _second_difference_penalty(nodes)
    freedom = max((np.count_nonzero(w) - 2) * y.shape[1], 1)

    def fit(log_penalty: float) -> tuple[float, NDArray[np.float64], float]:
        lam = float(np.exp(log_penalty))
        factor = _factor(gram + lam * roughness)
        curve = dpbtrs(factor, moment, lower=1)[0]
        fitted = curve[left] + right_share[:, None] * (curve[left + 1] - curve[left])
        misfit = max(float(np.sum(w[:, None] * y * (y - fitted))), least)  # y'W(y - Bz)
        log_det = 2 * float(np.sum(np.log(factor[0])))
        score = freedom * np.log(misfit) + y.shape[1] * (log_det - (nodes - 2) * log_penalty)
        return float(score), curve, misfit

    if penalty is None and max(len(y), nodes) > _MOST_ASKED:
        penalty = _asked_of_the_middle(where, y, w, least_penalty, largest_penalty)
    if penalty is None:
        best = _least(lambda x: fit(x)[0], float(np.log(least_penalty)),
                      float(np.log(largest_penalty)))
    else:
        best = float(np.log(max(penalty, 1e-9)))
    curve, misfit = fit(best)[1:]
    curve = curve + middle
    return Smooth(curve if data.ndim == 2 else curve[:, 0], float(np.sqrt(misfit / freedom)),
                  float(np.exp(best)))


def running_median(values: NDArray[np.float64], size: int) -> NDArray[np.float64]:
    """Median of the neighbours about each value, mirrored at the ends.

    Parameters
    ----------
    values : (n,)
    size : of the window, odd

    Returns
    -------
    (n,)
    """
    if not len(values):
        return values
    half = min(size // 2, len(values) - 1)
    padded = np.pad(values, half, mode="reflect")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1),
                                axis=1))


def runs_of(which: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First of each run of true entries, and the first after it.

    Parameters
    ----------
    which : (n,)

    Returns
    -------
    pairs of indices, in order
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[0], which.astype(int), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _asked_of_the_middle(where: NDArray[np.float64], data: NDArray[np.float64],
                         weight: NDArray[np.float64], least: float,
                         largest: float) -> float | None:
    """Penalty that the middle of a long curve chooses; None where little was measured there.

    The noise is taken to be the same all along.
    """
    start = np.floor(max(0.5 * (where[-1] - _MOST_ASKED), 0.0))
    first, last = np.searchsorted(where, [start, start + _MOST_ASKED - 2])
    last = min(last, first + _MOST_ASKED)
    if last - first < 1000:
        return None
    middle = slice(int(first), int(last))
    nodes = int(where[last - 1] - start) + 2
    return smooth(where[middle] - start, data[middle], nodes, weight=weight[middle],
                  least_penalty=least, largest_penalty=largest).penalty


def _second_difference_penalty(nodes: int) -> NDArray[np.float64]:
    """D'D of the second difference, lower banded (3, n)."""
    bands = np.zeros((3, nodes))
    for i, a in enumerate((1.0, -2.0, 1.0)):
        for j, b in enumerate((1.0, -2.0, 1.0)[i:]):
            bands[j, i:nodes - 2 + i] += a * b
    return bands


def _factor(bands: NDArray[np.float64]) -> NDArray[np.float64]:
    """Cholesky factor, with the least ridge that makes it go where nodes hold no data."""
    ridge = 0.0
    while True:
        factor, failed = dpbtrf(bands + np.array([[ridge], [0.0], [0.0]]), lower=1)
        if not failed:
            return np.asarray(factor)
        ridge = max(10 * ridge, 1e-13 * float(bands[0].max()))


def _least(function: Callable[[float], float], low: float, high: float) -> float:
    """Minimum of a scalar function: a coarse scan, then golden section about its best."""
    grid = np.linspace(low, high, 10)
    k = int(np.argmin([function(float(x)) for x in grid]))
    a, b = float(grid[max(k - 1, 0)]), float(grid[min(k + 1, len(grid) - 1)])
    ratio = (np.sqrt(5.0) - 1.0) / 2.0
    c, d = b - ratio * (b - a), a + ratio * (b - a)
    at_c, at_d = function(c), function(d)
    while b - a > 0.15:  # a tenth of λ changes no curve
        if at_c < at_d:
            b, d, at_d = d, c, at_c
            c = b - ratio * (b - a)
            at_c = function(c)
        else:
            a, c, at_c = c, d, at_d
            d = a + ratio * (b - a)
            at_d = function(d)
    return 0.5 * (a + b)
