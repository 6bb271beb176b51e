"""Bounds as affine minorants: linear in what items add, on a part of the bound's range.

Times the effective mass M, a bound of `optimizer.kit.bound` is linear in a set but for its
curvature; the square of a coordinate y lies below its chord on a piece [a, b], (a + b) y - a b.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.kit.bound import Bound
    from optimizer.kit.set_model import SetModel

__all__ = ["Minorant", "curvatures", "directions", "minorant", "minorant_near",
           "tangent"]


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
    """Return the bound without its curvature: no bound any more, but close to the time.

    Parameters
    ----------
    bound : from the multipliers of one plan
    model : linear model of all sets

    Returns
    -------
    function of a set [s]
    """
    affine = _affine(bound, model, bound.slope, bound.value)
    return replace(affine, item=affine.item + model.hurdle,
                   overlap=affine.overlap + model.overlap_hurdle)


def minorant(bound: Bound, model: SetModel, basis: NDArray[np.float64],
             box: NDArray[np.float64]) -> Minorant:
    """Minorant of the time of sets in a box.

    Parameters
    ----------
    bound : from the multipliers of one plan
    model : linear model of all sets
    basis : (k, d) directions
    box : (k, 2) ends along each direction, from the point of the bound

    Returns
    -------
    function of a set that is at most its time with the hurdles [s] in the box
    """
    kappa = curvatures(bound, basis, np.abs(box).max(axis=1))
    slope = bound.slope - 0.5 * (kappa * box.sum(axis=1)) @ basis
    affine = _affine(bound, model, slope, bound.value + 0.5 * float(kappa @ box.prod(axis=1)))
    # A set takes time T and has hurdles H; T + H <= t is (T - value) m <= (t - value - H) m with
    # m = M over the usual M, within its spread of 1.
    return replace(affine,
                   item=affine.item + model.hurdle - affine.spread * np.abs(model.hurdle),
                   overlap=affine.overlap + model.overlap_hurdle
                   - affine.spread * np.abs(model.overlap_hurdle))


def minorant_near(bound: Bound, model: SetModel, basis: NDArray[np.float64],
                  box: NDArray[np.float64], rows: Sequence[int], target: float) -> Minorant:
    """Minorant of time and hurdles in a box that loses nothing at one set.

    For large hurdles. All that is not linear in a set vanishes at `rows`, and is at most a sum over
    the items and overlaps in which a set differs from it. With y along a direction of the basis, y'
    there and |y - y'| <= R,

        y² <= y'² + 2 y' (y - y') + R |y - y'|

    (for the first direction the chord of the box instead); the product m Crr differs from its
    plane by at most the range of Crr times a difference in mass; and with H the hurdles, m = M over
    that of `rows`, T + H <= t is (T - value) m <= q m, q = t - value - H, where m - 1 is a sum and
    |q| is bounded.

    Parameters
    ----------
    bound : from the multipliers of one plan
    model : linear model of all sets
    basis : (k, d) directions
    box : (k, 2) ends along each direction, from the point of the bound
    rows : of the set where nothing is lost
    target : s; it holds for sets whose time and hurdles are less

    Returns
    -------
    function of a set that is at most its time with the hurdles [s]
    """
    chosen = np.zeros((1, len(model.hurdle)), dtype=bool)
    chosen[0, list(rows)] = True
    inside, active = chosen[0], model.terms.combinations.overlapping(chosen)[0] > 0.5
    at = model.coordinates(chosen)[0]
    here = float(model.effective[0] + inside @ model.effective[1:])
    kappa = curvatures(bound, basis, np.abs(box).max(axis=1))
    y = basis @ (at - bound.point)
    middle = np.append(0.5 * box[0].sum(), y[1:])
    constant = np.append(box[0].prod(), y[1:]**2)
    slope = bound.slope - (kappa * middle) @ basis
    affine = _affine(bound, model, slope, bound.value + 0.5 * float(kappa @ constant), at)
    scale = model.usual_effective / here
    # What a different item, or overlap, may cost at most.
    mass, crr = float(at[-2] / at[-4]), float(at[-1] / at[-2])
    low, high = model.spread(float(model.crr[0]), model.crr[1:])
    product = max(float(high) - crr, crr - float(low)) * np.abs(model.mass[1:]) / here
    reach = np.abs(box - y[:, None]).max(axis=1)
    reach[0] = 0.0
    item = (np.column_stack([model.item, model.rolling(mass, crr)[1:]])
            - np.outer(model.effective[1:], at)) @ basis.T / here
    cost = 0.5 * (np.abs(item) + np.outer(product, np.abs(basis[:, -1]))) @ (kappa * reach)
    cost += abs(float(slope[-1])) * product
    overlap_cost = 0.5 * np.abs(model.overlap @ basis[:, :len(model.start)].T / here) @ (
        kappa * reach)
    start, item, overlap, slack = model.along(basis[:1], bound.point)
    first = Minorant(float(start[0]), item[:, 0], overlap[:, 0], float(slack[0]), 0.0, 0.0)
    ends = np.outer(box[0], [1.0 - affine.spread, 1.0 + affine.spread])
    within = float(ends.min()) - first.slack, float(ends.max()) + first.slack
    least = (_least((affine.constant, affine.item, affine.overlap), first, within, model)
             - affine.slack) / (1.0 - affine.spread)
    most = target - bound.value - _least((0.0, model.hurdle, model.overlap_hurdle), first, within,
                                         model)
    cost += max(-least, most, 0.0) * np.abs(model.effective[1:]) / here
    return Minorant(
        scale * affine.constant - float(cost[inside].sum()) - float(overlap_cost[active].sum()),
        scale * affine.item + model.hurdle + np.where(inside, cost, -cost),
        scale * affine.overlap + model.overlap_hurdle
        + np.where(active, overlap_cost, -overlap_cost), 0.0, affine.value, 0.0)


def _least(sums: tuple[float, NDArray[np.float64], NDArray[np.float64]], first: Minorant,
           within: tuple[float, float], model: SetModel) -> float:
    """Lower bound on a sum over items and overlaps where the coordinate `first` is `within`.

    The best of a few multipliers of those two ends.
    """
    constant, item, overlap = sums
    moved = float(np.abs(first.item).sum())
    typical = float(np.abs(item).sum()) / moved if moved > 0 else 0.0
    found = -np.inf
    for price in typical * np.linspace(-2.0, 2.0, 17):
        low, _ = model.spread(constant - price * first.constant, item - price * first.item,
                              overlap - price * first.overlap)
        found = max(found, float(low) + price * (within[0] if price > 0 else within[1]))
    return found


def _affine(bound: Bound, model: SetModel, slope: NDArray[np.float64], value: float,
            about: NDArray[np.float64] | None = None) -> Minorant:
    """Write value + slope · (θ - point), less bound.value, as a sum over items.

    m Crr by its plane `about` a point, by default that of the bound.
    """
    usual = model.usual_effective
    cut = len(model.start)
    about = bound.point if about is None else about
    crr = float(about[-1] / about[-2])
    mass = float(about[-2] / about[-4])
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
    """Directions along which a curvature is diagonal, measured in what sets can reach.

    Parameters
    ----------
    curvature : (d, d)
    half_range : (d,) what sets can reach

    Returns
    -------
    (k, d) directions along which the curvature is diagonal
    """
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
    """Curvature along each direction, what couples two of them shared out between both.

    Parameters
    ----------
    bound : from the multipliers of one plan
    basis : (k, d) directions
    size : (k,) of the coordinates, for which couplings are shared out well

    Returns
    -------
    (k,) curvature along each direction
    """
    inverse = np.linalg.pinv(basis)
    form = inverse.T @ bound.curvature @ inverse
    size = size + 1e-15
    coupling = np.abs(form - np.diag(np.diag(form))) * size[None, :] / size[:, None]
    return np.asarray(np.diag(form) + coupling.sum(axis=1))
