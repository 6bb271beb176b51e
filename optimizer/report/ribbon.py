"""The whole ride as one picture: blocks with their watts, the wind, the ground, marks with times.

Everything lies over the same kilometres. Marks are posts that run through all rows.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from optimizer.report.along import legs, mean_over, posts
from optimizer.report.card import figures
from optimizer.report.course_map import letters
from optimizer.report.stated import stated
from optimizer.report.svg import (
    SHEET,
    WIDTHS,
    Area,
    Drawing,
    Heads,
    Look,
    Scale,
    area,
    clock_ticks,
    drawn,
    el,
    group,
    heads,
    levels,
    look_for,
    nice_ticks,
    path,
    shortened,
    spread,
    steps,
    text,
    thinned,
    width_of,
)
from optimizer.report.uncertain import plain
from optimizer.report.words import ascent, clock, kilometres, listing, watts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.job import Result
    from optimizer.pacing import Block

__all__ = ["range_rule", "ribbon", "wind_edges"]

_WIND_PARTS = 40  # of a course, for each of which one knows whether the wind is with the rider
_FEATHERS = {True: 12, False: 30}  # along the course, on a phone and elsewhere
_STRONG = 6.0  # m/s of wind at the rider from which feathers grow no longer
_CALM = 0.4  # m/s, below which there is a dot instead


def ribbon(result: Result) -> Markup:
    """Draw the ride, with a list of the marks for where their names do not fit."""
    course = result.job.course
    short = [width for width in WIDTHS if not _heads(result, look_for(width)).named]
    names = {1000.0: "for-wide", 680.0: "for-middle", 350.0: "for-narrow"}
    at = stated(result).at
    key = Markup("").join(
        Markup("<li><b>{}</b> {} <span>{}, {}</span></li>").format(
            letter, mark.name, kilometres(mark.distance), clock(float(at(mark.distance))))
        for letter, mark in zip(letters(len(course.marks)), course.marks, strict=True))
    listed = Markup('<ol class="key {}">{}</ol>').format(
        " ".join(names[width] for width in short), key) if short and course.marks else ""
    picture = drawn("ribbon-picture", lambda look: _draw(result, look), "The ride",
                    _finding(result), kilometres=course.length / 1000.0, cls="ribbon",
                    sheet=(lambda look: _draw(result, look), replace(SHEET, tall=0.55)))
    return Markup('<figure id="ribbon" aria-label="The ride">{}{}</figure>').format(picture, listed)


def _finding(result: Result) -> str:
    """Say what the picture shows."""
    blocks, course = result.rideable.blocks, result.job.course
    at = stated(result).at
    hardest = max(blocks, key=lambda block: block.power)
    powers = [f"{watts(power)} {f'on {where}' if where else 'throughout'}"
              for where, power in figures(hardest)]
    ground = (f"{kilometres(course.length)} between {course.elevation.min():.0f} and "
              f"{course.elevation.max():.0f} m")
    ridden = (f"at {listing(powers)}" if len(blocks) == 1 else
              f"in {len(blocks)} blocks from {watts(min(b.power for b in blocks))} to "
              f"{watts(hardest.power)}, hardest from {kilometres(hardest.start)} to "
              f"{kilometres(hardest.end)}")
    marks = [f"{mark.name} {clock(float(at(mark.distance)))}" for mark in course.split_marks]
    passed = f" At the marks: {listing(marks)}." if marks else ""
    return f"{ground}, ridden {ridden}.{passed} Finish {clock(stated(result).finish)}."


# --- the range --------------------------------------------------------------------------------


def range_rule(low: float, time: float, high: float, title: str) -> Markup:
    """Draw the range of a time as a rule below it, with the time itself as its mark [s]."""
    room = 0.12 * max(high - low, 1.0)
    left, right = 2.0, 348.0

    def draw(_: Look) -> Drawing:
        scale = Scale(low - room, high + room, left, right)
        ticks = [Markup("").join(
            el("path", d=f"M{x:.1f},{14 - tall:.1f}V14", cls="tick")
            for x in scale(clock_ticks(low - room, high + room, count)).tolist())
            for count, tall in ((36, 3.0), (9, 6.0))]
        a, m, b = (scale.at(value) for value in (low, time, high))
        size = 12.5
        words = (clock(low), "90 % range", clock(high))
        at = spread([a, 0.5 * (a + b), b], [width_of(word, size) + 8 for word in words],
                    0.0, 350.0)
        said = Markup("").join(text(float(x), 36.0, word, cls, "middle") for x, word, cls in zip(
            at, words, ("", "quiet", ""), strict=True))
        return Drawing(42.0, Markup("").join([
            el("path", d=f"M{left:.1f},14H{right:.1f}", cls="axis"), *ticks,
            el("path", d=f"M{a:.1f},14H{b:.1f}", cls="line plan range"),
            el("path", d=f"M{a:.1f},8V20M{b:.1f},8V20", cls="line plan"),
            el("path", d=f"M{m:.1f},5L{m + 5:.1f},14L{m:.1f},23L{m - 5:.1f},14Z", cls="dot plan"),
            said]))
    return drawn("range", draw, title, f"The range is {clock(low)} to {clock(high)}.",
                 widths=(350.0,), cls="rule")


# --- rows ---------------------------------------------------------------------------------------


def _draw(result: Result, look: Look) -> Drawing:
    km = _kilometres(result, look)
    top = _heads(result, look)
    y = top.height + 0.3 * look.line
    bars, end = _bars(result, look, km, y)
    wind, end = _wind(result, look, km, end + 0.4 * look.line)
    ground, end = _ground(result, look, km, end + 0.4 * look.line)
    foot, bottom = _feet(result, look, km, end)
    ends = Markup("").join(el("path", d=f"M{x:.1f},{y:.1f}V{end + 5:.1f}", cls="post end")
                           for x in (km.start, km.end))
    return Drawing(bottom, Markup("").join([
        group(top.uprights(end + 5.0), ends, cls="posts"), top.drawn, bars, wind, ground, foot]),
        Area(km.start, km.end, y, end))


def _kilometres(result: Result, look: Look) -> Scale:
    return Scale(0.0, result.job.course.length, look.left, look.width - look.right)


def _heads(result: Result, look: Look) -> Heads:
    return heads(posts(result.job.course), look, _kilometres(result, look), 0.0)


def _row_title(look: Look, y: float, words: str) -> Markup:
    return text(look.left, y, shortened(words, 0.92 * look.size, look.width - look.left - 4.0),
                "quiet fine halo")


def _bars(result: Result, look: Look, km: Scale, y: float) -> tuple[Markup, float]:
    """Power of the card from zero, with its figures; short blocks are labelled above."""
    ridden = result.rideable
    blocks = ridden.blocks
    cp = float(result.day.expected.critical_power)
    powers = [[power for _, power in figures(block)] for block in blocks]
    most = max(*(max(each) for each in powers), cp, 1.0)
    size = look.size + (4.0 if look.width > 800.0 else 2.0)
    sizes = [width_of(f"{block.power:.0f}", size, bold=True) + 3.0 for block in blocks]
    lefts, rights = km([b.start for b in blocks]), km([b.end for b in blocks])
    inside = [wide <= b - a for wide, a, b in zip(sizes, lefts, rights, strict=True)]
    flags = [k for k, fits in enumerate(inside) if not fits]
    lines, centres, count = _flags([0.5 * (lefts[k] + rights[k]) for k in flags],
                                   [sizes[k] + 3.0 for k in flags], look)
    title = (f"power, W and % of CP (dashed: critical power, {cp:.0f} W)" if look.small else
             f"power, W, and % of critical power (CP, dashed: {cp:.0f} W)")
    y += 0.92 * look.size
    parts = [_row_title(look, y, title)]
    y += 0.35 * look.size + count * 1.15 * size + (0.4 * size if count else 0.35 * size)
    scale = Scale(0.0, most, y + look.tall * _tall(blocks, look), y)
    x, asked, put_in = km(result.plan.distance), scale(ridden.asked), scale(ridden.power)
    rolls = any(len(each) > 1 for each in powers)
    parts += [area(np.repeat(x, 2)[1:-1], np.full(2 * len(asked), scale.start),
                   np.repeat(put_in, 2), "bar"),
              steps(x, asked, f"line plan {'thin' if rolls else 'heavy'}"),
              el("path", d=f"M{km.start:.1f},{scale.at(cp):.1f}H{km.end:.1f}",
                 cls="line dash thin"),
              el("path", d=f"M{km.start:.1f},{scale.start:.1f}H{km.end:.1f}", cls="axis"),
              text(look.left - 6.0, scale.at(cp) + 0.35 * look.size, f"{cp:.0f}", "quiet fine",
                   "end"),
              text(look.left - 6.0, scale.start, "0", "quiet fine", "end")]
    tops = scale([min(each) for each in powers])  # words stand below the lowest figure
    if len(blocks) == 1:
        return group(*parts, *_all_the_way(blocks[0], cp, look, km, float(tops[0]), size),
                     cls="blocks"), scale.start
    for k, block in enumerate(blocks):
        words, middle = f"{block.power:.0f}", 0.5 * float(lefts[k] + rights[k])
        if inside[k]:
            low = float(tops[k]) + 1.25 * size
            if float(tops[k]) + 1.0 < scale.at(cp) < low + 3.0:  # clear of the dashed line
                low = scale.at(cp) + 1.2 * size
            fits = low < scale.start - 2.0
            parts.append(text(middle, low if fits else float(tops[k]) - 4.0, words, "watts",
                              "middle", font_size=f"{size:g}"))
            share = _below(block, cp, float(rights[k] - lefts[k]) - 4.0, look)
            if share and low + look.line < scale.start:
                parts.append(text(middle, low + look.line, share, "quiet fine", "middle"))
        else:
            n = flags.index(k)
            base = y - 0.5 * size - (count - 1 - lines[n]) * 1.15 * size
            parts.append(el("path", cls="pointer",
                            d=f"M{centres[n]:.1f},{base + 2:.1f}L{middle:.1f},{tops[k]:.1f}"))
            parts.append(text(float(centres[n]), float(base), words, "watts halo", "middle",
                              font_size=f"{size:g}"))
    return group(*parts, cls="blocks"), scale.start


def _tall(blocks: Sequence[Block], look: Look) -> float:
    """Height of the row of power [px]: a card of one power all the way needs little."""
    if len(blocks) > 1:
        return 92.0 if look.small else 118.0
    if len(figures(blocks[0])) > 1:
        return 86.0 if look.small else 104.0
    return 54.0 if look.small else 62.0


def _all_the_way(block: Block, cp: float, look: Look, km: Scale, top: float, size: float,
                 ) -> list[Markup]:
    """Write what a card of one line asks for, in words."""
    found = figures(block)
    if len(found) == 1:
        words = f"{watts(block.power)} all the way"
        below = f"{100 * block.power / cp:.0f} % of CP"
    else:
        words = "   ".join(f"{where} {power:.0f}" for where, power in found)
        below = f"{listing([f'{100 * power / cp:.0f}' for _, power in found])} % of CP"
    middle, low = 0.5 * (km.start + km.end), top + 1.3 * size
    return [text(middle, low, words, "watts", "middle", font_size=f"{size:g}"),
            text(middle, low + look.line, below, "quiet fine", "middle")]


def _below(block: Block, cp: float, room: float, look: Look) -> str:
    """Say the share of critical power, and the watts of hills, as far as there is room."""
    share = f"{100 * block.power / cp:.0f} %"
    hills = [f"{words} {power:.0f}" for words, power in (
        ("climbs", block.climb), ("descents", block.descent)) if power is not None]
    wanted = [f"{share} on the flat; {', '.join(hills)} W", *([", ".join(hills)]), share
              ] if hills else [share]
    return next((words for words in wanted if width_of(words, 0.92 * look.size) < room), "")


def _flags(places: Sequence[float], sizes: Sequence[float], look: Look,
           ) -> tuple[NDArray[np.int64], NDArray[np.float64], int]:
    """Lines and centres of labels that stand above their blocks."""
    if not places:
        return np.zeros(0, dtype=np.int64), np.zeros(0), 0
    found = levels(places, sizes, look.left, look.width - 2.0, 16.0, 3) or levels(
        places, sizes, look.left, look.width - 2.0, look.width, 6)
    if found is None:  # more than a person could ride by
        return np.zeros(len(places), dtype=np.int64), np.asarray(places, dtype=float), 1
    return found[0], found[1], int(found[0].max()) + 1


def _wind(result: Result, look: Look, km: Scale, y: float) -> tuple[Markup, float]:
    """Feathers along the road: they fly as the air does, travel is to the right."""
    problem = result.plan.problem
    edges = np.linspace(0.0, result.job.course.length, _FEATHERS[look.small] + 1)
    head, side = (mean_over(values, result.plan.distance, edges)
                  for values in (problem.headwind, problem.crosswind))
    speed = np.hypot(head, side)
    top = 3.6 * float(np.hypot(problem.headwind, problem.crosswind).max(initial=0.0))
    y += 0.92 * look.size
    words = ("no wind" if top < 1.5 else
             f"wind at the rider, up to {top:.0f} km/h; you ride to the right")
    parts = [_row_title(look, y, words)]
    half = 17.0 if look.tall == 1.0 else 12.0
    middle = y + 0.4 * look.size + half
    gap = (km.end - km.start) / _FEATHERS[look.small]
    for x, h, s, v in zip(km(0.5 * (edges[:-1] + edges[1:])), head, side, speed, strict=True):
        parts.append(_feather(float(x), middle, float(h), float(s), float(v), min(gap, 2 * half)))
    parts += _wind_of_legs(result, look, km, middle + half + 0.6 * look.size)
    return group(*parts, cls="wind"), middle + half + 0.9 * look.size


def _wind_of_legs(result: Result, look: Look, km: Scale, y: float) -> list[Markup]:
    """Mean wind along the road from mark to mark and turn to turn, where the words fit."""
    distance, headwind = result.plan.distance, result.plan.problem.headwind
    edges = wind_edges(legs(result.job.course)[0], distance, headwind)
    mean = 3.6 * mean_over(headwind, distance, edges)
    out = []
    for value, a, b in zip(mean, km(edges[:-1]), km(edges[1:]), strict=True):
        words = f"{abs(value):.0f} km/h {'head' if value > 0 else 'tail'}"
        if round(abs(float(value))) >= 1 and width_of(words, 0.92 * look.size) < b - a - 6.0:
            out.append(text(float(0.5 * (a + b)), y, words, "quiet fine halo", "middle"))
    return out


def wind_edges(marks: NDArray[np.float64], distance: NDArray[np.float64],
               headwind: NDArray[np.float64]) -> NDArray[np.float64]:
    """Divide stretches where head wind and tail wind take turns: their mean would say nothing.

    Parameters
    ----------
    marks, distance : ends of the stretches, and of the steps (n + 1,) [m]
    headwind : (n,) m/s

    Returns
    -------
    ends of the parts [m]
    """
    fine = np.linspace(marks[0], marks[-1], _WIND_PARTS + 1)
    ahead = mean_over(headwind, distance, fine) > 0.0
    turns = fine[1:-1][ahead[1:] != ahead[:-1]]
    return np.unique(np.concatenate([marks, turns]))


def _feather(x: float, y: float, head: float, side: float, speed: float, room: float) -> Markup:
    """One arrow of air: head wind points left, wind from the left points down."""
    if speed < _CALM:
        return el("circle", cx=x, cy=y, r=1.2, cls="calm")
    length = (0.35 + 0.6 * min(speed / _STRONG, 1.0)) * room
    along, across = -head / speed, side / speed
    turn = np.degrees(np.arctan2(across, along))
    a = 0.5 * length
    return el("path", d=f"M{-a:.1f},0H{a:.1f}M{a - 5:.1f},-3.4L{a:.1f},0L{a - 5:.1f},3.4",
              transform=f"translate({x:.1f} {y:.1f}) rotate({turn:.0f})", cls="feather")


def _ground(result: Result, look: Look, km: Scale, y: float) -> tuple[Markup, float]:
    """Height over distance, from a little below the lowest point."""
    course = result.job.course
    low, high = float(course.elevation.min()), float(course.elevation.max())
    tall = look.tall * (56.0 if look.small else 74.0)
    y += 0.92 * look.size
    words = (f"height, {plain(low, 0)} to {plain(high, 0)} m; "
             f"{ascent(course.ascent)} of ascent")
    base = y + 0.5 * look.size + tall
    room = max(high - low, 30.0)
    scale = Scale(low - 0.1 * room, low + room, base, base - tall)
    x, heights = km(course.distance), scale(course.elevation)
    return group(area(x, np.full(len(x), base), heights, "ground"),
                 path(*thinned(x, heights), "line"), _row_title(look, y, words),
                 el("path", d=f"M{km.start:.1f},{base:.1f}H{km.end:.1f}", cls="axis"),
                 cls="height"), base


def _feet(result: Result, look: Look, km: Scale, y: float) -> tuple[Markup, float]:
    """Write times and kilometres at the feet of the posts; round kilometres where there is room."""
    course, at = result.job.course, stated(result).at
    feet = [(km.at(post.distance), clock(float(at(post.distance))), f"{post.distance / 1000:.1f}")
            for post in posts(course)]
    feet.append((km.end, clock(stated(result).finish), f"{course.length / 1000:.1f} km"))
    places = [x for x, _, _ in feet]
    sizes = [max(width_of(time, look.size, bold=True), width_of(place, look.size)) + 8.0
             for _, time, place in feet]
    found = levels(places, sizes, 0.0, look.width, 14.0, 3) or levels(
        places, sizes, 0.0, look.width, look.width, 8)
    lines, centres = found if found is not None else (np.arange(len(feet)) % 8, np.array(places))
    count = int(lines.max()) + 1
    deep = 2 * look.line
    parts: list[Markup] = []
    for (x, time, place), line, centre, size in zip(feet, lines, centres, sizes, strict=True):
        base = y + 6.0 + look.size + float(line) * deep
        right = float(centre) + size / 2 > look.width - 9.0
        at_x, anchor = (look.width - 2.0, "end") if right else (float(centre), "middle")
        if line > 0 or abs(float(centre) - x) > 0.5 * size:
            parts.append(el("path", cls="pointer",
                            d=f"M{x:.1f},{y + 5:.1f}L{centre:.1f},{base - look.size:.1f}"))
        parts.append(text(at_x, base, time, "time halo", anchor))
        parts.append(text(at_x, base + look.line, place, "quiet fine halo", anchor))
    taken = [(float(c) - s / 2, float(c) + s / 2)
             for c, s in zip(centres, sizes, strict=True)]
    parts += _round_kilometres(course.length / 1000.0, taken, look, km, y)
    return group(*parts, cls="feet"), y + 6.0 + count * deep + 0.6 * look.size


def _round_kilometres(length: float, taken: Sequence[tuple[float, float]], look: Look, km: Scale,
                      y: float) -> list[Markup]:
    out = []
    for value in nice_ticks(0.0, length, 5 if look.small else 12):
        x, words = km.at(1000.0 * value), f"{value:g}"
        half = 0.5 * width_of(words, look.size) + 4.0
        out.append(el("path", d=f"M{x:.1f},{y:.1f}v4", cls="tick"))
        if all(x + half < a or x - half > b for a, b in taken):
            out.append(text(x, y + 6.0 + look.size + look.line, words, "quiet fine", "middle"))
    return out
