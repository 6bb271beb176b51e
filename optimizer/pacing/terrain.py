"""The road as a rider sees it: climbs and descents, places that are recognised, what comes next."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course import Course, Mark
    from optimizer.pacing.problem import PacingProblem

__all__ = ["CLIMB", "DESCENT", "climbs_and_descents", "felt_slope", "recognisable_places",
           "what_comes"]

CLIMB: Final = 0.015
DESCENT: Final = -0.015
"""Grades, felt over 120 m, from which a rider says that the road climbs or descends."""

_FEEL: Final = 60.0  # m behind and ahead
_SPELL: Final = 300.0  # m, some 30 s, shorter than which no power is worth changing
_BEND: Final = 0.012  # change of grade that a rider feels
_WINDOW: Final = 250.0  # m, over which a change of grade is felt
_APART: Final = 150.0  # m, places closer than this count as one
_EDGE: Final = 50.0  # m from start and finish, where no place is needed
_BARE: Final = 0.02  # of the course; a longer stretch without a place gets some by the kilometre
_LITTLE: Final = 0.15  # of a stretch, that a climb may descend
_MOST: Final = 0.75  # of a stretch, that has to climb for a climb
_SLOPE: Final = 0.01  # mean grade from which rolling road goes uphill or downhill


def climbs_and_descents(problem: PacingProblem) -> NDArray[np.int64]:
    """Say where the road climbs and descends, felt over 120 m, for 300 m or more.

    Climbs and descents that are shorter count as flat, and a flat shorter than that between two of
    one kind as theirs: nobody changes the power every few seconds.

    Parameters
    ----------
    problem : n steps

    Returns
    -------
    (n,) 1 where the road climbs, -1 where it descends, 0 where it is about flat
    """
    way, nodes = felt_slope(problem), problem.distance
    for begin, end in _short(way, nodes):
        if way[begin]:
            way[begin:end] = 0
    for begin, end in _short(way, nodes):
        if way[begin] == 0 and begin > 0 and end < len(way) and way[begin - 1] == way[end]:
            way[begin:end] = way[end]
    return way


def felt_slope(problem: PacingProblem) -> NDArray[np.int64]:
    """Say where the road climbs and descends, felt over 120 m, however short that is.

    Parameters
    ----------
    problem : n steps

    Returns
    -------
    (n,) as `climbs_and_descents`
    """
    nodes = problem.distance
    height = np.concatenate([[0.0], np.cumsum(problem.grade * problem.step)])
    middle = 0.5 * (nodes[:-1] + nodes[1:])
    low, high = np.maximum(middle - _FEEL, 0.0), np.minimum(middle + _FEEL, nodes[-1])
    felt = (np.interp(high, nodes, height) - np.interp(low, nodes, height)) / (high - low)
    return np.asarray((felt > CLIMB).astype(np.int64) - (felt < DESCENT))


def _short(way: NDArray[np.int64], nodes: NDArray[np.float64]) -> list[tuple[int, int]]:
    """First and last node of each spell of one kind that is too short to change the power for."""
    edges = np.concatenate([[0], np.flatnonzero(np.diff(way)) + 1, [len(way)]])
    return [(int(a), int(b)) for a, b in pairwise(edges) if nodes[b] - nodes[a] < _SPELL]


def recognisable_places(course: Course) -> tuple[Mark, ...]:
    """List places where a block may begin: marks, turns, changes of grade.

    Where two lie within 150 m the one a rider knows best is kept, in that order. A change of grade
    has no name, nor have the full kilometres on a long stretch without any of these: there the
    bike computer says where it is.

    Parameters
    ----------
    course : the road

    Returns
    -------
    places by distance [m from the start]
    """
    from optimizer.course import Mark

    ranked = ([(0, m.distance, m.name) for m in course.marks]
              + [(1, c.distance, c.name or "U-turn") for c in course.corners if c.u_turn]
              + [(2, c.distance, c.name or ("right" if c.turn > 0 else "left") + " turn")
                 for c in course.corners if not c.u_turn]
              + [(3, at, "") for at in _changes_of_grade(course)])
    kept: list[tuple[float, str]] = []
    for _, place, name in sorted(ranked):
        if _EDGE < place < course.length - _EDGE and all(
                abs(place - other) >= _APART for other, _ in kept):
            kept.append((place, name))
    bare = max(_BARE * course.length, 1000.0)
    edges = np.array(sorted([0.0, *(place for place, _ in kept), course.length]))
    for begin, end in pairwise(edges):
        pieces = int((end - begin) // bare)
        wanted = np.round(np.linspace(begin, end, pieces + 1)[1:-1], -3)
        kept += [(float(at), "") for at in np.unique(wanted)
                 if min(at - begin, end - at) >= 0.5 * bare]
    return tuple(Mark(name, place) for place, name in sorted(kept))


def _changes_of_grade(course: Course) -> list[float]:
    """Where the grade changes so that a rider feels it [m]."""
    even = np.arange(0.0, course.length, 25.0)
    reach = int(_WINDOW / 25.0)
    if len(even) < 3 * reach:
        return []
    height = np.interp(even, course.distance, course.elevation)
    before = (height[reach:-reach] - height[:-2 * reach]) / _WINDOW
    after = (height[2 * reach:] - height[reach:-reach]) / _WINDOW
    strong = np.abs(after - before)
    at = even[reach:-reach]
    return [float(at[k]) for k in np.flatnonzero(strong > _BEND)
            if strong[k] == strong[max(k - reach, 0):k + reach + 1].max()]


def what_comes(problem: PacingProblem, begin: int, end: int) -> str:
    """Say what the road does between two nodes: "climb, 2.3 km at 5 %", "rolling, 12 km".

    One word where it is true of most of the stretch, two where the road turns from one into the
    other: "descent, 4.0 km at 6 %, then flat, 3.0 km".

    Parameters
    ----------
    problem : n steps
    begin, end : nodes

    Returns
    -------
    words for the card
    """
    step, grade = problem.step[begin:end], problem.grade[begin:end]
    way = felt_slope(problem)[begin:end]
    if one := _plainly(way, step, grade):
        return one
    at = _turning(way, step)
    parts = [_plainly(way[part], step[part], grade[part])
             for part in (slice(at), slice(at, None)) if _LITTLE * step.sum() < step[part].sum()]
    if len(parts) == 2 and all(parts):
        return ", then ".join(parts)
    length = float(step.sum())
    mean = float(step @ grade) / length
    up, down = (float(step[way == kind].sum()) / length for kind in (1, -1))
    if min(up, down) < _LITTLE:  # no road rolls that only climbs, or only descends, here and there
        return f"{'uphill' if up > down else 'downhill'} in parts, {_length(length)}"
    slope = " uphill" if mean > _SLOPE else " downhill" if mean < -_SLOPE else ""
    return f"rolling{slope}, {_length(length)}"


def _plainly(way: NDArray[np.int64], step: NDArray[np.float64],
             grade: NDArray[np.float64]) -> str:
    """Say what a stretch is that is plainly one thing; empty for another."""
    length = float(step.sum())
    mean = float(step @ grade) / length
    up, down = (float(step[way == kind].sum()) / length for kind in (1, -1))
    if mean > CLIMB and up >= _MOST and down < _LITTLE:
        return f"climb, {_length(length)} at {100 * mean:.0f} %"
    if mean < DESCENT and down >= _MOST and up < _LITTLE:
        return f"descent, {_length(length)} at {-100 * mean:.0f} %"
    return f"flat, {_length(length)}" if up + down < _LITTLE else ""


def _turning(way: NDArray[np.int64], step: NDArray[np.float64]) -> int:
    """Find where one kind of road gives way to another, so that most of both parts is theirs."""
    before = {kind: np.concatenate([[0.0], np.cumsum(step * (way == kind))])
              for kind in (1, 0, -1)}
    theirs = {(a, b): before[a] + before[b][-1] - before[b]
              for a in before for b in before if a != b}
    return int(max(theirs.values(), key=lambda metres: float(metres.max())).argmax())


def _length(metres: float) -> str:
    if metres < 950.0:
        return f"{max(50 * round(metres / 50), 50)} m"
    return f"{metres / 1000:.1f} km" if metres < 9950.0 else f"{metres / 1000:.0f} km"
