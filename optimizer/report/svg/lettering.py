"""Room for letters: how wide words can get in any family, and labels that keep apart."""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

__all__ = ["levels", "shortened", "spread", "width_of"]

# Widths of letters in a wide family (measured on one whose digits are 0.64 em), so that others fit.
_NARROW, _SLIM, _BROAD = set("iljI.,:;'|!’·"), set(' frt()[]/-1"°'), set("mwMWGOQ%@&–—+−±≈<>=")


def width_of(words: str, size: float, *, bold: bool = False) -> float:
    """Upper estimate of the width of `words` [px] at font size `size`, in any common family."""
    total = 0.0
    for char in words:
        if unicodedata.combining(char):
            continue
        if char in _NARROW:
            total += 0.35
        elif char.isdigit():
            total += 0.64
        elif char in _SLIM:
            total += 0.42
        elif char in _BROAD or unicodedata.east_asian_width(char) in {"W", "F"}:
            total += 1.0
        elif char.isupper():
            total += 0.72
        else:
            total += 0.62
    return total * size * (1.1 if bold else 1.0)


def shortened(words: str, size: float, room: float, *, bold: bool = False) -> str:
    """`words`, or as much of them as `room` [px] holds, with an ellipsis."""
    if width_of(words, size, bold=bold) <= room:
        return words
    for end in range(len(words) - 1, 0, -1):
        short = words[:end].rstrip() + "…"
        if width_of(short, size, bold=bold) <= room:
            return short
    return ""


def spread(wanted: ArrayLike, widths: ArrayLike, low: float, high: float) -> NDArray[np.float64]:
    """Centres of labels nearest to `wanted` (n,) [px], in that order, without an overlap.

    All keep within `low` and `high` where they fit at all. Least squares of the moves: pooling of
    neighbours that push each other (isotonic regression, Barlow et al. 1972).
    """
    wanted, widths = np.asarray(wanted, dtype=float), np.asarray(widths, dtype=float)
    n = len(wanted)
    if not n:
        return wanted
    order = np.argsort(wanted, kind="stable")
    gaps = 0.5 * (widths[order][:-1] + widths[order][1:])
    before = np.concatenate([[0.0], np.cumsum(gaps)])  # where each would stand, tightly packed
    pools: list[list[float]] = []  # mean and count of what is pushed together
    for value in wanted[order] - before:
        pools.append([float(value), 1.0])
        while len(pools) > 1 and pools[-2][0] >= pools[-1][0]:
            mean, count = pools.pop()
            pools[-1] = [(pools[-1][0] * pools[-1][1] + mean * count) / (pools[-1][1] + count),
                         pools[-1][1] + count]
    base = np.concatenate([np.full(int(count), mean) for mean, count in pools])
    first = low + 0.5 * widths[order][0]
    last = high - 0.5 * widths[order][-1] - before[-1]
    out = np.empty(n)
    out[order] = np.clip(base, first, max(last, first)) + before
    return out


def levels(wanted: Sequence[float] | NDArray[np.float64],
           widths: Sequence[float] | NDArray[np.float64], low: float, high: float,
           slip: float, most: int) -> tuple[NDArray[np.int64], NDArray[np.float64]] | None:
    """Lines (n,) and centres (n,) of labels near `wanted` [px], on as few lines as it takes.

    No label moves farther than `slip` from its place unless it keeps to `low` and `high`; None
    where more than `most` lines would be needed.
    """
    place, size = np.asarray(wanted, dtype=float), np.asarray(widths, dtype=float)
    order = np.argsort(place, kind="stable")
    for count in range(1, most + 1):
        line = np.zeros(len(place), dtype=np.int64)
        line[order] = np.arange(len(place)) % count
        centre = np.empty(len(place))
        fits = True
        for k in range(count):
            own = np.flatnonzero(line == k)
            if not len(own):
                continue
            centre[own] = spread(place[own], size[own], low, high)
            kept = np.clip(place[own], low + size[own] / 2, high - size[own] / 2)
            ends = centre[own] + size[own] / 2
            fits &= bool(np.abs(centre[own] - kept).max() <= slip and ends.max() <= high + 0.1)
        if fits:
            return line, centre
    return None
