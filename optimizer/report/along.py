"""Pieces of charts that lie along the course: axis, marks, names of the stretches between them."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.report.course_map import letters

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course import Course

__all__ = ["ALONG", "axis", "legs", "line", "mark_letters", "mark_rules", "mean_over", "row_title"]

ALONG = {"l": 46, "r": 12, "t": 44, "b": 44}  # margins, the same in every chart along the course


def axis(course: Course, anchor: str = "y") -> dict[str, Any]:
    """Give the axis of distance."""
    return {"title": "km from the start", "range": [0.0, course.length / 1000.0],
            "anchor": anchor, "automargin": False}


def mark_rules(course: Course) -> list[dict[str, Any]]:
    """Upright lines at the marks."""
    return [{"type": "line", "xref": "x", "yref": "paper", "x0": mark.distance / 1000.0,
             "x1": mark.distance / 1000.0, "y0": 0, "y1": 1, "layer": "below",
             "line": {"color": "@quiet", "width": 0.8, "dash": "dot"}} for mark in course.marks]


def mark_letters(course: Course) -> list[dict[str, Any]]:
    """Letters of the marks, above their lines."""
    return [{"x": mark.distance / 1000.0, "y": 1, "xref": "x", "yref": "paper", "text": letter,
             "showarrow": False, "yanchor": "bottom", "yshift": 16, "font": {"color": "@ink"}}
            for letter, mark in zip(letters(len(course.marks)), course.marks, strict=True)]


def row_title(text: str, top: float = 1.0) -> dict[str, Any]:
    """Name and unit of a row, set level above it."""
    return {"x": 0, "y": top, "xref": "paper", "yref": "paper", "text": text, "showarrow": False,
            "xanchor": "left", "yanchor": "bottom", "font": {"color": "@quiet"},
            "bgcolor": "@paper", "borderpad": 0}


def line(x: NDArray[np.float64], y: NDArray[np.float64], axis_name: str, style: dict[str, Any],
         say: str = "", unit: str = "", digits: int = 0) -> dict[str, Any]:
    """Line along the course; `say` is what the readout of a place calls it."""
    trace: dict[str, Any] = {"type": "scatter", "mode": "lines", "x": x, "y": y,
                             "yaxis": axis_name, "line": style, "name": say}
    if say:
        trace["meta"] = {"say": say, "unit": unit, "digits": digits}
    return trace


def legs(course: Course) -> tuple[NDArray[np.float64], list[str]]:
    """Edges [m] of the stretches between marks, and their names."""
    inside = [mark for mark in course.marks if 1.0 < mark.distance < course.length - 1.0]
    edges = np.array([0.0, *(mark.distance for mark in inside), course.length])
    ends = ["Start", *(mark.name for mark in inside), "finish"]
    return edges, [f"{a} to {b}" for a, b in itertools.pairwise(ends)]


def mean_over(values: NDArray[np.float64], distance: NDArray[np.float64],
              edges: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean of step values, weighted by length, between neighbouring edges [m]."""
    whole = np.concatenate([[0.0], np.cumsum(values * np.diff(distance))])
    return np.asarray(np.diff(np.interp(edges, distance, whole)) / np.maximum(np.diff(edges), 1e-9))
