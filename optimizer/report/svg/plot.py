"""Rows of lines, bands and marks over one axis: everything that is drawn against a quantity."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from optimizer.report.svg import elements
from optimizer.report.svg.drawing import Area, Drawing
from optimizer.report.svg.elements import el, group, text
from optimizer.report.svg.lettering import shortened, spread, width_of
from optimizer.report.svg.posts import heads
from optimizer.report.svg.scale import Scale, nice_ticks

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike

    from optimizer.report.svg.drawing import Look
    from optimizer.report.svg.posts import Post

__all__ = ["Axis", "Band", "Dots", "Line", "Note", "Outline", "Row", "Upright", "plot"]

Tick = tuple[float, str]


@dataclass(frozen=True)
class Axis:
    """The quantity along the bottom: its range, its name with the unit, its ticks.

    With `kilometres` it is the distance along a course, whose end is always labelled.
    """

    low: float
    high: float
    title: str
    ticks: tuple[Tick, ...] = ()
    log: bool = False
    kilometres: bool = False


@dataclass(frozen=True)
class Line:
    """A line; `look` is any of plan, other, ink, faint with thin, heavy, dash, dot-line, long.

    `steps`: (n + 1,) edges `x` and (n,) values `y`. `label` stands at its end, or in the key.
    """

    x: ArrayLike
    y: ArrayLike
    look: str = "ink"
    label: str = ""
    steps: bool = False


@dataclass(frozen=True)
class Band:
    """A surface between two lines; `steps` as for a line."""

    x: ArrayLike
    low: ArrayLike
    high: ArrayLike
    look: str = ""
    steps: bool = False


@dataclass(frozen=True)
class Outline:
    """A closed line around a region, filled."""

    x: ArrayLike
    y: ArrayLike
    look: str = "plan"


@dataclass(frozen=True)
class Dots:
    """Points; `shape` is dot, diamond or cross, `filled` ones are solid, `keys` name them."""

    x: ArrayLike
    y: ArrayLike
    look: str = "ink"
    shape: str = "dot"
    size: float = 3.4
    filled: bool = True
    keys: Sequence[str] = ()


@dataclass(frozen=True)
class Note:
    """Words at a place of the plot, moved by `up` px; `anchor` is start, middle or end."""

    x: float
    y: float
    words: str
    look: str = ""
    anchor: str = "middle"
    up: float = 8.0


@dataclass(frozen=True)
class Upright:
    """A line across the whole height at `x`, with words at its head."""

    x: float
    words: str = ""
    look: str = "faint dash"


Layer = Line | Band | Outline | Dots | Note | Upright


@dataclass(frozen=True)
class Row:
    """One strip of the picture: name with unit, what is drawn in it, how tall it is [px].

    The range is that of what is drawn, widened to hold 0 (`zero`), `low` or `high`.
    """

    title: str
    layers: Sequence[Layer]
    height: float = 90.0
    zero: bool = False
    low: float | None = None
    high: float | None = None
    ticks: tuple[Tick, ...] = ()


def plot(look: Look, axis: Axis, rows: Sequence[Row], *, posts: Sequence[Post] = (),
         names: bool = False, ends: bool = False) -> Drawing:
    """Draw rows over one axis.

    Parameters
    ----------
    posts : marks of the course, through all rows; with `names` they are named in full
    ends : put labels at the ends of the lines, where there is room beside them
    """
    rows = [replace(row, height=look.tall * row.height) for row in rows]
    scales = [_range(row) for row in rows]
    left = look.left
    if not axis.kilometres:
        ticks = [words for row, span in zip(rows, scales, strict=True)
                 for _, words in _ticks(row, span, look)]
        left = max(24.0, 10.0 + max((width_of(w, 0.92 * look.size) for w in ticks), default=0.0))
    right = look.right
    beside = ends and not look.small
    if beside:
        right = 10.0 + max((width_of(layer.label, look.size) for row in rows
                            for layer in row.layers if isinstance(layer, Line)), default=0.0)
    x = Scale(axis.low, axis.high, left, look.width - right, log=axis.log)
    metres = Scale(1000.0 * axis.low, 1000.0 * axis.high, x.start, x.end)
    top = heads(posts, look, metres, 0.0, names=names)
    y = top.height + (0.3 * look.line if posts else 0.0)
    first, parts = y, []
    for row, span in zip(rows, scales, strict=True):
        drawn, y = _row(row, span, look, x, y, beside=beside)
        parts.append(drawn)
        y += 0.5 * look.line
    bottom = y - 0.5 * look.line
    foot, y = _axis(axis, look, x, bottom)
    return Drawing(y, Markup("").join([
        group(top.uprights(bottom), cls="posts"), top.drawn, *parts, foot]),
        Area(x.start, x.end, first if len(rows) > 1 else bottom - rows[0].height, bottom,
             scales[0][1] if len(rows) == 1 and scales[0][0] == 0.0 else 0.0))


def _range(row: Row) -> tuple[float, float]:
    """Least and greatest value of a row, with what it is said to hold."""
    found: list[float] = []
    for layer in row.layers:
        if isinstance(layer, Note | Upright):
            continue
        for values in ((layer.low, layer.high) if isinstance(layer, Band) else (layer.y,)):
            known = np.asarray(values, dtype=float)
            known = known[np.isfinite(known)]
            found += [float(known.min()), float(known.max())] if len(known) else []
    found += [v for v in (row.low, row.high) if v is not None]
    found += [value for value, _ in row.ticks]
    if row.zero:
        found.append(0.0)
    low, high = (min(found), max(found)) if found else (0.0, 1.0)
    room = 0.06 * (high - low) or 1.0
    return (low if low == row.low or (row.zero and low == 0.0) else low - room,
            high if high == row.high or (row.zero and high == 0.0) else high + room)


def _ticks(row: Row, span: tuple[float, float], look: Look) -> Sequence[Tick]:
    if row.ticks:
        return row.ticks
    values = nice_ticks(*span, max(3, min(6, int(row.height / (1.9 * look.size)))))
    step = min(np.diff(values), default=1.0)
    digits = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 0
    return [(v, f"{v:,.{digits}f}".replace("-", "−")) for v in values]


def _row(row: Row, span: tuple[float, float], look: Look, x: Scale, y: float, *,
         beside: bool) -> tuple[Markup, float]:
    """Draw one row below `y`; gives where it ends."""
    parts, y = _heading(row, look, x, y, beside=beside)
    scale = Scale(*span, y + row.height, y)
    for value, words in _ticks(row, span, look):
        at = scale.at(value)
        parts.append(el("path", d=f"M{x.start:.1f},{at:.1f}H{x.end:.1f}",
                        cls="axis" if value == 0.0 and span[0] <= 0.0 else "grid"))
        parts.append(text(x.start - 6.0, at + 0.33 * look.size, words, "quiet fine", "end"))
    for layer in sorted(row.layers, key=lambda layer: _DEPTH[type(layer)]):
        parts.append(_layer(layer, look, x, scale))
    if beside:
        parts += _end_labels(row, look, x, scale)
    return group(*parts, cls="row"), y + row.height


_DEPTH: dict[type, int] = {Band: 0, Outline: 0, Upright: 1, Line: 2, Dots: 3, Note: 4}


def _heading(row: Row, look: Look, x: Scale, y: float, *, beside: bool,
             ) -> tuple[list[Markup], float]:
    """Name of the row, and after it the key to its lines."""
    size = 0.92 * look.size
    named = [] if beside else [layer for layer in row.layers
                               if isinstance(layer, Line) and layer.label]
    if not row.title and not named:
        return [], y + 0.4 * look.size
    y += look.size
    start = x.start if x.start < 80.0 else 0.0
    parts = [text(start, y, shortened(row.title, size, look.width - start), "quiet fine halo")]
    at = start + width_of(row.title, size) + (16.0 if row.title else 0.0)
    for line in named:
        room = 24.0 + width_of(line.label, size)
        if at + room > look.width and at > start:
            at, y = start, y + look.line
        parts.append(el("path", d=f"M{at:.1f},{y - 0.33 * look.size:.1f}h18",
                        cls=f"line {line.look}"))
        parts.append(text(at + 22.0, y, line.label, "fine halo"))
        at += room + 12.0
    return parts, y + 0.55 * look.size


def _end_labels(row: Row, look: Look, x: Scale, scale: Scale) -> list[Markup]:
    """Names at the ends of lines, apart from each other, in the order of the ends."""
    lines = [layer for layer in row.layers if isinstance(layer, Line) and layer.label]
    ends = [scale.at(float(np.asarray(line.y, dtype=float)[-1])) for line in lines]
    low, high = scale.end - 0.5 * look.line, scale.start + 0.9 * look.line
    at = spread(ends, [look.line] * len(lines), low, high)
    out = []
    for line, end, place in zip(lines, ends, at, strict=True):
        if abs(end - place) > 0.4 * look.size:
            out.append(el("path", cls="pointer",
                          d=f"M{x.end:.1f},{end:.1f}L{x.end + 6:.1f},{place:.1f}"))
        out.append(text(x.end + 8.0, float(place) + 0.33 * look.size, line.label))
    return out


def _layer(layer: Layer, look: Look, x: Scale, y: Scale) -> Markup:
    if isinstance(layer, Line):
        draw = elements.steps if layer.steps else elements.path
        return draw(x(layer.x), y(layer.y), f"line {layer.look}")
    if isinstance(layer, Band):
        places, low, high = (np.asarray(v, dtype=float) for v in (layer.x, layer.low, layer.high))
        if layer.steps:
            places = np.ravel([places[:-1], places[1:]], "F")
            low, high = np.repeat(low, 2), np.repeat(high, 2)
        return elements.area(x(places), y(low), y(high), f"band {layer.look}".strip())
    if isinstance(layer, Outline):
        return elements.outline(x(layer.x), y(layer.y), f"band {layer.look} edged")
    if isinstance(layer, Dots):
        keys = layer.keys or [""] * np.size(layer.x)
        return Markup("").join(
            _dot(float(a), float(b), layer, key) for a, b, key in zip(
                x(layer.x), y(layer.y), keys, strict=True) if math.isfinite(a + b))
    if isinstance(layer, Note):
        return text(x.at(layer.x), y.at(layer.y) - layer.up, layer.words,
                    f"halo {layer.look}".strip(), layer.anchor)
    at = x.at(layer.x)
    line = el("path", d=f"M{at:.1f},{y.end:.1f}V{y.start:.1f}", cls=f"line {layer.look}")
    near = at > x.end - width_of(layer.words, look.size) - 6.0
    words = text(at - 5.0 if near else at + 5.0, y.start - 6.0, layer.words, "quiet fine halo",
                 "end" if near else "") if layer.words else ""
    return Markup("{}{}").format(line, words)


def _dot(x: float, y: float, dots: Dots, key: str) -> Markup:
    r, named = dots.size, {"data_key": key} if key else {}
    cls = f"dot {dots.look}{' solid' if dots.filled else ''}"
    if dots.shape == "diamond":
        r *= 1.3
        return el("path", d=f"M{x:.1f},{y - r:.1f}L{x + r:.1f},{y:.1f}L{x:.1f},{y + r:.1f}"
                            f"L{x - r:.1f},{y:.1f}Z", cls=cls, **named)
    if dots.shape == "cross":
        return el("path", d=f"M{x - r:.1f},{y - r:.1f}l{2 * r:.1f},{2 * r:.1f}"
                            f"m0,{-2 * r:.1f}l{-2 * r:.1f},{2 * r:.1f}", cls="line thin", **named)
    return el("circle", cx=x, cy=y, r=r, cls=cls, **named)


def _axis(axis: Axis, look: Look, x: Scale, y: float) -> tuple[Markup, float]:
    """Line along the bottom with ticks and name."""
    size = 0.92 * look.size
    ticks = list(axis.ticks)
    if not ticks:
        values = nice_ticks(axis.low, axis.high, 6 if look.small else 12)
        step = min(np.diff(values), default=1.0)
        digits = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 0
        ticks = [(v, f"{v:,.{digits}f}".replace("-", "−")) for v in values]
    title = axis.title
    if axis.kilometres:
        end = f"{axis.high:.1f} km"
        room = 0.5 * width_of(end, size) + 14.0
        ticks = [(v, words) for v, words in ticks if x.at(v) < x.end - room]
        ticks.append((axis.high, end))
    parts = [el("path", d=f"M{x.start:.1f},{y:.1f}H{x.end:.1f}", cls="axis")]
    free = -math.inf
    base = y + 6.0 + look.size
    for value, words in ticks:
        at, half = x.at(value), 0.5 * width_of(words, size)
        parts.append(el("path", d=f"M{at:.1f},{y:.1f}v4", cls="tick"))
        if at + half > look.width:
            parts.append(text(look.width - 1.0, base, words, "quiet fine", "end"))
        elif at - half > free:
            parts.append(text(at, base, words, "quiet fine", "middle"))
            free = at + half + 4.0
    if title and not axis.kilometres:
        base += look.line
        parts.append(text(0.5 * (x.start + x.end), base, shortened(title, size, look.width),
                          "quiet fine", "middle"))
    return group(*parts, cls="foot"), base + 0.4 * look.size
