"""Sets of kit as combinations that add up, and bounds on them as planes.

On a piece of its range a bound is linear in what items add (`Plane`). Items that have something
to do with each other are gathered into groups, as far as groups stay small. What still reaches
from one group to another is relaxed: requirements and exclusions are forgotten, and of overlaps
is kept what adds up by group. In a region, where the smaller of two gains pays a toll, all items
but the largest one pay; so for any height h the tolls come to

    Σ toll_i ≥ Σ_i min(toll_i, h) - h,

which is what they come to exactly if h lies between the largest toll and the next.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import csr_array

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.kit.bound import Bound
    from optimizer.kit.catalogue import Catalogue
    from optimizer.kit.ledger import Ledger

__all__ = ["Group", "Plane", "bends", "combination", "farther", "gather", "heights", "plane_of",
           "plane_over", "tangent_of"]

_LARGEST_GROUP = 30_000  # combinations


@dataclass(frozen=True)
class Group:
    """Combinations of some places, k of them, feasible among themselves.

    Of n items, t overlaps and r regions:

    Attributes
    ----------
    chosen : (k, n) items
    cost : (k,)
    paid : (k, t) 1 where an overlap counts, whatever other groups hold
    due : (k, t) 1 where it counts, or may count with what other groups hold
    top : (k, r) row number of the item that comes first in a region; -1 where there is none, or
        where it pays already
    above : (n, n) whether an item of another group comes before one of this group in its region
    """

    chosen: NDArray[np.bool_]
    cost: NDArray[np.float64]
    paid: csr_array
    due: csr_array
    top: NDArray[np.int64]
    above: NDArray[np.bool_]

    def take(self, rows: NDArray[np.bool_]) -> Group:
        """Return some of the combinations."""
        at = np.flatnonzero(rows)
        return replace(self, chosen=self.chosen[at], cost=self.cost[at], paid=self.paid[at],
                       due=self.due[at], top=self.top[at])


@dataclass(frozen=True)
class Plane:
    """A linear function [s] that lies below a bound on a part of its range.

    A set gives start + Σ item + Σ overlap; `slack` [s] is to be taken off for what is not linear.
    `height` (r,) [s] and `toll` (n, n) [s], of row i where j is there too, are for overlaps that
    reach from one group to another.
    """

    start: float
    item: NDArray[np.float64]
    overlap: NDArray[np.float64]
    slack: float
    height: NDArray[np.float64]
    toll: NDArray[np.float64]

    @property
    def ground(self) -> float:
        """What a set gives before anything is chosen [s]."""
        return self.start - float(self.height.sum())

    def at(self, height: NDArray[np.float64]) -> Plane:
        """Return the plane with other heights (r,) [s], none below 0."""
        return replace(self, height=height)

    def values(self, group: Group) -> NDArray[np.float64]:
        """(k,) what each combination adds to `ground`, or a little less."""
        tolls = np.minimum(self.top_tolls(group), self.height)
        return np.asarray(group.chosen @ self.item + group.paid @ np.maximum(self.overlap, 0.0)
                          + group.due @ np.minimum(self.overlap, 0.0) + tolls.sum(axis=1))

    def top_tolls(self, group: Group,
                  rows: NDArray[np.int64] | slice = slice(None)) -> NDArray[np.float64]:
        """(k, r) least that a combination's first of a region pays to one before it, inf if none.

        0 where the combination has no item of the region.
        """
        least = np.where(group.above, self.toll, np.inf).min(axis=1, initial=np.inf)
        return np.asarray(np.append(least, 0.0)[group.top[rows]])


def gather(catalogue: Catalogue, book: Ledger, allowed: NDArray[np.bool_]) -> list[Group]:
    """Gather the places into groups that add up.

    Groups grow with requirements and exclusions first, then with overlaps by size, as long as they
    stay small; what still reaches from one group to another is relaxed, to be checked at the end.
    """
    terms = book.terms
    place_of = {int(row): k for k, rows in enumerate(book.places) for row in rows}
    row = {name: k for k, name in enumerate(terms.names)}
    links = [(np.inf, k, row[name]) for k, item in enumerate(catalogue.items)
             for name in (*item.requires, *item.excludes)]
    links += [(float(np.abs(over.loss).mean()), over.payer, partner)
              for over in terms.overlaps for partner in over.partners]
    choices = [1 + int(allowed[rows].sum()) for rows in book.places]
    home = list(range(len(book.places)))
    for _, first, second in sorted(links, key=lambda link: (-link[0], link[1], link[2])):
        a, b = home[place_of[first]], home[place_of[second]]
        if a != b and choices[a] * choices[b] <= _LARGEST_GROUP:
            choices[a] *= choices[b]
            home = [a if h == b else h for h in home]
    groups = [_group(catalogue, book, allowed, [k for k, h in enumerate(home) if h == label])
              for label in dict.fromkeys(home)]
    return groups or [_group(catalogue, book, allowed, [])]


def _group(catalogue: Catalogue, book: Ledger, allowed: NDArray[np.bool_],
           places: list[int]) -> Group:
    items, terms = catalogue.items, book.terms
    row = {name: k for k, name in enumerate(terms.names)}
    options = [[-1, *(int(r) for r in book.places[k] if allowed[r])] for k in places]
    picks = np.array(list(itertools.product(*options)), dtype=int)
    chosen = np.zeros((len(picks), len(items) + 1), dtype=bool)
    np.put_along_axis(chosen, picks, values=True, axis=1)
    chosen = chosen[:, :-1]
    inside = {int(r) for k in places for r in book.places[k]}
    keep = np.ones(len(chosen), dtype=bool)
    for k in inside:
        for name in items[k].requires:
            if row[name] in inside:
                keep &= ~chosen[:, k] | chosen[:, row[name]]
        for name in items[k].excludes:
            if row[name] in inside:
                keep &= ~(chosen[:, k] & chosen[:, row[name]])
    chosen = chosen[keep]
    paid = book.overlapping(chosen)
    due = paid.copy()
    for t, over in enumerate(terms.overlaps):
        if over.payer in inside and any(allowed[j] and j not in inside for j in over.partners):
            due[:, t] = chosen[:, over.payer]
    top, above = _ranks(book, allowed, chosen, paid, inside)
    return Group(chosen, chosen @ terms.cost, csr_array(paid), csr_array(due), top, above)


def _ranks(book: Ledger, allowed: NDArray[np.bool_], chosen: NDArray[np.bool_],
           paid: NDArray[np.float64], inside: set[int],
           ) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """`top` and `above` of a group."""
    terms = book.terms
    pays = np.zeros(chosen.shape, dtype=bool)
    for t, over in enumerate(terms.overlaps):
        pays[:, over.payer] |= paid[:, t] > 0
    top = np.full((len(chosen), len(terms.regions)), -1)
    above = np.zeros((len(terms.names), len(terms.names)), dtype=bool)
    for r, rows in enumerate(terms.regions):
        for rank in reversed(range(len(rows))):
            row = rows[rank]
            if row in inside:
                top[chosen[:, row], r] = row
                above[row, [j for j in rows[:rank] if allowed[j] and j not in inside]] = True
        at = np.flatnonzero(top[:, r] >= 0)
        top[at[pays[at, top[at, r]]], r] = -1
    return top, above


def combination(group: Group, chosen: NDArray[np.bool_]) -> int:
    """Row of the combination that a feasible set (n,) takes from a group."""
    mine = group.chosen.any(axis=0)
    return int(np.flatnonzero((group.chosen == (chosen & mine)).all(axis=1))[0])


def heights(groups: Sequence[Group], plane: Plane,
            rows: NDArray[np.int64]) -> NDArray[np.float64]:
    """(s, r, 2) heights from and to which a plane gives sets all their tolls [s].

    `rows` (s, g) are the combinations of sets.
    """
    tolls = np.array([plane.top_tolls(group, at) for group, at in zip(groups, rows.T, strict=True)])
    ranked = np.sort(np.concatenate([np.zeros((2, *tolls.shape[1:])), tolls]), axis=0)
    return np.asarray(ranked[-2:].transpose(1, 2, 0))


def tangent_of(bound: Bound, book: Ledger) -> Plane:
    """Return the bound without its bend: no bound any more, but close to the time."""
    return _plane(bound, book, bound.slope, bound.value)


def plane_of(bound: Bound, book: Ledger, basis: NDArray[np.float64],
             ends: NDArray[np.float64]) -> Plane:
    """Plane below the bound where the coordinates along `basis` (k, d) lie within `ends`.

    `ends` (k, 2) are measured from the bound's own point. On a piece [a, b] the square of a
    coordinate y lies below its chord, (a + b) y - a b.
    """
    kappa = bends(bound, basis, np.abs(ends).max(axis=1))
    slope = bound.slope - 0.5 * (kappa * ends.sum(axis=1)) @ basis
    return _plane(bound, book, slope, bound.value + 0.5 * float(kappa @ ends.prod(axis=1)))


def _plane(bound: Bound, book: Ledger, slope: NDArray[np.float64], value: float) -> Plane:
    """Write value + slope · (θ - point), less bound.value, as a plane over items.

    Times the effective mass M it is linear, and is divided by the usual one; what the rest of M
    does to the distance from bound.value is left to the caller, by `Ledger.effective_range`.
    """
    usual = book.usual_effective
    cut = len(book.start)
    crr = float(bound.point[-1] / bound.point[-2])
    mass = float(bound.point[-2] / bound.point[-4])
    corners = bound.corner_price * (bound.cornering**2 - book.cornering**2)
    rest = value - bound.value + corners - float(slope @ bound.point)
    rolling = book.rolling(mass, crr)
    sums = np.concatenate([[slope[:cut] @ book.start], book.item @ slope[:cut]])
    terms = (sums + slope[-1] * rolling + rest * book.effective) / usual
    terms[1:] -= bound.corner_price * book.cornering**2 * book.corner_terms()
    low, high = book.mass_range
    crrs = book.spread(float(book.crr[0]), book.crr[1:])
    product = max(high - mass, mass - low) * max(float(crrs[1]) - crr, crr - float(crrs[0]))
    return plane_over(book, float(terms[0]), terms[1:], book.overlap @ slope[:cut] / usual,
                      abs(float(slope[-1])) * product / usual)


def farther(book: Ledger, direction: NDArray[np.float64], limit: float) -> Plane:
    """Plane that is above 0 only where direction (d,) · θ is above a limit."""
    start, item, overlap, slack = book.along(direction[None], np.zeros(len(direction)))
    share = limit * book.effective / book.usual_effective
    return plane_over(book, float(start[0] - share[0] - slack[0]), item[:, 0] - share[1:],
                      overlap[:, 0], 0.0)


def plane_over(book: Ledger, start: float, item: NDArray[np.float64],
               overlap: NDArray[np.float64], slack: float) -> Plane:
    """Plane over n items and t overlaps, with heights of 0."""
    toll = np.zeros((len(item), len(item)))
    for over, seconds in zip(book.terms.overlaps, overlap, strict=True):
        toll[over.payer, list(over.partners)] += max(float(seconds), 0.0)
    return Plane(start, item, overlap, slack, np.zeros(len(book.terms.regions)), toll)


def bends(bound: Bound, basis: NDArray[np.float64],
          size: NDArray[np.float64]) -> NDArray[np.float64]:
    """(k,) bend along each direction, what couples two of them shared out between both.

    It is shared well, and at any rate lawfully, where coordinates are of about `size` (k,).
    """
    inverse = np.linalg.pinv(basis)
    bend = inverse.T @ bound.bend @ inverse
    size = size + 1e-15
    coupling = np.abs(bend - np.diag(np.diag(bend))) * size[None, :] / size[:, None]
    return np.asarray(np.diag(bend) + coupling.sum(axis=1))
