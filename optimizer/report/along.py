"""What lies along the course: its axis and posts, stretches between marks, the read-out."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.report.course_map import letters
from optimizer.report.svg import Axis, Post

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.course import Course

__all__ = ["Reading", "kilometre_axis", "legs", "mean_over", "posts", "read_out"]


@dataclass(frozen=True)
class Reading:
    """What is said of a place: a name, values and their unit.

    `values` (n,) on steps or (n + 1,) at nodes; `signs` are the words for a positive and a
    negative value, which replace the sign.
    """

    say: str
    values: NDArray[np.float64]
    unit: str
    digits: int = 0
    signs: tuple[str, str] | tuple[()] = ()


def read_out(distance: NDArray[np.float64], readings: Sequence[Reading],
             time: NDArray[np.float64] | None = None) -> dict[str, Any]:
    """Give the script of the page what it says of a place.

    `distance` (n + 1,) m, `time` (n + 1,) s of arrival, which is said first where it is known.
    """
    return {
        "km": np.round(distance / 1000.0, 4),
        "time": None if time is None else np.round(time, 1),
        "readings": [{"say": r.say, "unit": r.unit, "digits": r.digits, "signs": list(r.signs),
                      "steps": len(r.values) == len(distance) - 1,
                      "values": np.round(r.values, r.digits + 1)} for r in readings]}


def kilometre_axis(course: Course) -> Axis:
    """Give the axis of distance, the same in every picture of a page."""
    return Axis(0.0, course.length / 1000.0, "", kilometres=True)


def posts(course: Course) -> list[Post]:
    """Give the marks between start and finish, with their letters."""
    return [Post(mark.distance, letter, mark.name)
            for letter, mark in zip(letters(len(course.marks)), course.marks, strict=True)
            if 0.5 < mark.distance < course.length - 0.5]


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
