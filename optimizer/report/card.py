"""The card: the lines to ride on a slip for pocket or top tube, as HTML, GPX, FIT or CSV.

What it says is enough to ride it literally: figures, rules in few words, positions.
"""

from __future__ import annotations

import csv
import io
import math
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from optimizer.course import Mark
from optimizer.course.smoothing import runs_of
from optimizer.errors import InputError
from optimizer.files import write_atomic
from optimizer.pacing.positions import HANDS_OFF_BRAKES, braking_steps
from optimizer.pacing.terrain import felt_slope
from optimizer.report.cautions import card_cautions
from optimizer.report.fit_course import course_fit
from optimizer.report.held import fork_line, fork_rule, risk_rule
from optimizer.report.page import Table, asset, bare
from optimizer.report.slip import Slip, SlipLine, slips
from optimizer.report.spreadsheet import harmless
from optimizer.report.weather import steady
from optimizer.report.words import clock, kilometres, listing, watts

if TYPE_CHECKING:
    from optimizer.course import Course
    from optimizer.job import Result
    from optimizer.pacing import Block, RideablePlan

__all__ = ["LINE_HEADINGS", "card_csv", "card_fit", "card_fragment", "card_gpx", "card_lines",
           "card_page", "card_places", "card_rules", "card_text", "changes_words",
           "coasting_words", "day_words", "even_marks", "figures", "line_cells", "position_reason",
           "position_words", "powers_of", "ridden_on", "start_words", "write_card"]

LINE_HEADINGS = ("What comes", "From", "km", "Power")
"""Of the columns that `line_cells` fills."""

_NEAR = 0.9  # of the pedalling speed or the power limit, below which nobody needs the rule
_SPELLS = 12  # changes of position that a card can list
_TO = "\u2060–\u2060"  # without a line end beside it
_PLACES = 9  # marks on a card of one line
_EVEN_PLACES = 8  # distances on a card whose course has no marks
_STEPS = ((10, 2), (30, 5), (100, 10), (math.inf, 20))  # km of course, km between distances
_NO_POWER = 1.0  # W; less is not pedalled
_MUCH = 0.2  # of a block's time, from which coasting is worth a word
_FIRST = 0.1  # of a block, from which its first position is named
_HERE = 20.0  # m, within which a line begins at a mark
_ROUGH = 1.4  # times the rolling resistance of most of the road, from which it is felt as rough
_MOSTLY = 0.5  # of a stretch, that climbs or descends
_FEW = 4  # lines beside which there is room for the clock at distances


def write_card(result: Result, path: Path | str, *, change: str = "") -> Path:
    """Write the card as `card_text` gives it. Raises InputError as that does."""
    return write_atomic(path, card_text(result, path, change=change))


def card_text(result: Result, path: Path | str, *, change: str = "") -> str | bytes:
    """Give the card; the suffix of `path` says how: .html, .gpx, .fit or .csv.

    `change` says in a few words what is new, such as `day_words`; it stands on the HTML card.
    Raises InputError for another suffix, or for GPX and FIT without coordinates.
    """
    suffix = Path(path).suffix.lower()
    if suffix in {".html", ".htm"}:
        return card_page(result, change=change)
    if suffix == ".csv":
        return "\ufeff" + card_csv(result)
    if suffix in {".gpx", ".fit"}:
        course = result.job.course
        if not (np.ptp(course.latitude) or np.ptp(course.longitude)):
            raise InputError(str(path), "", f"a {suffix[1:].upper()} card needs a course with "
                             "coordinates", "write the card as .html or .csv")
        return card_gpx(result) if suffix == ".gpx" else card_fit(result)
    raise InputError(str(path), "",
                     f"a card cannot be written as {suffix or 'a file without an ending'}",
                     "end the name in .html, .gpx, .fit or .csv")


def card_fit(result: Result) -> bytes:
    """Give the course for a head unit, with a course point where a line begins."""
    return course_fit(result, [
        (block.start, "/".join(f"{power:.0f}" for _, power in figures(block)) + " W")
        for block in result.rideable.blocks])


def card_page(result: Result, *, change: str = "") -> str:
    """Give the card as a page of its own."""
    return bare(f"Card for {result.job.rider.name}, {result.job.course.name}",
                Markup("<h1>Card for {}, {}</h1>{}").format(
                    result.job.rider.name, result.job.course.name, _slip(result, change)),
                asset("card.css") + asset("card_page.css"))


