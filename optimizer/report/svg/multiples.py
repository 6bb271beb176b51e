"""The same picture several times, side by side on one scale: rows by name, columns by case."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from markupsafe import Markup

from optimizer.report.svg.drawing import Drawing
from optimizer.report.svg.elements import el, group, text
from optimizer.report.svg.lettering import shortened, width_of
from optimizer.report.svg.scale import Scale

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from optimizer.report.svg.drawing import Look
    from optimizer.report.svg.forest import Mark

__all__ = ["multiples"]

_LEAST = 150.0  # px of a column


def multiples(look: Look, rows: Sequence[str], columns: Sequence[str],
              cells: Mapping[tuple[str, str], Sequence[Mark]],
              ticks: Callable[[float, float, int], Sequence[tuple[float, str]]], *,
              apart: bool = False) -> Drawing:
    """Draw the ranges of `cells` (row, column), on one scale or, `apart`, on one for each column.

    As many columns stand side by side as the width holds; the others go below. `ticks` gives at
    most so many ticks between two values.
    """
    names = 0.0 if look.small else min(
        max(width_of(row, look.size) for row in rows) + 14.0, 0.24 * look.width)
    across = max(1, min(len(columns), int((look.width - names) / _LEAST)))
    wide = (look.width - names) / across
    parts: list[Markup] = []
    y = 0.0
    for first in range(0, len(columns), across):
        tallest = y
        for k, column in enumerate(columns[first:first + across]):
            low, high = _span(cells, column if apart else None)
            room = 0.06 * (high - low) or 1.0
            x = Scale(low - room, high + room, names + k * wide + 8.0,
                      names + (k + 1) * wide - 16.0)
            drawn, end = _panel(look, rows, column, cells, x, y, names if k == 0 else 0.0,
                                ticks(x.low, x.high, max(2, int(wide / 75.0))))
            parts.append(drawn)
            tallest = max(tallest, end)
        y = tallest + 0.8 * look.line
    return Drawing(y, group(*parts, cls="multiples"))


def _span(cells: Mapping[tuple[str, str], Sequence[Mark]],
          column: str | None) -> tuple[float, float]:
    """Least and greatest value of a column, or of all."""
    marks = [mark for (_, there), found in cells.items() if column in {None, there}
             for mark in found]
    return (min((mark.low for mark in marks), default=0.0),
            max((mark.high for mark in marks), default=1.0))


def _panel(look: Look, rows: Sequence[str], column: str,
           cells: Mapping[tuple[str, str], Sequence[Mark]], x: Scale, y: float, names: float,
           ticks: Sequence[tuple[float, str]]) -> tuple[Markup, float]:
    """One column: its heading, a line a mark, the axis below."""
    size, top = 0.92 * look.size, y + 1.4 * look.line
    parts = [text(x.start, y + look.size, shortened(column, look.size, x.end - x.start + 12.0,
                                                    bold=True), "strong")]
    at = top
    for row in rows:
        found = list(cells.get((row, column), ()))
        deep = (1.25 if look.small else 0.0) * look.line + 1.5 * look.size * max(len(found), 1)
        if look.small:
            parts.append(text(x.start, at + look.size,
                              shortened(row, look.size, x.end - x.start + 10.0)))
            at += 1.25 * look.line
        elif names:
            parts.append(text(0.0, at + 1.05 * look.size, shortened(row, look.size, names - 12.0)))
        for k, mark in enumerate(found):
            middle = at + (k + 0.5) * 1.5 * look.size
            a, m, b = (x.at(v) for v in (mark.low, mark.value, mark.high))
            parts += [el("path", d=f"M{a:.1f},{middle:.1f}H{b:.1f}", cls="line plan"),
                      el("path", d=f"M{m:.1f},{middle - 4:.1f}L{m + 4:.1f},{middle:.1f}"
                                   f"L{m:.1f},{middle + 4:.1f}L{m - 4:.1f},{middle:.1f}Z",
                         cls="dot plan solid", data_key=mark.label)]
        at += deep - (1.25 * look.line if look.small else 0.0)
    grid = [el("path", d=f"M{x.at(v):.1f},{top:.1f}V{at:.1f}", cls="grid") for v, _ in ticks]
    feet, free = [], -math.inf
    for value, words in ticks:
        place, half = x.at(value), 0.5 * width_of(words, size)
        feet.append(el("path", d=f"M{place:.1f},{at:.1f}v4", cls="tick"))
        if place - half > free:
            feet.append(text(place, at + 6.0 + look.size, words, "quiet fine", "middle"))
            free = place + half + 6.0
    axis = el("path", d=f"M{x.start:.1f},{at:.1f}H{x.end:.1f}", cls="axis")
    return Markup("").join([*grid, *parts, axis, *feet]), at + 6.0 + look.line
