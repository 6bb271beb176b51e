"""Pictures as SVG text: pure functions from values to elements, drawn for three widths.

A picture is drawn once for a desk, once for a tablet or paper and once for a phone, so that its
letters keep their size; a style sheet shows the one that fits. Colours are those of the page
(classes, never values), so that light, dark and paper follow by themselves, and whatever colour
says is said by line style, weight or a label as well.
"""

from __future__ import annotations

from optimizer.report.svg.drawing import (
    HALF_SHEET,
    SHEET,
    WIDTHS,
    Area,
    Drawing,
    Look,
    drawn,
    look_for,
)
from optimizer.report.svg.elements import area, el, group, path, steps, text, thinned
from optimizer.report.svg.forest import Mark, forest
from optimizer.report.svg.lettering import levels, shortened, spread, width_of
from optimizer.report.svg.multiples import multiples
from optimizer.report.svg.plot import Axis, Band, Dots, Line, Note, Outline, Row, Upright, plot
from optimizer.report.svg.posts import Heads, Post, heads
from optimizer.report.svg.scale import Scale, clock_ticks, nice_ticks

__all__ = ["HALF_SHEET", "SHEET", "WIDTHS", "Area", "Axis", "Band", "Dots", "Drawing", "Heads",
           "Line", "Look", "Mark", "Note", "Outline", "Post", "Row", "Scale", "Upright", "area",
           "clock_ticks", "drawn", "el", "forest", "group", "heads", "levels", "look_for",
           "multiples", "nice_ticks", "path", "plot", "shortened", "spread", "steps", "text",
           "thinned", "width_of"]