def card_fragment(result: Result) -> Markup:
    """Give the card within the report; its script adds the buttons to print and save it."""
    return Markup('<figure id="card" aria-labelledby="card-h"><figcaption><h3 id="card-h">The card'
                  "</h3></figcaption>{}</figure>").format(_slip(result, ""))


def figures(block: Block) -> list[tuple[str, float]]:
    """Give the powers of a line [W] with what each is for: climbs, flat, descents, or all of it."""
    if block.climb is None and block.descent is None:
        return [("", block.power)]
    found = [("climbs", block.climb), ("flat", block.power), ("descents", block.descent)]
    return [(words, power) for words, power in found if power is not None]


def powers_of(block: Block) -> str:
    """Say the powers of a line in words, as in "climbs 206 W, flat 175 W"."""
    return ", ".join(f"{words} {watts(power)}".strip() for words, power in figures(block))


def ridden_on(result: Result, block: Block) -> tuple[float, float]:
    """Give the mean power ridden on a block [W], and the share of its time that is not pedalled."""
    at, ridden = result.plan.distance, result.rideable
    middle = 0.5 * (at[1:] + at[:-1])
    inside = (middle >= block.start) & (middle <= block.end)
    time, power = np.diff(ridden.time)[inside], ridden.power[inside]
    if not inside.any():
        return block.mean, 0.0
    share = time / time.sum()
    return float(power @ share), float(share[power < _NO_POWER].sum())


def coasting_words(result: Result, block: Block) -> str:
    """Say how much of a block is not pedalled; empty where that is little."""
    share = ridden_on(result, block)[1]
    return f"coasting {100 * share:.0f} % of the time" if share >= _MUCH else ""


def position_words(result: Result, block: Block) -> str:
    """Name the position of a block; where it changes, the first one and the usual one."""
    spells = _spells_within(result, block)
    lengths: dict[str, float] = {}
    for a, b, name in spells:
        lengths[name] = lengths.get(name, 0.0) + b - a
    usual = max(lengths, key=lambda name: lengths[name])
    if len(lengths) == 1:
        return usual
    _, end, first = spells[0]
    if first != usual and end - block.start >= _FIRST * (block.end - block.start):
        return f"{first} to km {end / 1000:.1f}, then mostly {usual}"
    return f"mostly {usual}"


def day_words(result: Result) -> str:
    """Say in a few words for which wind and start a card of the race morning is made."""
    air = steady(result)
    east, north = float(air.wind_east[0, 0]), float(air.wind_north[0, 0])
    speed = f"{3.6 * math.hypot(east, north):.0f}"
    wind = "no wind" if speed == "0" else (
        f"wind {speed} km/h from {math.degrees(math.atan2(-east, -north)) % 360:.0f}°")
    start = f", start {air.start_time:%H:%M}" if air.start_time else ""
    return f"{wind[:1].upper()}{wind[1:]}{start}"


def changes_words(card: RideablePlan) -> str:
    """Say how often a card with figures for climbs and descents changes the power; else empty."""
    if all(block.climb is None and block.descent is None for block in card.blocks):
        return ""
    return f" It changes the power {np.count_nonzero(np.diff(card.asked))} times on the way."


def start_words(result: Result, block: Block) -> str:
    """Say where a line begins: its mark or turn, else the kilometres still to go, or of its lap."""
    laps = result.rideable.laps
    if block.place:
        return block.place
    if laps is not None and laps.edges[0] <= block.start < laps.edges[-1]:
        return f"{kilometres(float(laps.within(block.start)[1]))} into each lap"
    return f"{kilometres(result.job.course.length - block.start)} to go"


def line_cells(result: Result, block: Block) -> tuple[str, str, str, str]:
    """Give the cells of a line as tables on screen show it, below `LINE_HEADINGS`."""
    return (block.comes, start_words(result, block), f"{block.start / 1000:.1f}",
            ", ".join(filter(None, (powers_of(block), coasting_words(result, block)))))


def card_lines(result: Result) -> Table:
    """Set out the lines of the card."""
    return Table(LINE_HEADINGS, [line_cells(result, block) for block in result.rideable.lines],
                 "The card", left=(0, 1, 3))


def card_rules(result: Result) -> list[str]:
    """Say in few words what else a rider does who takes the card literally: cautions first."""
    return [*_cautions(result), *_riding_rules(result)]


