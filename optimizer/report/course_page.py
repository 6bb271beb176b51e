"""The course as it was understood: road, grades, corners, air and wind, corrections, warnings."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

from optimizer.conditions.wind import height_factor
from optimizer.defaults import ZERO_CELSIUS
from optimizer.physics import lay_road
from optimizer.report.along import Reading, kilometre_axis, legs, mean_over, posts, read_out
from optimizer.report.course_map import mapped
from optimizer.report.heights import height_chart, height_sentences
from optimizer.report.page import Chart, Points, Section, Table, asset, render
from optimizer.report.svg import Axis, Band, Dots, Line, Row, clock_ticks, plot
from optimizer.report.uncertain import shown_half
from optimizer.report.words import ascent, clock, kilometres, signed_seconds

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.course import Corner, Course
    from optimizer.job.start_times import StartTime
    from optimizer.physics import Road
    from optimizer.report.page import Part
    from optimizer.report.svg import Drawing, Look

__all__ = ["CAUTION", "START_CAPTION", "START_HEADINGS", "WIND_WORDS", "corner_rows",
           "course_page", "grade_rows", "leg_rows", "profile_chart", "sentences", "start_rows",
           "start_sentence"]

CAUTION = ("Corner and descent speeds are a model's, from a track and an assumed grip. Gravel, "
           "traffic, marshals and the law come first; ride what you see, on brakes that a "
           "qualified mechanic would pass.")
_FREE = 1000.0  # m/s; a limit from there on limits nobody
_SPANS = (100.0, 500.0, 1000.0, 5000.0)  # m over which steepness is told
_TAKES_TURNS = 0.1  # of a stretch with head wind, or with tail wind, from which both are told
_GRADES = (-0.10, -0.06, -0.03, -0.01, 0.01, 0.03, 0.06, 0.10)


def course_page(course: Course, conditions: Conditions | None = None,
                starts: Sequence[StartTime] = ()) -> str:
    """Page of a course; with its weather, where `conditions` tell it."""
    sections = [Section("road", "The road", _road(course, conditions)),
                Section("corners", "Corners and limits", _corners(course))]
    if conditions is not None:
        sections.append(Section("air", "Air and wind", _air(course, conditions, starts)))
    sections.append(Section("data", "What was corrected, and what to be wary of", _data(course)))
    return render(course.name, [*sentences(course), *height_sentences(course)], sections,
                  opening=profile_chart(course), kicker="The course", foot=[CAUTION],
                  along=_readings(course, conditions), style=asset("map.css"))


# --- words and rows, for the terminal as well -----------------------------------------------


def sentences(course: Course) -> list[str]:
    """Say in a few sentences what the course is, and how far it can be trusted."""
    low, high = float(course.elevation.min()), float(course.elevation.max())
    top, place = _steepest(course, 500.0)
    out = [(f"{kilometres(course.length, 2)} with {ascent(course.ascent)} of ascent, between "
            f"{low:.0f} and {high:.0f} m.")]
    if course.length > 600.0:
        out.append(f"The steepest 500 m climb at {_percent(top)} from {kilometres(place)}.")
    dead = sum(corner.u_turn for corner in course.corners)
    if course.corners:
        slow = min(course.corners, key=lambda corner: corner.speed)
        turns = (", all of them U-turns" if dead == len(course.corners) > 1 else
                 f", {_count(dead, 'U-turn')} among them" if dead else "")
        out.append(f"{_count(len(course.corners), 'corner')} may limit speed{turns}; the "
                   f"slowest to {3.6 * slow.speed:.0f} km/h at {kilometres(slow.distance)}.")
    corrected = sum(1 for c in course.corrections)
    kinds = "One kind" if corrected == 1 else f"{corrected} kinds"
    left = f", {_count(len(course.warnings), 'warning')} left" if course.warnings else ""
    out.append(f"{kinds} of error corrected in the track{left}." if corrected else
               f"Nothing had to be corrected{left}.")
    return out


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _grade_error(course: Course) -> str:
    """Half of the 90 % range of grades over 100 m."""
    return shown_half(100 * course.grade_sd, "percentage points")


def _percent(grade: float) -> str:
    """Grade with its sign; no sign on what rounds to nothing."""
    text = f"{100 * grade:+.1f}".replace("-", "−")
    return f"{'0.0' if text[1:] == '0.0' else text} %"


def _steepest(course: Course, span: float, sign: float = 1.0) -> tuple[float, float]:
    """Steepest mean grade over `span` [m] and where it begins; up with sign 1, down with -1."""
    start = course.distance[course.distance <= course.length - span]
    if not len(start):
        start = course.distance[:1]
    end = np.minimum(start + span, course.length)
    rise = np.interp(end, course.distance, course.elevation) - np.interp(
        start, course.distance, course.elevation)
    grade = rise / np.maximum(end - start, 1e-9)
    k = int(np.argmax(sign * grade))
    return float(grade[k]), float(start[k])


def grade_rows(course: Course) -> list[tuple[str, str, str, str, str]]:
    """Steepest up and down over some lengths, each with its place."""
    rows = []
    for span in _SPANS:
        if span < course.length:
            (up, up_at), (down, down_at) = (_steepest(course, span, s) for s in (1.0, -1.0))
            rows.append((f"{span:.0f} m", _percent(up), kilometres(up_at), _percent(down),
                         kilometres(down_at)))
    return rows


def corner_rows(corners: Sequence[Corner]) -> list[tuple[str, str, str, str, str]]:
    """Place, name or kind, turn, radius and speed of each corner."""
    rows = []
    for corner in corners:
        side = "right" if corner.turn > 0 else "left"
        own = not np.isfinite(corner.radius)
        rows.append((f"{corner.distance / 1000:.2f}",
                     corner.name or ("U-turn" if corner.u_turn else ""),
                     "" if own or corner.u_turn else
                     f"{np.degrees(abs(corner.turn)):.0f}° {side}",
                     "" if own else f"{corner.radius:.0f}", f"{3.6 * corner.speed:.0f}"))
    return rows


def leg_rows(course: Course, conditions: Conditions | None) -> list[tuple[str, ...]]:
    """Stretches between marks: name, km, ascent, mean grade, and the wind of the start.

    Where head and tail wind take turns on a stretch, both are told, "+12 / −8": their mean would
    say nothing.
    """
    edges, names = legs(course)
    climb = np.concatenate([[0.0], np.cumsum(np.maximum(np.diff(course.elevation), 0.0))])
    up = np.diff(np.interp(edges, course.distance, climb))
    grade = mean_over(course.grade, course.distance, edges)
    rows = [(name, f"{a / 1000:.1f} to {b / 1000:.1f}", f"{rise:.0f}", _percent(mean)[:-2])
            for name, a, b, rise, mean in zip(names, edges[:-1], edges[1:], up, grade,
                                              strict=True)]
    if conditions is None:
        return [tuple(row) for row in rows]
    road = lay_road(course, conditions, course.distance)
    across = mean_over(np.abs(road.crosswind), course.distance, edges)
    return [(*row, words, f"{3.6 * side:.0f}") for row, words, side in zip(
        rows, _wind_along(road, course.distance, edges), across, strict=True)]


def _wind_along(road: Road, distance: NDArray[np.float64],
                edges: NDArray[np.float64]) -> list[str]:
    """Say the mean head wind of each stretch [km/h], or those of its parts ahead and behind."""
    ahead = road.headwind > 0.0
    share, head, tail, mean = (mean_over(values, distance, edges) for values in (
        ahead.astype(float), road.headwind * ahead, road.headwind * ~ahead, road.headwind))
    both = np.minimum(share, 1.0 - share) >= _TAKES_TURNS
    with np.errstate(divide="ignore", invalid="ignore"):
        parts = np.where(both, [head / share, tail / (1.0 - share)], mean)
    said = [list(dict.fromkeys(f"{round(3.6 * value):+d}" for value in pair)) for pair in parts.T]
    return [" / ".join(words).replace("+0", "0").replace("-", "−") for words in said]


def _comparable(starts: Sequence[StartTime]) -> list[StartTime]:
    """Give the starts whose whole ride the forecast covers; all, where it covers none."""
    return [start for start in starts if not start.beyond] or list(starts)


def start_sentence(starts: Sequence[StartTime]) -> str:
    """Say which start is fastest of those that the forecast covers, by how much, how surely."""
    covered = _comparable(starts)
    best, worst = (choose(covered, key=lambda s: s.finish_time) for choose in (min, max))
    said = ("With the bike as it stands, without any item of the kit table, the fastest start is "
            f"{best.start:%H:%M} ({clock(best.finish_time)}), the slowest {worst.start:%H:%M} "
            f"({signed_seconds(worst.finish_time - best.finish_time)}), among those whose whole "
            "ride the forecast covers. ")
    likely = max(covered, key=lambda s: s.chance if np.isfinite(s.chance) else -1.0)
    if np.isfinite(likely.chance):
        said += (f"It is the best of them with a chance of {_chance(best.chance)}. "
                 if likely is best else
                 f"The start that is most often best is {likely.start:%H:%M}, with a chance of "
                 f"{_chance(likely.chance)}. ")
    return said + "The forecast may change: look again that morning."


def _chance(chance: float) -> str:
    """Chance in percent, to the digits that some hundred draws give."""
    if not np.isfinite(chance):
        return "–"
    return "under 1 %" if chance < 0.005 else f"{100 * chance:.0f} %"


def start_rows(starts: Sequence[StartTime]) -> list[tuple[str, ...]]:
    """Start, finish time and its range, loss, chance to be best, mean head wind, temperature."""
    best = min(start.finish_time for start in _comparable(starts))
    rows: list[tuple[str, ...]] = [
        (f"{s.start:%H:%M}", clock(s.finish_time),
         f"{clock(s.low)} to {clock(s.high)}" if np.isfinite(s.low) else "–",
         signed_seconds(s.finish_time - best), _chance(s.chance),
         f"{3.6 * s.headwind:+.1f}".replace("-", "−"),
         f"{s.temperature - ZERO_CELSIUS:.0f}{' (beyond the forecast)' if s.beyond else ''}")
        for s in starts]
    return rows


WIND_WORDS = "head wind is positive; two figures where head and tail wind take turns"
START_CAPTION = ("Each start on its own best plan; ranges and chances over the weather alone. The "
                 "range of a plan is wider: it counts rider, kit and road as well")
START_HEADINGS = ("Start", "time", "90 % range,\nwind alone", "loss", "best, chance", "head, km/h",
                  "°C")


# --- sections -------------------------------------------------------------------------------


def _road(course: Course, conditions: Conditions | None) -> list[Part]:
    beside = height_chart(course)
    return [*([beside] if beside else []), mapped(course, conditions), _grades(course)]


def profile_chart(course: Course) -> Chart:
    """Height and grade, and the speeds that corners and caps allow."""
    km = course.distance / 1000.0
    limit = np.where(np.isfinite(course.speed_limit), 3.6 * course.speed_limit, np.nan)
    low, high = float(course.elevation.min()), float(course.elevation.max())
    rows = [
        Row("height, m", [
            Band(km, np.full(len(km), low - 0.05 * max(high - low, 10.0)), course.elevation,
                 "ground"), Line(km, course.elevation)], 120.0),
        Row("grade over 100 m, %", [Line(km, 100.0 * _over_hundred(course), "thin", steps=True)],
            70.0, zero=True),
        Row("speed that corners allow, km/h (up to 100)",
            [Line(km, np.minimum(limit, 100.0), "thin")], 60.0, zero=True, low=0.0, high=100.0)]
    table = Table(("Stretch", "km", "ascent, m", "mean grade, %"), leg_rows(course, None),
                  "Stretches between the marks", stretches=_stretches(course))
    top, place = _steepest(course, min(500.0, 0.5 * course.length))
    return Chart("profile", "How steep, where?", lambda look: plot(
        look, kilometre_axis(course), rows, posts=posts(course), names=True), table,
        f"Steepest from {kilometres(place)}: {_percent(top)} over 500 m; highest at "
        f"{kilometres(course.distance[int(np.argmax(course.elevation))])}.",
        note=("Upright lines are the marks of the map. " if course.marks else "")
        + "The lowest row includes the braking before each corner.",
        kilometres=course.length / 1000.0)


def _stretches(course: Course) -> list[tuple[float, float]]:
    """Kilometres of the stretches between the marks."""
    return [(a / 1000.0, b / 1000.0) for a, b in itertools.pairwise(legs(course)[0])]


def _readings(course: Course, conditions: Conditions | None) -> dict[str, object]:
    """Give what is said of a place: height, grade, and the wind where it is known."""
    found = [Reading("height", course.elevation, "m"),
             Reading("grade over 100 m", 100.0 * _over_hundred(course), "%", 1),
             Reading("speed limit", np.where(course.speed_limit < _FREE, 3.6 * course.speed_limit,
                                             np.nan), "km/h")]
    if conditions is not None:
        road = lay_road(course, conditions, course.distance)
        found += [Reading("wind along the road", 3.6 * road.headwind, "km/h", 0,
                          ("against you", "from behind")),
                  Reading("wind across", 3.6 * np.abs(road.crosswind), "km/h")]
    return read_out(course.distance, found)


def _over_hundred(course: Course) -> NDArray[np.float64]:
    """(n,) mean grade over the 100 m about each step."""
    middle = 0.5 * (course.distance[1:] + course.distance[:-1])
    a, b = np.maximum(middle - 50.0, 0.0), np.minimum(middle + 50.0, course.length)
    height = [np.interp(at, course.distance, course.elevation) for at in (a, b)]
    return np.asarray((height[1] - height[0]) / np.maximum(b - a, 1e-9))


def _grades(course: Course) -> Table:
    step = np.diff(course.distance)
    over = _over_hundred(course)
    edges = [-np.inf, *_GRADES, np.inf]
    rows = []
    for low, high in itertools.pairwise(edges):
        inside = (over >= low) & (over < high)
        name = (f"below {_percent(high)}" if not np.isfinite(low) else
                f"above {_percent(low)}" if not np.isfinite(high) else
                f"{_percent(low)[:-2]} to {_percent(high)}")
        length = float(step[inside].sum())
        if length > 0:
            rows.append((name, f"{length / 1000:.1f}", f"{100 * length / course.length:.0f} %"))
    uncertainty = (f"; grades over 100 m are uncertain by {_grade_error(course)}"
                   if course.grade_sd else "")
    return Table(("Grade over 100 m", "km", "of the course"), rows,
                 f"How much of which grade{uncertainty}")


def _corners(course: Course) -> list[Part]:
    steep = Table(("Over", "up", "from", "down", "from"), grade_rows(course), "Steepest parts",
                  left=(0,))
    if not course.corners:
        return ["No corner on this course limits speed.", steep]
    return [Table(("km", "corner", "turn", "radius, m", "km/h"), corner_rows(course.corners),
                  "Corners that may limit speed", left=(1, 2)),
            ("Speeds come from the radius of the line through the corner and the share of grip "
             "that the rider uses. A corner that is tighter or dirtier than the track shows, or "
             "that you know better, can have its own speed in the scenario."), steep]


def _air(course: Course, conditions: Conditions, starts: Sequence[StartTime]) -> list[Part]:
    road = lay_road(course, conditions, course.distance)
    least, most = road.air_density.min(), road.air_density.max()
    density = f"{least:.3f}" if most - least < 0.0005 else f"{least:.3f} to {most:.3f}"
    gust = float(conditions.gust.max())
    words = [(f"Air density {density} kg/m³ along the course; wind at the rider, about 1.2 m "
              f"above the road, is {100 * _left(course, conditions):.0f} % of that at "
              f"{conditions.wind_height:.0f} m on average.")]
    if gust > 14.0:
        words.append(f"Gusts to {3.6 * gust:.0f} km/h are forecast: deep wheels and hands on "
                     "extensions are a risk in such wind.")
    parts: list[Part] = [" ".join(words), _wind(course, conditions, road)]
    if starts:
        parts += [start_sentence(starts), _starts(starts)]
    return parts


def _left(course: Course, conditions: Conditions) -> float:
    """Mean share of the forecast wind that reaches the rider."""
    factor = course.shelter * height_factor(course.roughness, reference=conditions.wind_height)
    return float(np.average(factor, weights=np.diff(course.distance)))


def _wind(course: Course, conditions: Conditions, road: Road) -> Chart:
    km = course.distance / 1000.0
    head, side = 3.6 * road.headwind, 3.6 * np.abs(road.crosswind)
    table = Table(("Stretch", "km", "ascent, m", "mean grade, %", "wind along, km/h",
                   "across, km/h"), leg_rows(course, conditions),
                  f"Stretches between the marks; {WIND_WORDS}",
                  stretches=_stretches(course))
    share = float(np.average(head > 0, weights=np.diff(course.distance)))
    rows = [Row("km/h at the rider; head wind is up", [
        Line(km, head, "ink", "along the road", steps=True),
        Line(km, side, "thin dot-line", "across", steps=True)], 100.0, zero=True)]
    return Chart("wind", "Where does the wind help, and where not?", lambda look: plot(
        look, kilometre_axis(course), rows, posts=posts(course)), table,
        f"Head wind on {100 * share:.0f} % of the course, up to {max(head.max(), 0.0):.0f} km/h; "
        f"across up to {side.max():.0f} km/h.",
        note="As forecast for the start; a plan takes the wind as it is when the rider comes by.",
        kilometres=course.length / 1000.0)


def _starts(starts: Sequence[StartTime]) -> Chart:
    minutes = np.array([(s.start - starts[0].start).total_seconds() / 60.0 for s in starts])
    times = np.array([s.finish_time for s in starts])
    beyond = np.array([s.beyond for s in starts])
    first = min(_comparable(starts), key=lambda start: start.finish_time)
    best = list(starts).index(first)
    ticks = tuple((float(m), f"{s.start:%H:%M}") for m, s in zip(minutes, starts, strict=True))

    def draw(look: Look) -> Drawing:
        marks = tuple((t, clock(t)) for t in clock_ticks(times.min(), times.max(), 5))
        return plot(look, Axis(float(minutes[0]), max(float(minutes[-1]), 1.0), "start", ticks), [
            Row("finish time", [Line(minutes, times, "plan"),
                                Dots(minutes[~beyond], times[~beyond], "plan", filled=False),
                                Dots(minutes[beyond], times[beyond], "faint", size=1.8),
                                Dots(minutes[[best]], times[[best]], "plan", "diamond", 4.5)],
                120.0, ticks=marks)])
    table = Table(START_HEADINGS, start_rows(starts), START_CAPTION, left=(0,))
    return Chart("starts", "When is the best time to start?", draw, table,
                 f"The fastest start is {first.start:%H:%M}, {clock(first.finish_time)}.",
                 note="Each start has its own plan, on the bike as the scenario enters it, without "
                      "items of the catalogue, and in the wind that "
                      "is forecast for when the rider comes by." + (
                          " Small circles: the forecast ends before the ride does."
                          if beyond.any() else ""))


def _data(course: Course) -> list[Part]:
    parts: list[Part] = []
    if course.warnings:
        parts.append(Points(course.warnings))
    if course.corrections:
        parts.append(Table(
            ("Error", "found", "what was done", "name"),
            [(c.what, f"{c.count:,}", c.effect, c.option or "–") for c in course.corrections],
            "Corrections. A name leaves one undone: --keep NAME, or keep in the scenario",
            left=(0, 2, 3)))
    else:
        parts.append("Nothing had to be corrected.")
    if course.elevation_sd:  # 0: heights that were taken as they are tell nothing of it
        parts.append(f"Heights are uncertain by {shown_half(course.elevation_sd, 'm')} against "
                     f"each other, grades over 100 m by {_grade_error(course)}. ± is half of the "
                     "90 % range, from the noise in the data; an error that stays the same over a "
                     "long way cannot be seen.")
    return parts
