"""What the grades may be instead, where the heights have a standard error by place."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course import Course

__all__ = ["draw_heights", "grade_changes"]

# m along which an error of the heights hangs together: about as far as a line stays on one side of
# the road, or a few cells of a coarse terrain model; common practice, no source.
_TOGETHER: Final = 100.0


def draw_heights(course: Course, rng: np.random.Generator,
                 count: int) -> NDArray[np.float64] | None:
    """Draw errors of heights along the course.

    Parameters
    ----------
    course : as `read_course` gives it
    rng : of the draws
    count : k

    Returns
    -------
    (q, k) standard normals, one every 100 m; None where no error is known by place
    """
    if course.height_error is None:
        return None
    return rng.standard_normal((max(int(course.length / _TOGETHER), 1) + 1, count))


def grade_changes(course: Course, heights: NDArray[np.float64] | None,
                  distance: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Give what each draw adds to the grade.

    Between the places of the draws the error is their weighted mean, brought back to its standard
    deviation.

    Parameters
    ----------
    course : as `read_course` gives it
    heights : (q, k) as drawn
    distance : (n + 1,) m

    Returns
    -------
    (n, k) added to the grade; None where there are no draws
    """
    if heights is None or course.height_error is None:
        return None
    at = distance / course.length * (len(heights) - 1)
    left = np.clip(np.floor(at).astype(np.int64), 0, len(heights) - 2)
    share = (at - left)[:, None]
    drawn = ((1 - share) * heights[left] + share * heights[left + 1]) / np.sqrt(
        (1 - share) ** 2 + share**2)
    sd = np.interp(distance, course.distance, course.height_error)[:, None]
    return np.asarray(np.diff(sd * drawn, axis=0) / np.diff(distance)[:, None])
