"""The course from above, without tiles: the road, its marks, north and the wind."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from optimizer.course.geodesy import local_metres
from optimizer.defaults import NINE_IN_TEN
from optimizer.report.svg.lettering import width_of
from optimizer.report.words import compass, kilometres

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.course import Course

__all__ = ["course_map", "letters", "mapped"]

_WIDE, _HIGH, _EDGE = 740.0, 420.0, 42.0
_SIDE = 170.0  # room for north, wind and scale
_POINTS = 700
_LANE = 2.6  # of the picture, to the right of the way, so that out and back lie side by side
_FELT = 60.0  # m ahead and behind, over which the way is told
_AGAIN = 1500.0  # m of the course, after which a road nearby is the way back and no hairpin
_SAME = 15.0  # of the picture; marks that are closer share a label
_SIZE = 15.0  # of the letters, for their room


def letters(count: int) -> list[str]:
    """Names of the marks on map, strip and card: A, B, ..., Z, AA, AB, ..."""
    return [(chr(64 + k // 26) if k >= 26 else "") + chr(65 + k % 26) for k in range(count)]


def mapped(course: Course, conditions: Conditions | None = None) -> Markup:
    """Give the map as a figure, with the names of its letters; empty without coordinates."""
    drawing = course_map(course, conditions)
    if not drawing:
        return Markup("")
    key = Markup("").join(
        Markup("<li><b>{}</b> {}, {}</li>").format(letter, mark.name, kilometres(mark.distance))
        for letter, mark in zip(letters(len(course.marks)), course.marks, strict=True))
    return Markup('<figure class="mapped"><figcaption><h3>Where is that?</h3></figcaption>'
                  '<div>{}<ol class="names">{}</ol></div></figure>').format(drawing, key)


def course_map(course: Course, conditions: Conditions | None = None) -> Markup:
    """SVG of the course; empty where its coordinates are not known."""
    if not (np.ptp(course.latitude) or np.ptp(course.longitude)):
        return Markup("")
    at = np.linspace(0.0, course.length, min(_POINTS, len(course.distance)))
    x, y, metres = _place(course, at)
    track = [[round(float(a) / 1000, 3), round(float(b), 1), round(float(c), 1)]
             for a, b, c in zip(at, x, y, strict=True)]
    path = "M" + "L".join(f"{b:g} {c:g}" for _, b, c in track)
    label = (f"Map of {course.name}, {kilometres(course.length)}, north up."
             f"{' ' + _wind_words(conditions) if conditions else ''} The marks are listed "
             "beside it.")
    return Markup(
        '<svg class="map" role="img" aria-label="{label}" viewBox="0 0 {w} {h}" '
        'data-track="{track}"><path class="road" d="{path}"/>{ways}{marks}{north}{wind}{scale}'
        "</svg>",
    ).format(label=label, w=f"{_WIDE:g}", h=f"{_HIGH:g}", path=path,
             track=json.dumps(track, separators=(",", ":")), ways=_ways(x, y),
             marks=_marks(course, x, y), north=_north(),
             wind=_wind(conditions) if conditions else "", scale=_scale(metres))


def _place(course: Course, at: NDArray[np.float64],
           ) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Picture coordinates of places [m from the start], and metres per unit of the picture."""
    east, north = local_metres(course.latitude, course.longitude,
                               (float(course.latitude.mean()), float(course.longitude[0])))
    room = np.array([_WIDE - _SIDE - 2 * _EDGE, _HIGH - 2 * _EDGE])
    metres = float(max(np.ptp(east) / room[0], np.ptp(north) / room[1], 1e-9))
    middle = (0.5 * (east.min() + east.max()), 0.5 * (north.min() + north.max()))
    x = np.interp(at, course.distance, (east - middle[0]) / metres) + (_WIDE - _SIDE) / 2
    y = _HIGH / 2 - np.interp(at, course.distance, (north - middle[1]) / metres)
    lane = _LANE * _met_again(x, y, at)
    before, after = np.maximum(at - _FELT, 0.0), np.minimum(at + _FELT, course.length)
    along_east, along_north = (
        np.interp(after, course.distance, v) - np.interp(before, course.distance, v)
        for v in (east, north))
    size = np.maximum(np.hypot(along_east, along_north), 1e-9)
    return x + lane * along_north / size, y + lane * along_east / size, metres


