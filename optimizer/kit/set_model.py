"""The linear set model: what sets of kit add up to, in the coordinates of the pacing program."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from optimizer.kit.bound import levels

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.kit.terms import Terms
    from optimizer.physics import Setup

__all__ = ["SetModel", "set_model"]


@dataclass(frozen=True)
class SetModel:
    """What sets add up to: Θ, the effective mass times `optimizer.kit.bound.coordinates`.

    For n items, t overlaps and d coordinates, of which the last, m Crr, is a product and not
    kept here (`rolling` gives it to first order):

    Attributes
    ----------
    terms : the catalogue in arrays
    start : (d - 1,) Θ of the bare baseline
    item, overlap : (n, d - 1), (t, d - 1) what each adds
    mass, effective, crr : (1 + n,) of rider and bare bike [kg, kg, 1], then what each item adds
    cornering : factor on corner speeds of the bare baseline
    low, high : (d,) range of Θ over all sets
    mass_range, effective_range : of mass and effective mass over all sets [kg]
    hurdle, overlap_hurdle : (n,), (t,) seconds that are counted against a set for each of its
        items, and for each overlap that counts in it
    choices : by place the items that sets may have there, and whether they may have none
    """

    terms: Terms
    start: NDArray[np.float64]
    item: NDArray[np.float64]
    overlap: NDArray[np.float64]
    mass: NDArray[np.float64]
    effective: NDArray[np.float64]
    crr: NDArray[np.float64]
    cornering: float
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    mass_range: tuple[float, float]
    effective_range: tuple[float, float]
    hurdle: NDArray[np.float64]
    overlap_hurdle: NDArray[np.float64]
    choices: tuple[tuple[NDArray[np.int64], bool], ...]

    @property
    def usual_effective(self) -> float:
        """Middle of the effective masses [kg]."""
        return 0.5 * sum(self.effective_range)

    def half_range(self) -> NDArray[np.float64]:
        """(d,) the most by which coordinates of two sets can differ."""
        ends = np.array([bound / mass for bound in (self.low, self.high)
                         for mass in self.effective_range])
        return np.asarray(ends.max(axis=0) - ends.min(axis=0))

    def rolling(self, mass: float, crr: float) -> NDArray[np.float64]:
        """(1 + n,) m Crr about a mass and a Crr: of the bare baseline, and what items add.

        Exact but for (m - mass) (Crr - crr).
        """
        terms = mass * self.crr + crr * self.mass
        terms[0] -= mass * crr
        return np.asarray(terms)

    def along(self, basis: NDArray[np.float64], point: NDArray[np.float64],
              ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64],
                         NDArray[np.float64]]:
        """Terms of basis (k, d) · (Θ - M point), over the usual M: what sets are along a basis.

        (k,) of the bare baseline, (n, k) and (t, k) what items and overlaps add, and (k,) by how
        much that may miss, m Crr being a product.
        """
        cut, usual = len(self.start), self.usual_effective
        crrs = self.spread(float(self.crr[0]), self.crr[1:])
        mass, crr = 0.5 * sum(self.mass_range), 0.5 * float(crrs[0] + crrs[1])
        terms = np.column_stack([np.vstack([self.start, self.item]), self.rolling(mass, crr)])
        terms = (terms - np.outer(self.effective, point)) @ basis.T / usual
        product = (self.mass_range[1] - mass) * (float(crrs[1]) - crr)
        return (terms[0], terms[1:], self.overlap @ basis[:, :cut].T / usual,
                np.abs(basis[:, -1]) * product / usual)

    def ends(self, basis: NDArray[np.float64],
             point: NDArray[np.float64]) -> NDArray[np.float64]:
        """(k, 2) range over all sets of what `along` gives the terms of."""
        start, item, overlap, slack = self.along(basis, point)
        low, high = self.spread(start, item, overlap)
        return np.column_stack([low - slack, high + slack])

    def coordinates(self, chosen: NDArray[np.bool_]) -> NDArray[np.float64]:
        """(s, d) coordinates of sets (s, n)."""
        share = chosen.astype(float)
        overlaps = self.terms.combinations.overlapping(chosen)
        total = self.start + share @ self.item + overlaps @ self.overlap
        mass, effective, crr = (column[0] + share @ column[1:]
                                for column in (self.mass, self.effective, self.crr))
        return np.asarray(np.column_stack([total, mass * crr]) / effective[:, None])

    def corners(self, chosen: NDArray[np.bool_]) -> NDArray[np.float64]:
        """(s,) factor on corner speeds of sets (s, n)."""
        return np.asarray(self.cornering * np.where(chosen, self.terms.cornering, 1.0).prod(axis=1))

    def corner_terms(self) -> NDArray[np.float64]:
        """(n,) linear terms that lie above the product of squared factors on corner speed.

        The product is 1 and, place by place, its growth times the product so far, which is put
        at its largest where the factor makes it grow and at its least where it shrinks. Each is
        multiplied with the effective mass, over the usual one, at the end of its range that
        does the same.
        """
        low, high = (end / self.usual_effective for end in self.effective_range)
        growth = self.terms.cornering**2 - 1.0
        out = np.zeros(len(growth))
        least = most = 1.0
        for rows, _ in self.choices:
            here = growth[rows]
            out[rows] = np.where(here > 0, here * most * high, here * least * low)
            least *= 1.0 + min(float(here.min(initial=0.0)), 0.0)
            most *= 1.0 + max(float(here.max(initial=0.0)), 0.0)
        return out

    def hurdles(self, chosen: NDArray[np.bool_]) -> NDArray[np.float64]:
        """(s,) seconds that are counted against sets (s, n)."""
        found = chosen @ self.hurdle
        if self.overlap_hurdle.any():
            found = found + self.terms.combinations.overlapping(chosen) @ self.overlap_hurdle
        return np.asarray(found)

    def spread(self, start: NDArray[np.float64] | float, item: NDArray[np.float64],
               overlap: NDArray[np.float64] | None = None,
               ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Range of a sum to which each place adds one of its items, or nothing if it may."""
        least, most = np.array(item, dtype=float), np.array(item, dtype=float)
        if overlap is not None:  # counts with its discounted item only, and with a partner
            some, discounted = self._overlaps
            np.add.at(least, discounted, np.minimum(overlap[some], 0.0))
            np.add.at(most, discounted, np.maximum(overlap[some], 0.0))
        low, high = np.array(start, dtype=float), np.array(start, dtype=float)
        for rows, none in self.choices:
            if len(rows):
                ends = least[rows].min(axis=0), most[rows].max(axis=0)
                low = low + (np.minimum(ends[0], 0.0) if none else ends[0])
                high = high + (np.maximum(ends[1], 0.0) if none else ends[1])
        return low, high

    @cached_property
    def _overlaps(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Overlaps that can count, and their discounted items."""
        there = {int(k) for rows, _ in self.choices for k in rows}
        found = [(t, over.discounted) for t, over in enumerate(self.terms.combinations.overlaps)
                 if over.discounted in there and not there.isdisjoint(over.partners)]
        some, discounted = np.array(found, dtype=int).reshape(-1, 2).T
        return some, discounted

    def narrowed(self, usable: NDArray[np.bool_], needed: NDArray[np.bool_]) -> SetModel:
        """Return the model of the sets of `usable` items (n,) with one at each place `needed`."""
        return _ranged(replace(self, choices=tuple(
            (rows[usable[rows]], not must) for rows, must in zip(
                self.terms.combinations.places, needed, strict=True))))


def set_model(terms: Terms, baseline: Setup, rider_mass: float) -> SetModel:
    """Set model of a catalogue on one bike and rider.

    Parameters
    ----------
    terms : of the catalogue
    baseline : bike as it stands
    rider_mass : kg

    Returns
    -------
    coordinates of all sets as sums over items and overlaps
    """
    bare = terms.setup(baseline, [])
    per_inertia = 1.0 / baseline.wheel_radius**2
    mass = np.array([rider_mass + bare.mass, *terms.mass])
    effective = mass + per_inertia * np.array([bare.wheel_inertia, *terms.inertia])
    crr = np.array([bare.rolling_resistance, *terms.rolling])
    losses = np.array([over.loss for over in terms.combinations.overlaps])
    losses = losses.reshape(-1, len(terms.yaw))
    overlap = np.zeros((len(losses), len(terms.yaw) + 3))
    overlap[:, :len(terms.yaw)] = levels(losses)
    return _ranged(SetModel(
        terms=terms,
        start=np.array([*levels(bare.drag_area_change), 1.0, bare.drivetrain_efficiency,
                        mass[0]]),
        item=np.column_stack([levels(terms.drag), np.zeros(len(terms.names)), terms.efficiency,
                              terms.mass]),
        overlap=overlap, mass=mass, effective=effective, crr=crr,
        cornering=bare.cornering_factor, low=np.zeros(0), high=np.zeros(0),
        mass_range=(0.0, 0.0), effective_range=(0.0, 0.0), hurdle=np.zeros(len(terms.names)),
        overlap_hurdle=np.zeros(len(losses)),
        choices=tuple((rows, True) for rows in terms.combinations.places)))


def _ranged(model: SetModel) -> SetModel:
    """Give a model the ranges of what its sets add up to."""
    masses, effectives, crrs = (
        tuple(float(end) for end in model.spread(column[0], column[1:]))
        for column in (model.mass, model.effective, model.crr))
    low, high = model.spread(model.start, model.item, model.overlap)
    return replace(model, low=np.append(low, masses[0] * crrs[0]),
                   high=np.append(high, masses[1] * crrs[1]),
                   mass_range=(masses[0], masses[1]), effective_range=(effectives[0],
                                                                       effectives[1]))
