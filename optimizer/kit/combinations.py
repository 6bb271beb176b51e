"""What may be together in one set, and what overlaps in it: the one place that knows.

The rules stand as linear rows over items x and overlaps u, each 0 or 1. The integer program, the
relaxation and the search by labels all read these rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray
    from scipy.sparse import csr_array

__all__ = ["Closing", "Combinations", "Overlap", "distinct"]

_FEW = 4  # places; what more of them share is decided late in any order


def distinct(sets: Sequence[NDArray[np.bool_]]) -> NDArray[np.bool_]:
    """List every set of some tables once, in the order of their flags.

    Parameters
    ----------
    sets : tables (k, n) of flags

    Returns
    -------
    (s, n)
    """
    every = np.concatenate(sets)
    # As numbers of 64 bits that sort as the flags do: `numpy.unique` compares them one by one.
    packed = np.packbits(every, axis=1)
    words = np.pad(packed, ((0, 0), (0, 8 - packed.shape[1] % 8))).view(">u8").astype(np.uint64)
    order = np.lexsort(words.T[::-1])
    new = (np.diff(words[order], axis=0, prepend=~words[order[:1]]) != 0).any(axis=1)
    return np.asarray(every[order[new]])


@dataclass(frozen=True)
class Overlap:
    """Drag `loss` (m,) [m²] of item `discounted` in a set with any of `partners` (row numbers)."""

    discounted: int
    partners: tuple[int, ...]
    loss: NDArray[np.float64]


class Closing(NamedTuple):
    """What is decided once a place is.

    `rows` with their coefficients of `items` (n, r) and of what `counts` (t, r); `overlaps`, and
    those that have to be known for all this; `pairs` (item, other, whether it must not be there).
    """

    rows: NDArray[np.int64]
    items: NDArray[np.float64]
    counts: NDArray[np.float64]
    overlaps: NDArray[np.int64]
    needed: tuple[int, ...]
    pairs: tuple[tuple[int, int, bool], ...]


@dataclass(frozen=True)
class Combinations:
    """Rules for sets of n items with t overlaps; all numbers are rows of the catalogue.

    Attributes
    ----------
    count : n
    places : items of each place, of which a set has one or none
    requires, excludes : pairs (item, what it requires), (item, what it excludes)
    overlaps : what is lost where gains overlap
    regions : items of each flow region, those with the largest gain first
    filled : numbers of the places that may not stay as they are
    """

    count: int
    places: tuple[NDArray[np.int64], ...]
    requires: tuple[tuple[int, int], ...]
    excludes: tuple[tuple[int, int], ...]
    overlaps: tuple[Overlap, ...]
    regions: tuple[tuple[int, ...], ...]
    filled: tuple[int, ...] = ()

    def flags(self, sets: Iterable[Iterable[int]]) -> NDArray[np.bool_]:
        """(s, n) sets given by row numbers."""
        sets = list(sets)
        out = np.zeros((len(sets), self.count), dtype=bool)
        for k, rows in enumerate(sets):
            out[k, list(rows)] = True
        return out

    def overlapping(self, chosen: NDArray[np.bool_],
                    which: Iterable[int] | None = None) -> NDArray[np.float64]:
        """(s, t) 1 where an overlap counts in a set (s, n); only `which` are looked at."""
        out = np.zeros((len(chosen), len(self.overlaps)))
        for t in range(len(self.overlaps)) if which is None else which:
            over = self.overlaps[t]
            out[:, t] = chosen[:, over.discounted] & chosen[:, list(over.partners)].any(axis=1)
        return out

    def counted(self, rows: Iterable[int]) -> list[Overlap]:
        """Overlaps that count in one set."""
        flags = self.overlapping(self.flags([rows]))[0]
        return [over for over, counts in zip(self.overlaps, flags, strict=True) if counts]

    def feasible(self, chosen: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """(s,) whether sets (s, n) keep to all rules on items."""
        logical = self.coefficients[:self.logical, :self.count]
        return np.asarray((logical @ chosen.T.astype(float)
                           <= self.limit[:self.logical, None] + 0.5).all(axis=0))

    def repair(self, chosen: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Take out of sets (s, n) what meets what it excludes or lacks what it requires."""
        out = chosen.copy()
        for k, other in self.excludes:
            out[:, k] &= ~out[:, other]
        for _ in self.requires:  # a requirement may require
            for k, other in self.requires:
                out[:, k] &= out[:, other]
        return out

    def needed(self, row: int) -> list[int]:
        """Rows of an item and of all that it requires."""
        found, ahead = [], [row]
        while ahead:
            k = ahead.pop()
            if k not in found:
                found.append(k)
                ahead += [other for item, other in self.requires if item == k]
        return found

    @cached_property
    def place_of(self) -> dict[int, int]:
        """Number of the place of each item."""
        return {int(k): number for number, rows in enumerate(self.places) for k in rows}

    @property
    def logical(self) -> int:
        """Rows of `matrix` on items only: places, requirements, exclusions, filled places."""
        return len(self.places) + len(self.requires) + len(self.excludes) + len(self.filled)

    @property
    def coefficients(self) -> NDArray[np.float64]:
        """(r, n + t) of x and u; the first rows are those of the places."""
        return self._rows[0]

    @cached_property
    def matrix(self) -> csr_array:
        """The coefficients that are not zero."""
        from scipy.sparse import csr_array  # slow, and not needed to search

        return csr_array(self.coefficients)

    @property
    def limit(self) -> NDArray[np.float64]:
        """(r,) what the rows may come to at most."""
        return self._rows[1]

    @cached_property
    def _rows(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        n, place = self.count, self.place_of
        rows: list[tuple[dict[int, float], float]] = [
            ({int(k): 1.0 for k in items}, 1.0) for items in self.places]
        rows += [({k: 1.0, other: -1.0}, 0.0) for k, other in self.requires]
        rows += [({k: 1.0, other: 1.0}, 1.0) for k, other in self.excludes]
        rows += [({int(k): -1.0 for k in self.places[p]}, -1.0) for p in self.filled]
        for t, over in enumerate(self.overlaps):
            here: dict[int, list[int]] = {}
            for k in over.partners:  # of one place no two are in a set: one row for all
                here.setdefault(place[k], []).append(k)
            rows += [({over.discounted: 1.0, **dict.fromkeys(some, 1.0), n + t: -1.0}, 1.0)
                     for some in here.values()]
            rows.append(({n + t: 1.0, over.discounted: -1.0}, 0.0))
            rows.append(({n + t: 1.0, **dict.fromkeys(over.partners, -1.0)}, 0.0))
        rows += self._region_rows()
        matrix = np.zeros((len(rows), n + len(self.overlaps)))
        for r, (row, _) in enumerate(rows):
            matrix[r, list(row)] = list(row.values())
        return matrix, np.array([limit for _, limit in rows], dtype=float)

    def _region_rows(self) -> list[tuple[dict[int, float], float]]:
        """Of what is chosen in a region, from the first item down, all but one pay.

        The rows of the overlaps say so already of whole items, but much less of parts of them.
        """
        out = []
        for region in self.regions:
            row: dict[int, float] = {}
            for rank, k in enumerate(region):
                before = {j for j in region[:rank] if self.place_of[j] != self.place_of[k]}
                due = next((t for t, over in enumerate(self.overlaps)
                            if over.discounted == k and before.issubset(over.partners)), None)
                if before and due is None:
                    continue
                row[k] = 1.0
                if due is not None:
                    row[self.count + due] = -1.0
                out.append((dict(row), 1.0))
        return out

    @cached_property
    def order(self) -> list[int]:
        """Places in an order in which what few of them share is decided early."""
        shared = [group for group in self._spans[len(self.places):] if len(group) <= _FEW]
        order: list[int] = []
        while len(order) < len(self.places):
            order.append(max((p for p in range(len(self.places)) if p not in order), key=lambda p: (
                sum(group <= {*order, p} for group in shared),
                sum(p in group for group in shared), -p)))
        return order

    @cached_property
    def _spans(self) -> list[set[int]]:
        """Places that each row, then each overlap, has to do with."""
        overlaps = [{self.place_of[k] for k in (over.discounted, *over.partners)}
                    for over in self.overlaps]
        n = self.count
        return [set().union(*({self.place_of[c]} if c < n else overlaps[c - n]
                              for c in np.flatnonzero(row).tolist()))
                for row in self.coefficients] + overlaps

    @cached_property
    def closings(self) -> list[Closing]:
        """What is decided once the places up to each one in `order` are."""
        rank = {place: k for k, place in enumerate(self.order)}
        last = np.array([max((rank[p] for p in span), default=0) for span in self._spans],
                        dtype=int)
        count, first = len(self.limit), len(self.places)
        pairs = [(*pair, False) for pair in self.requires] + [(*pair, True)
                                                              for pair in self.excludes]
        out = []
        for k in range(len(self.order)):
            rows = np.flatnonzero(last[:count] == k)
            rows = rows[rows >= first]
            overlaps = np.flatnonzero(last[count:] == k)
            part = self.coefficients[rows]
            items, counts = part[:, :self.count].T, part[:, self.count:].T
            needed = {*np.flatnonzero(counts.any(axis=1)).tolist(), *overlaps.tolist()}
            here = tuple(pairs[r - first] for r in rows if r < first + len(pairs))
            out.append(Closing(rows, items, counts, overlaps, tuple(sorted(needed)), here))
        return out