def _cautions(result: Result) -> list[str]:
    """Say what can hurt: wind, corners, brakes and rough road."""
    corners = ["Hands at the brakes in corners."] if result.job.course.corners else []
    return [*card_cautions(result), *corners, "Brakes on: no pedalling.",
            *_rough_rules(result.job.course)]


def _riding_rules(result: Result) -> list[str]:
    """Say how the powers are meant and which position is ridden where."""
    ridden, risk = result.rideable, risk_rule(result)
    rules = [risk] if risk else []
    if ridden.even:
        rules.append("One power all the way: more lines would save next to nothing.")
    if any(block.climb is not None or block.descent is not None for block in ridden.blocks):
        rules.append("Climb or descent: the road plainly rises or falls (1.5 m or more in "
                     "100 m) for 300 m or more. What is shorter counts as flat.")
    fast = 3.6 * ridden.pedalling_speed
    if 3.6 * float(np.max(ridden.speed)) > _NEAR * fast:
        rules.append(f"Coast above {fast:.0f} km/h.")
    if float(np.max(ridden.asked)) > _NEAR * ridden.ceiling:
        rules.append(f"Never above {watts(ridden.ceiling)}.")
    fork = fork_rule(result)
    return [*rules, *([fork] if fork else []), *_position_rules(result)]


def _rough_rules(course: Course) -> list[str]:
    """Say where the road is clearly rougher than for most of the way."""
    factor, at = course.rolling_factor, course.distance
    order = np.argsort(factor)
    along = np.cumsum(np.diff(at)[order])
    usual = factor[order][np.searchsorted(along, 0.5 * along[-1])]
    spells = [(at[a], at[b]) for a, b in runs_of(factor >= _ROUGH * usual)]
    if not spells:
        return []
    where = (f"on {len(spells)} stretches" if len(spells) > _SPELLS else "km\u00a0" + ", ".join(
        _from_to(a, b) for a, b in spells))
    return [f"Rough road {where}: hands firm."]


def _spells(result: Result) -> list[tuple[float, float, str]]:
    """Stretches of the ride in one position: from, to [m], name."""
    names = [position.name for position in result.job.rider.positions]
    used = result.plan.problem.position
    edges = np.flatnonzero(np.diff(used, prepend=-1, append=-1))
    at = result.plan.distance
    return [(float(at[a]), float(at[b]), names[used[a]]) for a, b in pairwise(edges)]


def position_reason(result: Result, start: float, end: float, name: str) -> tuple[str, str]:
    """Say why a stretch [m] is ridden in a position, in words for a card and for a table.

    Where the plan brakes, hands belong at the brakes; on climbs speed is low and power counts.
    Both are empty where the road does not tell the reason.
    """
    plan = result.plan
    limit, way = plan.problem.speed_limit[1:], felt_slope(plan.problem)
    middle = 0.5 * (plan.distance[1:] + plan.distance[:-1])
    inside = (middle > start) & (middle < end)
    # A limit at the pedalling speed is where coasting begins, which takes no brakes.
    brakes = (inside & braking_steps(plan, plan.problem.speed_limit)
              & ~np.isclose(limit, result.rideable.pedalling_speed))
    on_bars = name.lower() in HANDS_OFF_BRAKES
    if brakes.any() and not on_bars:
        return "to brake", f"brakes, down to {3.6 * float(limit[brakes].min()):.0f} km/h"
    if np.mean(way[inside] > 0) > _MOSTLY:
        return "to climb", "climb"
    if np.mean(way[inside] < 0) > _MOSTLY and not on_bars:
        return "downhill", "descent, hands near the brakes"
    return "", ""


def _position_rules(result: Result) -> list[str]:
    """Say which position is ridden where."""
    names = [position.name for position in result.job.rider.positions]
    if len(names) == 1:
        return []
    spells = _spells(result)
    lengths = {name: sum(b - a for a, b, which in spells if which == name) for name in names}
    usual = max(names, key=lambda name: lengths[name])
    others = [spell for spell in spells if spell[2] != usual]
    if not others:
        return [f"{usual.capitalize()} all the way."]
    if len(others) > _SPELLS:
        return [f"{usual.capitalize()}, but {len(others)} times not: the report says where."]
    where = []
    why = [f"{name} {position_reason(result, a, b, name)[0]}".strip() for a, b, name in others]
    for words in dict.fromkeys(why):
        at = ", ".join(_from_to(a, b) for (a, b, _), its in zip(others, why, strict=True)
                       if its == words)
        where.append(f"{words} km\u00a0{at}")
    return [f"{usual.capitalize()}, but {'; '.join(where)}."]


