"""The course from above, without tiles: the road, its marks, north and the wind."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from optimizer.report.words import compass, kilometres

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.course import Course

__all__ = ["course_map", "letters"]

_WIDE, _HIGH, _EDGE = 740.0, 420.0, 42.0
_SIDE = 170.0  # room for north, wind and scale
_POINTS = 700
_LANE = 2.6  # of the picture, to the right of the way, so that out and back lie side by side


def letters(count: int) -> list[str]:
    """Names of the marks on map, strip and card: A, B, ..., Z, AA, AB, ..."""
    return [(chr(64 + k // 26) if k >= 26 else "") + chr(65 + k % 26) for k in range(count)]


def course_map(course: Course, conditions: Conditions | None = None) -> Markup:
    """SVG of the course; empty where its coordinates are not known."""
    if not (np.ptp(course.latitude) or np.ptp(course.longitude)):
        return Markup("")
    at = np.linspace(0.0, course.length, min(_POINTS, len(course.distance)))
    x, y, metres = _place(course, at)
    track = [[round(float(a) / 1000, 3), round(float(b), 1), round(float(c), 1)]
             for a, b, c in zip(at, x, y, strict=True)]
    path = "M" + "L".join(f"{b:g} {c:g}" for _, b, c in track)
    marks = [("start", "Start", 0.0), *zip(letters(len(course.marks)),
                                           (m.name for m in course.marks),
                                           (m.distance for m in course.marks), strict=True)]
    label = (f"Map of {course.name}, {kilometres(course.length)}, north up."
             f"{' ' + _wind_words(conditions) if conditions else ''} The marks are in the table "
             "of splits.")
    return Markup(
        '<svg class="map" role="img" aria-label="{label}" viewBox="0 0 {w} {h}" '
        'data-track="{track}"><path class="road" d="{path}"/>{ways}{marks}{north}{wind}{scale}'
        '<circle class="here" r="6" visibility="hidden"/></svg>',
    ).format(label=label, w=f"{_WIDE:g}", h=f"{_HIGH:g}", path=path,
             track=json.dumps(track, separators=(",", ":")), ways=_ways(x, y),
             marks=Markup("").join(_mark(course, *mark) for mark in marks), north=_north(),
             wind=_wind(conditions) if conditions else "", scale=_scale(metres))


def _place(course: Course, at: NDArray[np.float64],
           ) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Picture coordinates of places [m from the start], and metres per unit of the picture."""
    north = np.radians(course.latitude) * 6.371e6
    east = np.radians(course.longitude) * 6.371e6 * np.cos(np.radians(course.latitude.mean()))
    room = np.array([_WIDE - _SIDE - 2 * _EDGE, _HIGH - 2 * _EDGE])
    metres = float(max(np.ptp(east) / room[0], np.ptp(north) / room[1], 1e-9))
    middle = (0.5 * (east.min() + east.max()), 0.5 * (north.min() + north.max()))
    x = np.interp(at, course.distance, (east - middle[0]) / metres) + (_WIDE - _SIDE) / 2
    y = _HIGH / 2 - np.interp(at, course.distance, (north - middle[1]) / metres)
    heading = np.interp(at, 0.5 * (course.distance[1:] + course.distance[:-1]),
                        np.unwrap(course.heading))
    return x + _LANE * np.cos(heading), y + _LANE * np.sin(heading), metres


def _mark(course: Course, letter: str, name: str, distance: float) -> Markup:
    (x,), (y,), _ = _place(course, np.array([distance]))
    if letter == "start":
        return Markup('<g class="mark"><rect x="{}" y="{}" width="8" height="8"/>'
                      '<text x="{}" y="{}">{}</text></g>').format(
            f"{x - 4:.1f}", f"{y - 4:.1f}", f"{x + 9:.1f}", f"{y + 16:.1f}", name)
    return Markup('<g class="mark"><circle cx="{}" cy="{}" r="3.4"/>'
                  '<text x="{}" y="{}">{}<title>{}</title></text></g>').format(
        f"{x:.1f}", f"{y:.1f}", f"{x + 7:.1f}", f"{y - 6:.1f}", letter, name)


def _ways(x: NDArray[np.float64], y: NDArray[np.float64]) -> Markup:
    """Small heads that say which way the course goes."""
    length = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    heads = []
    for share in np.arange(0.06, 1.0, 0.12):
        k = int(np.searchsorted(length, share * length[-1]))
        k = min(max(k, 2), len(x) - 3)
        angle = np.degrees(np.arctan2(y[k + 2] - y[k - 2], x[k + 2] - x[k - 2]))
        heads.append(Markup('<path class="way" d="M-4 -3.4L4 0L-4 3.4" '
                            'transform="translate({} {}) rotate({})"/>').format(
            f"{x[k]:.1f}", f"{y[k]:.1f}", f"{angle:.0f}"))
    return Markup("").join(heads)


def _north() -> Markup:
    return Markup('<g class="north" transform="translate({} 44)"><path d="M0 18V-18M-5 -9L0 -18'
                  'L5 -9"/><text y="34" text-anchor="middle">N</text></g>').format(
        f"{_WIDE - _SIDE / 2:g}")


def _wind(conditions: Conditions) -> Markup:
    """Arrow with the wind, as it blows at the middle of the forecast, and its doubt as a fan."""
    east, north = float(conditions.wind_east.mean()), float(conditions.wind_north.mean())
    where = f"translate({_WIDE - _SIDE / 2:g} {_HIGH / 2:g})"
    words = _wind_words(conditions).rstrip(".")
    if np.hypot(east, north) < 0.15:
        return Markup('<g class="wind" transform="{}"><text text-anchor="middle">no wind</text>'
                      "</g>").format(where)
    angle = np.degrees(np.arctan2(-north, east))
    fan = np.degrees(1.645 * conditions.direction_sd)
    arc = "M0 0" + "".join(
        f"L{-46 * np.cos(np.radians(a)):.1f} {-46 * np.sin(np.radians(a)):.1f}"
        for a in np.linspace(-fan, fan, 15)) + "Z"
    speed, source = words.removeprefix("Wind ").split(" from ")
    return Markup(
        '<g class="wind" transform="{}"><g transform="rotate({})"><path class="fan" d="{}" '
        'transform="translate(23 0)"/><path d="M-23 0H23M13 -6L23 0L13 6"/></g>'
        '<text y="62" text-anchor="middle">wind {}</text>'
        '<text y="79" text-anchor="middle">from {}</text></g>').format(
            where, f"{angle:.0f}", arc, speed, source)


def _wind_words(conditions: Conditions) -> str:
    east, north = float(conditions.wind_east.mean()), float(conditions.wind_north.mean())
    speed = float(np.hypot(east, north))
    if speed < 0.15:
        return "No wind."
    return f"Wind {3.6 * speed:.0f} km/h from {compass(east, north)}."


def _scale(metres: float) -> Markup:
    """Bar of a round length."""
    length = next(step for step in (200, 500, 1000, 2000, 5000, 10000, 20000, 50000)
                  if step / metres > 55 or step == 50000)
    width = length / metres
    left = _WIDE - _SIDE / 2 - width / 2
    text = f"{length / 1000:g} km" if length >= 1000 else f"{length} m"
    return Markup('<g class="scale"><path d="M{a} {y}v5h{w}v-5"/><text x="{m}" y="{t}" '
                  'text-anchor="middle">{text}</text></g>').format(
        a=f"{left:.1f}", y=f"{_HIGH - 40:g}", w=f"{width:.1f}", m=f"{_WIDE - _SIDE / 2:g}",
        t=f"{_HIGH - 14:g}", text=text)
