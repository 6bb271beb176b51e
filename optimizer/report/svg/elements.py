"""Elements of a picture as markup: escaped, in tenths of a pixel, without styles of their own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup, escape

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

__all__ = ["area", "el", "group", "number", "outline", "path", "steps", "text", "thinned"]

_CLOSE = 0.3  # px by which a thinned line may be off
_PARTS, _SHORT = 32, 8  # of a line, from whose extremes thinning starts; points of a part at least


def number(value: float | np.floating) -> str:
    """Write a coordinate to a tenth of a pixel."""
    rounded = f"{value:.1f}".removesuffix(".0")
    return "0" if rounded == "-0" else rounded


def el(name: str, *children: Markup | str, **attributes: object) -> Markup:
    """Element `name`; `cls` is its class, underscores in other names become hyphens.

    Numbers are written as coordinates, other values and children escaped; attributes that are
    None or "" are left out.
    """
    # Plain strings put together, each escaped: with a thousand elements a page that takes a tenth.
    said = "".join(
        f' {"class" if key == "cls" else key.replace("_", "-")}="'
        f'{number(value) if isinstance(value, float | np.floating) else escape(value)}"'
        for key, value in attributes.items() if value is not None and value != "")
    if not children:
        return Markup(f"<{name}{said}/>")  # noqa: S704
    return Markup(f"<{name}{said}>{''.join(map(escape, children))}</{name}>")  # noqa: S704


def group(*children: Markup, cls: str = "", **attributes: object) -> Markup:
    """Elements that belong together."""
    return el("g", *(children or (Markup(""),)), cls=cls, **attributes)


def text(x: float, y: float, words: str | Markup, cls: str = "", anchor: str = "",
         **attributes: object) -> Markup:
    """Words with their base line at (x, y); `anchor` is "middle" or "end"."""
    return el("text", words, x=float(x), y=float(y), cls=cls, text_anchor=anchor, **attributes)


def path(x: ArrayLike, y: ArrayLike, cls: str) -> Markup:
    """Line through points [px]; where a value is missing the line has a gap."""
    return el("path", d=_outline(x, y), cls=cls) if np.size(x) else Markup("")


def steps(x: ArrayLike, y: ArrayLike, cls: str) -> Markup:
    """Draw a stepped line: (n + 1,) edges `x` and (n,) values `y` [px]."""
    edges, values = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    same = np.abs(np.diff(values)) <= _CLOSE / 2
    first = np.append(True, ~same)
    starts, values = edges[:-1][first], values[first]
    ends = np.append(starts[1:], edges[-1])
    return path(np.ravel([starts, ends], "F"), np.repeat(values, 2), cls)


def area(x: ArrayLike, low: ArrayLike, high: ArrayLike, cls: str) -> Markup:
    """Surface between two lines over the same places [px]."""
    x = np.asarray(x, dtype=float)
    low, high = (np.broadcast_to(np.asarray(v, dtype=float), x.shape) for v in (low, high))
    if not len(x):
        return Markup("")
    over, under = thinned(x, high), thinned(x, low)
    around = np.concatenate([np.transpose(over), np.transpose(under)[::-1]])
    return el("path", d=f"M{_points(around)}Z", cls=cls)


def outline(x: ArrayLike, y: ArrayLike, cls: str) -> Markup:
    """Draw a closed line through points [px]."""
    points = np.transpose([np.asarray(x, dtype=float), np.asarray(y, dtype=float)])
    return el("path", d=f"M{_points(points)}Z", cls=cls)


def thinned(x: ArrayLike, y: ArrayLike, close: float = _CLOSE,
            ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Keep those points of a line from which no left out point is farther than `close` [px].

    Douglas and Peucker 1973, Cartographica 10:112, with the distance taken upright, as `x` only
    increases in a chart; where it does not, the distance is still a bound for steep parts.
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    keep = _extremes(y)
    keep[[0, -1]] = True
    nodes = np.flatnonzero(keep)
    a, b = nodes[:-1], nodes[1:]
    while len(a := a[(wide := b - a > 1)]):  # all pieces that may yet be cut, side by side
        b = b[wide]
        sizes = b - a - 1
        first = np.cumsum(sizes) - sizes
        piece = np.repeat(np.arange(len(a)), sizes)
        at = np.arange(len(piece)) + (a + 1 - first)[piece]
        slope = (y[b] - y[a])[piece]
        span = np.maximum(x[b] - x[a], 1e-9)[piece]
        off = np.abs(y[at] - (y[a][piece] + (x[at] - x[a][piece]) / span * slope))
        most = np.maximum.reduceat(off, first)
        far = np.flatnonzero((off == most[piece]) & (most > close)[piece])
        far = far[np.diff(piece[far], prepend=-1) > 0]  # the first of a piece
        cut, k = piece[far], at[far]
        keep[k] = True
        a, b = np.append(a[cut], k), np.append(k, b[cut])
    return x[keep], y[keep]


def _extremes(y: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Highest and lowest point of each part of a line.

    Few of them would be left out, and cutting there to begin with takes half as many rounds.
    """
    part = np.arange(len(y)) // max(len(y) // _PARTS, _SHORT)
    starts = np.flatnonzero(np.diff(part, prepend=-1))
    keep = np.zeros(len(y), dtype=bool)
    for extreme in (np.maximum, np.minimum):
        at = np.flatnonzero(y == extreme.reduceat(y, starts)[part])
        keep[at[np.diff(part[at], prepend=-1) > 0]] = True
    return keep


def _outline(x: ArrayLike, y: ArrayLike) -> str:
    """Path data of a line with its gaps."""
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    known = np.isfinite(x) & np.isfinite(y)
    breaks = np.flatnonzero(np.diff(known.astype(int)) != 0) + 1
    pieces = [piece for piece in np.split(np.arange(len(x)), breaks)
              if len(piece) and known[piece[0]]]
    return "".join(f"M{_points(np.transpose(_thin(x[p], y[p])))}" for p in pieces)


def _thin(x: NDArray[np.float64], y: NDArray[np.float64],
          ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    return thinned(x, y) if np.all(np.diff(x) >= 0) else (x, y)


def _points(points: Sequence[Sequence[float]] | NDArray[np.float64]) -> str:
    flat = np.ravel(points).tolist()
    said = ("%.1f,%.1f " * (len(flat) // 2)) % tuple(flat)  # as `number` writes each
    for much, little in ((".0,", ","), (".0 ", " "), ("-0,", "0,"), ("-0 ", "0 ")):
        said = said.replace(much, little)
    return said[:-1]