def _from_to(start: float, end: float) -> str:
    """Say a stretch [m] in kilometres; one that is too short for that by its end."""
    begin, close = f"{start / 1000:.1f}", f"{end / 1000:.1f}"
    return close if begin == close else f"{begin}{_TO}{close}"


def _slip(result: Result, change: str) -> Markup:
    """Set lines with what comes, watts and the time on the clock where each begins."""
    course, ridden = result.job.course, result.rideable
    several = len({block.position for block in ridden.blocks}) > 1
    lines = [_line(result, block, several) for block in ridden.lines]
    laps = _lap_words(result)
    rules = [*_cautions(result), *([laps] if laps else []), *_riding_rules(result)]
    own = bool(course.split_marks)
    places = [(mark.distance, mark.name if own else
               f"{kilometres(course.length - mark.distance).replace('.0 ', ' ')} to go",
               clock(_clock(result, mark.distance))) for mark in card_places(result)]
    clocks = [_at_distance(result, mark) for mark in _between(result, own=own)]
    return slips(Slip(course.name, clock(ridden.finish_time), lines, course.distance,
                      course.elevation, rules, change, places, clocks))


def _between(result: Result, *, own: bool) -> list[Mark]:
    """Give the marks of a card of several lines where no line begins.

    Without marks, a card of few lines has them at even distances.
    """
    lines = result.rideable.lines
    if len(lines) == 1:
        return []
    if not own:
        return even_marks(result) if len(lines) <= _FEW else []
    starts = [block.start for block in result.rideable.blocks]
    return [mark for mark in result.job.course.split_marks
            if min(abs(mark.distance - start) for start in starts) > _HERE]


def card_places(result: Result) -> list[Mark]:
    """Give the marks that a card of one line shows: all, or some evenly chosen.

    A course without marks has them at even distances.
    """
    if len(result.rideable.lines) > 1:
        return []
    marks = result.job.course.split_marks
    if not marks:
        return even_marks(result)
    some = np.linspace(0, len(marks) - 1, min(len(marks), _PLACES)).round().astype(int)
    return [marks[k] for k in some]


def even_marks(result: Result) -> list[Mark]:
    """Give marks at even distances, at most eight; none just before the finish."""
    length = result.job.course.length / 1000.0
    step = next(step for most, step in _STEPS if length < most)
    while length / step > _EVEN_PLACES + 1:
        step *= 2
    count = math.ceil(length / step - 0.2) - 1
    return [Mark(f"{k * step} km", 1000.0 * k * step) for k in range(1, count + 1)]


def _at_distance(result: Result, mark: Mark) -> str:
    """Say a mark and the time on the clock there, on one line."""
    return f"{mark.name} {clock(_clock(result, mark.distance))}".replace(" ", "\u00a0")


def _line(result: Result, block: Block, several: bool) -> SlipLine:
    """One line, with one power or with those of climbs, flat and descents."""
    powers = {words: f"{power:.0f}" for words, power in figures(block)}
    more = "; ".join(words for words in (
        start_words(result, block), position_words(result, block) if several else "",
        coasting_words(result, block)) if words)
    one = powers.get("")
    return SlipLine(block.start, block.comes, one if one is not None else (
        powers.get("climbs", "–"), powers["flat"], powers.get("descents", "–")),
        clock(_clock(result, block.start)), more)


def _lap_words(result: Result) -> str:
    """Say which lines come again, and when each lap begins."""
    laps = result.rideable.laps
    if laps is None or len(result.rideable.lines) == 1:
        return ""
    begins = [clock(_clock(result, edge)) for edge in laps.edges[1:-1]]
    return (f"{laps.count} laps of {kilometres(laps.length)} alike; the next "
            f"{'ones begin' if len(begins) > 1 else 'one begins'} at {listing(begins)}.")


def _clock(result: Result, distance: float) -> float:
    """Elapsed seconds at a place [m]."""
    return float(np.interp(distance, result.plan.distance, result.rideable.time))


