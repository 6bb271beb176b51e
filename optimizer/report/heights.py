"""Heights of a terrain model beside those of the track: both profiles, and where they differ."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from optimizer.defaults import NINE_IN_TEN
from optimizer.report.along import kilometre_axis, legs, posts
from optimizer.report.page import Chart, Table
from optimizer.report.svg import Line, Row, plot
from optimizer.report.words import kilometres

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course import Course

__all__ = ["HEADINGS", "height_chart", "height_rows", "height_sentences"]

HEADINGS = ("Stretch", "km", "ascent, m", "by the track, m", "± m", "largest difference, m")


def height_sentences(course: Course) -> list[str]:
    """Say where the heights come from, and what the track alone would have given."""
    if course.height_error is None:
        return []
    low, high = NINE_IN_TEN * np.percentile(course.height_error, [5.0, 95.0])
    out = [(f"Heights come from a terrain model and are good to ± {low:.1f} to ± {high:.1f} m by "
            "place (90 % range).")]
    own, apart = _against(course)
    if own is None:
        return [*out, "The track has no heights to compare them with."]
    climbs = float(np.maximum(np.diff(own), 0.0).sum())
    worst = int(np.argmax(np.abs(apart)))
    out.append(f"The track's own heights give {climbs:.0f} m of ascent, the model "
               f"{course.ascent:.0f} m. They differ most at km "
               f"{course.distance[worst] / 1000:.1f}: {_off(apart[worst])}.")
    return out


def _off(apart: float) -> str:
    return f"the track is {abs(apart):.0f} m {'higher' if apart > 0 else 'lower'}"


def _against(course: Course) -> tuple[NDArray[np.float64] | None, NDArray[np.float64]]:
    """Heights of the track, and theirs less the model's with the middle difference taken out."""
    own = course.track_elevation
    if own is None or not np.isfinite(own).all():
        return None, np.zeros(len(course.distance))
    apart = own - course.elevation
    return own, apart - np.median(apart)


def height_rows(course: Course) -> list[tuple[str, ...]]:
    """Each stretch between marks: ascent by model and track, uncertainty, largest difference."""
    own, apart = _against(course)
    if own is None or course.height_error is None:
        return []
    edges, names = legs(course)
    rows: list[tuple[str, ...]] = []
    for name, (a, b) in zip(names, pairwise(edges), strict=True):
        here = (course.distance >= a) & (course.distance <= b)
        if np.count_nonzero(here) < 2:
            continue
        up, up_own = (float(np.maximum(np.diff(values[here]), 0.0).sum())
                      for values in (course.elevation, own))
        worst = float(apart[here][np.argmax(np.abs(apart[here]))])
        rows.append((name, f"{a / 1000:.1f} to {b / 1000:.1f}", f"{up:.0f}", f"{up_own:.0f}",
                     f"{NINE_IN_TEN * np.sqrt(np.mean(course.height_error[here] ** 2)):.1f}",
                     f"{worst:+.0f}".replace("-", "−")))
    return rows


def height_chart(course: Course) -> Chart | None:
    """Both profiles over each other; None where there is only one."""
    own, apart = _against(course)
    if own is None or course.height_error is None:
        return None
    km = course.distance / 1000.0
    rows = [Row("height, m", [Line(km, course.elevation, "ink", "terrain model"),
                              Line(km, own, "thin dot-line", "track")], 120.0),
            Row("track above model, m (middle difference taken out)", [Line(km, apart, "thin")],
                70.0, zero=True)]
    table = Table(HEADINGS, height_rows(course), "Heights by terrain model and by track; ± is half "
                  "of the 90 % range, for the model")
    worst = int(np.argmax(np.abs(apart)))
    return Chart("heights", "Do track and terrain model agree?", lambda look: plot(
        look, kilometre_axis(course), rows, posts=posts(course)), table,
        f"They differ most at {kilometres(course.distance[worst])}: {_off(apart[worst])}.",
        note="The plan uses the terrain model. The track's own heights are cleaned.",
        kilometres=course.length / 1000.0)
