"""Heights of a terrain model beside those of the track: both profiles, and where they differ."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from optimizer.report.along import ALONG, axis, legs, line, mark_letters, mark_rules, row_title
from optimizer.report.page import Chart, Table

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course import Course

__all__ = ["HEADINGS", "height_chart", "height_rows", "height_sentences"]

HEADINGS = ("Stretch", "km", "ascent, m", "by the track, m", "± m", "largest difference, m")
_NORMAL_90 = 1.645  # standard deviations that make a 90 % range


def height_sentences(course: Course) -> list[str]:
    """Say where the heights come from, and what the track alone would have given."""
    if course.height_error is None:
        return []
    low, high = _NORMAL_90 * np.percentile(course.height_error, [5.0, 95.0])
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
                     f"{_NORMAL_90 * np.sqrt(np.mean(course.height_error[here] ** 2)):.1f}",
                     f"{worst:+.0f}".replace("-", "−")))
    return rows


def height_chart(course: Course) -> Chart | None:
    """Both profiles over each other; None where there is only one."""
    own, apart = _against(course)
    if own is None or course.height_error is None:
        return None
    km = course.distance / 1000.0
    data = [line(km, course.elevation, "y", {"color": "@ink", "width": 1.4}, "terrain model", "m"),
            line(km, own, "y", {"color": "@ink", "width": 1, "dash": "dot"}, "track", "m"),
            line(km, apart, "y2", {"color": "@ink", "width": 1}, "track above model", "m")]
    layout = {
        "height": 360, "margin": ALONG, "hovermode": False, "showlegend": False,
        "meta": {"along": True, "print": (680, 200)}, "xaxis": axis(course, anchor="y2"),
        "shapes": mark_rules(course),
        "annotations": [*mark_letters(course), row_title("height, m"),
                        row_title("track above model, m (middle difference taken out)", 0.36)],
        "yaxis": {"domain": [0.46, 1.0], "nticks": 5, "automargin": False},
        "yaxis2": {"domain": [0.0, 0.36], "nticks": 4, "automargin": False, "zeroline": True,
                   "zerolinecolor": "@ink", "zerolinewidth": 1}}
    table = Table(HEADINGS, height_rows(course), "Heights by terrain model and by track; ± is half "
                  "of the 90 % range, for the model")
    return Chart("heights", "Do track and terrain model agree?", {"data": data, "layout": layout},
                 table, note="Solid: the terrain model, which the plan uses. Dotted: the track's "
                             "own heights, cleaned. Below: their difference.")