def card_csv(result: Result) -> str:
    """Give the card as CSV, a row a block in the order of the road: enough to ride it literally.

    `climb_w` and `descent_w` are for road steeper than 1.5 %, felt over 120 m, for 300 m or more;
    where they are empty `power_w` is for all of the block. `position` says where it changes inside
    of it. Where there is one decision on the way, `to_fork_w` is ridden up to `fork_km` in place of
    `power_w`, and after it the column of the day.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(["line", "place", "what_comes", "start_km", "end_km", "to_go_km", "power_w",
                     "climb_w", "descent_w", "mean_w", "position", "never_above_w",
                     "coast_above_kmh", "elapsed_s", "elapsed", *_fork_headings(result)])
    ridden, length = result.rideable, result.job.course.length
    for block in ridden.blocks:
        start = _clock(result, block.start)
        fast = 3.6 * ridden.pedalling_speed
        writer.writerow([
            block.line + 1, harmless(block.place), block.comes, f"{block.start / 1000:.3f}",
            f"{block.end / 1000:.3f}", f"{(length - block.start) / 1000:.3f}", f"{block.power:g}",
            *("" if power is None else f"{power:g}" for power in (block.climb, block.descent)),
            f"{ridden_on(result, block)[0]:.0f}", harmless(_positions_within(result, block)),
            f"{ridden.ceiling:g}", f"{fast:g}" if np.isfinite(fast) else "", f"{start:.1f}",
            clock(start), *_fork_columns(result, block)])
    return out.getvalue()


def _fork_headings(result: Result) -> list[str]:
    """Columns of a decision on the way, where the plan has one."""
    if result.fork is None:
        return []
    days = [f"{branch.name.replace(' ', '_')}_w" for branch in result.fork.branches]
    return ["fork_km", "to_fork_w", *days]


def _fork_columns(result: Result, block: Block) -> list[str]:
    if result.fork is None:
        return []
    line = fork_line(result, block)
    return [f"{result.fork.place / 1000:.3f}", "" if line.before is None else f"{line.before:g}",
            *(f"{power:g}" for power in line.after),
            *("" for _ in result.fork.branches if not line.after)]


def _positions_within(result: Result, block: Block) -> str:
    """Name the position at the start of a block, then each change with its kilometre."""
    spells = _spells_within(result, block)
    return ", ".join([spells[0][2],
                      *(f"from km {a / 1000:.3f} {name}" for a, _, name in spells[1:])])


def _spells_within(result: Result, block: Block) -> list[tuple[float, float, str]]:
    """Stretches of a block in one position: from, to [m], name."""
    return [(max(a, block.start), min(b, block.end), name) for a, b, name in _spells(result)
            if b > block.start + 0.5 and a < block.end - 0.5]


def card_gpx(result: Result) -> str:
    """Give the course as GPX 1.1 with a waypoint where each block begins and at each mark."""
    from gpxpy import gpx

    course, blocks = result.job.course, result.rideable
    out = gpx.GPX()
    out.creator = "kitpace"
    out.name = _printable(f"{course.name}: {clock(blocks.finish_time)}")
    out.description = _printable(" ".join(
        [f"Card for {result.job.rider.name}.", *card_rules(result)]))

    def waypoint(distance: float, name: str, words: str, kind: str) -> None:
        latitude, longitude, height = (
            float(np.interp(distance, course.distance, values))
            for values in (course.latitude, course.longitude, course.elevation))
        out.waypoints.append(gpx.GPXWaypoint(
            round(latitude, 6), round(longitude, 6), elevation=round(height, 1),
            name=_printable(name), description=_printable(words), type=kind))

    for block in blocks.blocks:
        powers = " / ".join(f"{power:.0f}" for _, power in figures(block))
        said = ", ".join(f"{words} {watts(power)}".strip() for words, power in figures(block))
        words = (f"{said}: {block.comes}. From {kilometres(block.start)} "
                 f"({start_words(result, block)}) to {kilometres(block.end)}; clock "
                 f"{clock(_clock(result, block.start))}")
        waypoint(block.start, f"{powers} W", words, "block")
    for mark in course.marks or even_marks(result):
        elapsed = float(np.interp(mark.distance, result.plan.distance, blocks.time))
        waypoint(mark.distance, mark.name, f"{mark.distance / 1000:.1f} km; clock {clock(elapsed)}",
                 "mark")
    segment = gpx.GPXTrackSegment([
        gpx.GPXTrackPoint(round(float(a), 6), round(float(b), 6), elevation=round(float(h), 1))
        for a, b, h in zip(course.latitude, course.longitude, course.elevation, strict=True)])
    out.tracks.append(gpx.GPXTrack(name=_printable(course.name)))
    out.tracks[0].segments.append(segment)
    return str(out.to_xml(version="1.1"))


def _printable(text: str) -> str:
    """Text without the control characters that XML does not allow."""
    return "".join(c for c in text if c.isprintable() or c == "\n")
