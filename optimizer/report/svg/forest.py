"""Values with their ranges, one below the other, each named beside (or, on a phone, above) it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from optimizer.report.svg.drawing import Drawing
from optimizer.report.svg.elements import el, group, text
from optimizer.report.svg.lettering import shortened, width_of
from optimizer.report.svg.scale import Scale, nice_ticks

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.report.svg.drawing import Look

__all__ = ["Mark", "forest"]

_NAMES = 0.44  # of the width, the most for names
_INDENT = 10.0


@dataclass(frozen=True)
class Mark:
    """A value with its range; `leads` sets it off, `bar` draws the range as a bar.

    `said` is the figure that stands at the end of the row.
    """

    label: str
    value: float
    low: float
    high: float
    leads: bool = False
    bar: bool = False
    said: str = ""
    sub: bool = False


def forest(look: Look, marks: Sequence[Mark], title: str, *, zero: bool = True) -> Drawing:
    """Draw the marks, the first on top, over an axis called `title` that holds 0 with `zero`."""
    size = 0.92 * look.size
    deep = 2.75 * look.size if look.small else (1.75 if look.tall == 1.0 else 1.5) * look.size
    names = 0.0 if look.small else min(
        max((width_of(mark.label, look.size, bold=mark.leads) + _INDENT * mark.sub
             for mark in marks), default=0.0) + 14.0, _NAMES * look.width)
    ends = max((width_of(mark.said, look.size) for mark in marks), default=0.0)
    finite = [v for mark in marks for v in (mark.low, mark.value, mark.high) if math.isfinite(v)]
    low, high = min([*finite, *([0.0] if zero else [])], default=0.0), max(
        [*finite, *([0.0] if zero else [])], default=1.0)
    room = 0.05 * (high - low) or 1.0
    x = Scale(low - room, high + room, names + 6.0, look.width - (ends + 12.0 if ends else 8.0))
    bottom = len(marks) * deep + 4.0
    ticks = nice_ticks(x.low, x.high, 5 if look.small else 8)
    step = float(min(np.diff(ticks), default=1.0))
    digits = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 0
    parts = [el("path", d=f"M{x.at(v):.1f},2V{bottom:.1f}", cls="axis" if v == 0.0 else "grid")
             for v in ticks]
    for k, mark in enumerate(marks):
        parts += _mark(mark, look, x, k * deep + 4.0, names, deep)
    base = bottom + 4.0 + look.size
    free = -math.inf
    for value in ticks:
        words, at = f"{value:,.{digits}f}".replace("-", "−"), x.at(value)
        half = 0.5 * width_of(words, size)
        parts.append(el("path", d=f"M{at:.1f},{bottom:.1f}v4", cls="tick"))
        if at - half > free and at + half < look.width:
            parts.append(text(at, base, words, "quiet fine", "middle"))
            free = at + half + 5.0
    parts.append(el("path", d=f"M{x.start:.1f},{bottom:.1f}H{x.end:.1f}", cls="axis"))
    parts.append(text(0.5 * (x.start + x.end), base + look.line,
                      shortened(title, size, look.width), "quiet fine", "middle"))
    return Drawing(base + look.line + 0.5 * look.size, group(*parts, cls="forest"))


def _mark(mark: Mark, look: Look, x: Scale, top: float, names: float,
          deep: float) -> list[Markup]:
    """One row: name, range, value, figure."""
    y = top + (deep - 0.55 * look.size if look.small else 0.5 * deep)
    strong = f"{'strong' if mark.leads else 'quiet' if mark.sub else ''} halo".strip()
    indent = _INDENT * mark.sub
    if look.small:
        parts = [text(indent, top + look.size, shortened(
            mark.label, look.size, look.width - indent, bold=mark.leads), strong)]
    else:
        words = shortened(mark.label, look.size, names - 12.0 - indent, bold=mark.leads)
        parts = [text(indent, y + 0.35 * look.size, words, strong)]
        if words != mark.label:
            parts[0] = text(indent, y + 0.35 * look.size,
                            Markup("{}{}").format(el("title", mark.label), words), strong)
    tone = "plan" if mark.leads else "ink"
    a, b = x.at(mark.low), x.at(mark.high)
    if mark.bar:
        parts.append(el("rect", x=min(a, b), y=y - 0.42 * look.size, width=max(abs(b - a), 0.5),
                        height=0.84 * look.size, cls="range-bar"))
    else:
        if math.isfinite(a + b):
            parts.append(el("path", d=f"M{a:.1f},{y:.1f}H{b:.1f}", cls=f"line {tone}"))
        m, r = x.at(mark.value), 4.6 if mark.leads else 3.3
        parts.append(el("path", d=f"M{m:.1f},{y - r:.1f}L{m + r:.1f},{y:.1f}L{m:.1f},{y + r:.1f}"
                                  f"L{m - r:.1f},{y:.1f}Z", cls="dot plan solid") if mark.leads
                     else el("circle", cx=m, cy=y, r=r, cls="dot ink"))
    if mark.said:
        parts.append(text(look.width - 1.0, y + 0.35 * look.size, mark.said, "", "end"))
    return parts
