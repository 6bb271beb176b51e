"""Bounds as affine minorants: linear in what items add, on a part of the bound's range.

Times the effective mass M, a bound of `optimizer.kit.bound` is linear in a set but for its
curvature; the square of a coordinate y lies below its chord on a piece [a, b], (a + b) y - a b.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.kit.bound import Bound
    from optimizer.kit.set_model import SetModel

__all__ = ["Minorant", "curvatures", "directions", "minorant", "tangent"]


@dataclass(frozen=True)
class Minorant:
    """A set cannot be faster than a time where constant + Σ item + Σ overlap is above its ceiling.

    Attributes
    ----------
    constant, item, overlap : s; scalar, (n,), (t,), the bound less `value`, times M over the usual
    slack : s, to be taken off for what is not linear
    value : s, the bound at its own point
    spread : half the range of M, over the usual M
    """

    constant: float
    item: NDArray[np.float64]
    overlap: NDArray[np.float64]
    slack: float
    value: float
    spread: float

    def of(self, chosen: NDArray[np.bool_], overlaps: NDArray[np.float64]) -> NDArray[np.float64]:
        """(s,) values of sets (s, n) with their overlaps (s, t) [s]."""
        return np.asarray(self.constant + chosen @ self.item + overlaps @ self.overlap)

    def ceilings(self, times: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Values above which a set cannot be faster than `times` [s]."""
        ahead = times - self.value
        return np.asarray(ahead + np.abs(ahead) * self.spread + self.slack)


def tangent(bound: Bound, model: SetModel) -> Minorant:
    """Return the bound without its curvature: no bound any more, but close to the time."""
    affine = _affine(bound, model, bound.slope, bound.value)
    return replace(affine, item=affine.item + model.hurdle)


def minorant(bound: Bound, model: SetModel, basis: NDArray[np.float64],
             box: NDArray[np.float64]) -> Minorant:
    """Minorant where the coordinates along `basis` (k, d), from the bound's point, are in `box`.

    `box` (k, 2) are the ends along each direction. Times are those with the hurdles.
    """
    kappa = curvatures(bound, basis, np.abs(box).max(axis=1))
    slope = bound.slope - 0.5 * (kappa * box.sum(axis=1)) @ basis
    affine = _affine(bound, model, slope, bound.value + 0.5 * float(kappa @ box.prod(axis=1)))
    if not model.hurdle.any():
        return affine
    # A set takes time T and has hurdles H; T + H <= t is (T - value) m <= (t - value - H) m with
    # m = M over the usual M. Of two ways to be rid of m, the one that loses less.
    spread = affine.spread
    whole = sum(float(np.abs(model.hurdle[rows]).max(initial=0.0))
                for rows in model.terms.combinations.places)
    ahead = -min(_least(affine, bound, model, basis, float(box[0, 0])), 0.0)
    if whole <= 2.0 * ahead:
        return replace(affine, item=affine.item + model.hurdle
                       - spread * np.abs(model.hurdle))
    # q = t - value - H >= T - value: where it is positive q m <= q (1 + spread), elsewhere
    # q m <= q (1 - spread), which is less than that by 2 spread |q|, and |q| <= `ahead`.
    share = 1.0 / (1.0 + spread)
    return Minorant(share * affine.constant, share * affine.item + model.hurdle,
                    share * affine.overlap, share * (affine.slack + 2.0 * spread * ahead),
                    affine.value, 0.0)


def _least(affine: Minorant, bound: Bound, model: SetModel, basis: NDArray[np.float64],
           low: float) -> float:
    """Lower bound on time less `value` [s] over sets whose first coordinate is `low` at least."""
    start, item, overlap, slack = model.along(basis[:1], bound.point)
    here = low * (1.0 + affine.spread if low < 0 else 1.0 - affine.spread) - float(slack[0])
    moved = float(np.abs(item).sum())
    typical = float(np.abs(affine.item).sum()) / moved if moved > 0 else 0.0
    found = -np.inf
    for price in typical * np.linspace(0.0, 2.0, 9):
        least, _ = model.spread(affine.constant - price * float(start[0]),
                                affine.item - price * item[:, 0],
                                affine.overlap - price * overlap[:, 0])
        found = max(found, float(least) + price * here)
    found -= affine.slack
    return found / (1.0 - affine.spread) if found < 0 else found / (1.0 + affine.spread)


def _affine(bound: Bound, model: SetModel, slope: NDArray[np.float64], value: float) -> Minorant:
    """Write value + slope · (θ - point), less bound.value, as a sum over items."""
    usual = model.usual_effective
    cut = len(model.start)
    crr = float(bound.point[-1] / bound.point[-2])
    mass = float(bound.point[-2] / bound.point[-4])
    corners = bound.corner_price * (bound.cornering**2 - model.cornering**2)
    rest = value - bound.value + corners - float(slope @ bound.point)
    sums = np.concatenate([[slope[:cut] @ model.start], model.item @ slope[:cut]])
    terms = (sums + slope[-1] * model.rolling(mass, crr) + rest * model.effective) / usual
    terms[1:] -= bound.corner_price * model.cornering**2 * model.corner_terms()
    low, high = model.mass_range
    crrs = model.spread(float(model.crr[0]), model.crr[1:])
    product = max(high - mass, mass - low) * max(float(crrs[1]) - crr, crr - float(crrs[0]))
    least, most = model.effective_range
    return Minorant(float(terms[0]), terms[1:], model.overlap @ slope[:cut] / usual,
                    abs(float(slope[-1])) * product / usual, bound.value,
                    (most - least) / (most + least))


def directions(curvature: NDArray[np.float64],
               half_range: NDArray[np.float64]) -> NDArray[np.float64]:
    """(k, d) directions along which a curvature is diagonal, measured in what sets can reach."""
    active = np.flatnonzero(half_range > 1e-12)
    if not len(active):  # no two sets differ
        active, half_range = np.zeros(1, dtype=int), np.ones(len(half_range))
    sizes = half_range[active]
    _, vectors = np.linalg.eigh(curvature[np.ix_(active, active)] * np.outer(sizes, sizes))
    basis = np.zeros((len(active), len(curvature)))
    basis[:, active] = vectors.T[::-1] / sizes
    return basis


def curvatures(bound: Bound, basis: NDArray[np.float64],
               size: NDArray[np.float64]) -> NDArray[np.float64]:
    """(k,) curvature along each direction, what couples two of them shared out between both.

    It is shared well, and at any rate lawfully, where coordinates are of about `size` (k,).
    """
    inverse = np.linalg.pinv(basis)
    form = inverse.T @ bound.curvature @ inverse
    size = size + 1e-15
    coupling = np.abs(form - np.diag(np.diag(form))) * size[None, :] / size[:, None]
    return np.asarray(np.diag(form) + coupling.sum(axis=1))