def _met_again(x: NDArray[np.float64], y: NDArray[np.float64],
               at: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of the lane to keep to: 1 where the course comes by again, 0 where it does not."""
    if len(at) < 3:
        return np.zeros(len(at))
    near = np.hypot(x[:, None] - x, y[:, None] - y) < 2 * _LANE
    met = (near & (np.abs(at[:, None] - at) > _AGAIN)).any(axis=1).astype(float)
    return np.convolve(np.pad(met, 4, mode="edge"), np.full(9, 1 / 9), mode="valid")


def _marks(course: Course, x: NDArray[np.float64], y: NDArray[np.float64]) -> Markup:
    """Start, finish and marks; those at one place share a label, which keeps off the others."""
    at = [0.0, *(mark.distance for mark in course.marks), course.length]
    names = ["Start", *letters(len(course.marks)), "Finish"]
    track = np.linspace(0.0, course.length, len(x))
    px, py = np.interp(at, track, x), np.interp(at, track, y)
    groups: list[list[int]] = []
    for k in range(len(at)):
        near = next((group for group in groups if np.hypot(
            px[group[0]] - px[k], py[group[0]] - py[k]) < _SAME), None)
        if near is None:
            groups.append([k])
        else:
            near.append(k)
    out = [Markup('<circle cx="{}" cy="{}" r="3.4"/>').format(f"{px[k]:.1f}", f"{py[k]:.1f}")
           if 0 < k < len(at) - 1 else
           Markup('<rect x="{}" y="{}" width="8" height="8"/>').format(
               f"{px[k] - 4:.1f}", f"{py[k] - 4:.1f}") for k in range(len(at))]
    taken: list[tuple[float, float, float, float]] = []
    for group in groups:
        words = ", ".join(names[k] for k in group)
        here = (float(px[group].mean()), float(py[group].mean()))
        box = _free(here, width_of(words, _SIZE, bold=True), taken, x, y)
        taken.append(box)
        middle = 0.5 * (box[0] + box[2])
        out.append(Markup('<text x="{}" y="{}" text-anchor="middle">{}</text>').format(
            f"{middle:.1f}", f"{box[3] - 4:.1f}", words))
    return Markup('<g class="mark">{}</g>').format(Markup("").join(out))


def _free(here: tuple[float, float], width: float, taken: list[tuple[float, float, float, float]],
          x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[float, float, float, float]:
    """Box for a label by a place, off other labels and off the road as far as that goes."""
    best, least = (0.0, 0.0, 0.0, 0.0), np.inf
    for turn in np.linspace(0.0, 2 * np.pi, 16, endpoint=False):
        for away in (10.0, 16.0, 24.0):
            cx = here[0] + np.cos(turn) * (away + 0.5 * width * abs(np.cos(turn)))
            cy = here[1] + np.sin(turn) * (away + 0.5 * _SIZE)
            box = (cx - width / 2, cy - _SIZE / 2 - 1, cx + width / 2, cy + _SIZE / 2 + 1)
            inside = (x > box[0] - 3) & (x < box[2] + 3) & (y > box[1] - 3) & (y < box[3] + 3)
            over = sum(max(0.0, min(box[2], b[2]) - max(box[0], b[0]))
                       * max(0.0, min(box[3], b[3]) - max(box[1], b[1])) for b in taken)
            outside = max(0.0, -box[0]) + max(0.0, box[2] - (_WIDE - _SIDE + 40.0)) + max(
                0.0, -box[1]) + max(0.0, box[3] - _HIGH)
            cost = 4.0 * float(inside.sum()) + 10.0 * over + 20.0 * outside + 0.3 * away
            if cost < least:
                best, least = box, cost
    return best


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
    """Arrow with the wind at the middle of the forecast, and its uncertainty as a fan."""
    east, north = float(conditions.wind_east.mean()), float(conditions.wind_north.mean())
    where = f"translate({_WIDE - _SIDE / 2:g} {_HIGH / 2:g})"
    words = _wind_words(conditions).rstrip(".")
    if np.hypot(east, north) < 0.15:
        return Markup('<g class="wind" transform="{}"><text text-anchor="middle">no wind</text>'
                      "</g>").format(where)
    angle = np.degrees(np.arctan2(-north, east))
    fan = np.degrees(NINE_IN_TEN * conditions.direction_sd)
    arc = "M0 0" + "".join(
        f"L{-46 * np.cos(np.radians(a)):.1f} {-46 * np.sin(np.radians(a)):.1f}"
        for a in np.linspace(-fan, fan, 15)) + "Z"
    speed, source = words.removeprefix("Wind ").split(" from ")
    return Markup(
        '<g class="wind" transform="{}"><g transform="rotate({})"><path class="fan" d="{}" '
        'transform="translate(23 0)"/><path d="M-23 0H23M13 -6L23 0L13 6"/></g>'
        '<text y="64" text-anchor="middle">wind {}</text>'
        '<text y="89" text-anchor="middle">from {}</text></g>').format(
            where, f"{angle:.0f}", arc, speed,
            "".join(word[0].upper() for word in source.split("-")))


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
