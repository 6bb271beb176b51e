"""Pictures along the course: the plan in detail, what energy is worth, where kit wins time."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.physics import lay_road
from optimizer.report.along import Reading, kilometre_axis, legs, mean_over, posts, read_out
from optimizer.report.current import current_kit
from optimizer.report.page import Chart, Table
from optimizer.report.stated import stated
from optimizer.report.svg import Line, Row, plot
from optimizer.report.words import clock, kilometres, seconds, signed_seconds

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.course import Course
    from optimizer.job import Result
    from optimizer.report.svg import Drawing, Look

_FULL = 0.995  # of the reserve, from where nothing of it is used
_STARTED = 0.5  # of the mean speed, from which a ride is under way

__all__ = ["power_rows", "readings", "strip", "value_of_energy", "where_won"]


def readings(result: Result) -> dict[str, Any]:
    """Give what is said of a place: elapsed time, then height, wind, power, speed, reserve."""
    plan, blocks, course = result.plan, result.rideable, result.job.course
    return read_out(plan.distance, [
        Reading("ride", blocks.power, "W"),
        Reading("ideal", plan.power, "W"),
        Reading("speed", 3.6 * blocks.speed, "km/h"),
        Reading("wind along the road", 3.6 * plan.problem.headwind, "km/h", 0,
                ("against you", "from behind")),
        Reading("grade", 100.0 * plan.problem.grade, "%", 1),
        Reading("height", np.interp(plan.distance, course.distance, course.elevation), "m"),
        Reading("reserve", blocks.reserve / 1000.0, "kJ", 1)], stated(result).time)


def strip(result: Result) -> Chart:
    """Draw what is ridden and the ideal plan: power, speed and reserve."""
    plan, blocks = result.plan, result.rideable
    x = plan.distance / 1000.0
    rows = [
        Row("power, W", [
            Line(x, plan.power, "plan thin", "ideal", steps=True),
            Line(x, blocks.power, "ink", "by the card", steps=True)],
            110.0, zero=True, low=0.0),
        Row("speed, km/h", [Line(x, 3.6 * plan.speed, "plan thin"),
                            Line(x, 3.6 * blocks.speed, "ink")], 70.0),
        Row("reserve (W′), kJ: work left above critical power", [
            Line(x, plan.reserve / 1000.0, "plan thin"),
            Line(x, blocks.reserve / 1000.0, "ink")], 64.0, zero=True, low=0.0)]
    low = int(np.argmin(blocks.reserve))
    return Chart(
        "strip", "What is ridden, and what would be ideal?", _along(result.job.course, rows),
        _strip_table(result),
        f"{_speeds(result)}; the reserve "
        + ("stays full, so W′ counts only through the effort limit for this duration."
           if blocks.reserve[low] > _FULL * blocks.reserve[0] else
           f"is least at {kilometres(plan.distance[low])}, {blocks.reserve[low] / 1000:.1f} kJ."),
        kilometres=result.job.course.length / 1000.0)


def _speeds(result: Result) -> str:
    """Say between which speeds the card is ridden once the start is over, and where it is slow."""
    at, speed = result.plan.distance, result.rideable.speed
    under_way = int(np.argmax(speed >= _STARTED * at[-1] / result.rideable.time[-1]))
    slow = under_way + int(np.argmin(speed[under_way:]))
    return (f"Once under way, speed lies between {3.6 * speed[slow]:.0f} (at "
            f"{kilometres(at[slow])}) and {3.6 * speed.max():.0f} km/h")


def _along(course: Course, rows: Sequence[Row]) -> Any:
    """Draw rows over the kilometres of the course, with its marks."""
    def draw(look: Look) -> Drawing:
        return plot(look, kilometre_axis(course), rows, posts=posts(course))
    return draw


def value_of_energy(result: Result) -> Chart:
    """Draw the seconds that one more kJ wins, by place."""
    plan, course = result.plan, result.job.course
    value = 1000.0 * plan.seconds_per_joule
    edges, names = legs(course)
    mean = mean_over(value, plan.distance, edges)
    rows = [(name, _from_to(a, b), f"{v:.2f}")
            for name, (a, b), v in zip(names, pairwise(edges), mean, strict=True)]
    most, least = int(np.argmax(mean)), int(np.argmin(mean))
    finding = (f"Worth most from {names[most]} ({mean[most]:.2f} s per kJ), least from "
               f"{names[least]} ({mean[least]:.2f} s per kJ)." if len(rows) > 1 else
               f"On average {mean[0]:.2f} s per kJ.")
    return Chart(
        "energy", "Where is one more kJ worth most?", _along(course, [Row(
            "seconds won per kJ", [Line(plan.distance / 1000.0, value, "plan", steps=True)], 90.0,
            zero=True)]),
        Table(("Stretch", "km", "s per extra kJ"), rows,
              "Seconds won by one more kJ at the cranks, given for free on the stretch"), finding,
        note="Where the line is high, effort pays; where it is flat, the plan already spends "
             "evenly.", half=True, kilometres=course.length / 1000.0)


def where_won(result: Result) -> Chart:
    """Draw the seconds gained by the chosen kit against the current kit, along the course."""
    plan, before, course = result.plan, result.baseline_plan, result.job.course
    lead = np.interp(plan.distance, before.distance, before.time) - plan.time
    edges, names = legs(course)
    at = np.interp(edges, plan.distance, lead)
    won = np.diff(at)
    rows = [(name, _from_to(a, b), signed_seconds(w), signed_seconds(end))
            for name, (a, b), w, end in zip(names, pairwise(edges), won, at[1:], strict=True)]
    k = int(np.argmax(won))
    against = current_kit(result.job.catalogue, result.choice.owned, "the")
    return Chart(
        "won", "Where does the kit win its seconds?", _along(course, [Row(
            f"seconds ahead of {against}", [Line(plan.distance / 1000.0, lead, "plan")], 90.0,
            zero=True)]),
        Table(("Stretch", "km", "won here", "won so far"), rows,
              f"Best kit against {against}, each on its own best plan"),
        f"{seconds(float(at[-1]))} in all" + (
            f", {seconds(float(won[k]))} of it from {names[k]}." if len(rows) > 1 else "."),
        note="Each kit rides its own best plan, so a stretch can lose a little that another one "
             "wins back.", half=True, kilometres=course.length / 1000.0)


def power_rows(result: Result) -> list[tuple[str, str, str]]:
    """Name, kilometres and mean power of the ideal plan, stretch by stretch."""
    plan = result.plan
    edges, names = legs(result.job.course)
    work = np.concatenate([[0.0], np.cumsum(plan.power * np.diff(plan.time))])
    mean = np.diff(np.interp(edges, plan.distance, work)) / np.diff(
        np.interp(edges, plan.distance, plan.time))
    return [(name, _from_to(a, b), f"{watts:.0f}")
            for name, (a, b), watts in zip(names, pairwise(edges), mean, strict=True)]


def _strip_table(result: Result) -> Table:
    plan, blocks, course = result.plan, result.rideable, result.job.course
    edges, names = legs(course)
    road = lay_road(course, result.job.conditions, plan.distance)
    grade, wind = (mean_over(values, plan.distance, edges) for values in (
        100.0 * road.grade, 3.6 * plan.problem.headwind))
    done = np.concatenate([[0.0], np.cumsum(blocks.power * np.diff(blocks.time))])
    time, work, reserve = (np.interp(edges, plan.distance, values)
                           for values in (blocks.time, done, blocks.reserve))
    lasts = np.diff(time)
    rows = [(name, _from_to(a, b), f"{grade[k]:+.1f}".replace("-", "−"),
             f"{wind[k]:+.0f}".replace("-", "−"), f"{np.diff(work)[k] / lasts[k]:.0f}",
             f"{3.6 * (b - a) / lasts[k]:.1f}", clock(lasts[k]), f"{reserve[k + 1] / 1000:.1f}")
            for k, (name, (a, b)) in enumerate(zip(names, pairwise(edges), strict=True))]
    return Table(("Stretch", "km", "grade, %", "wind along, km/h", "power, W", "speed, km/h",
                  "time", "reserve at its end, kJ"), rows,
                 "The blocks to ride, stretch by stretch; head wind is positive")


def _from_to(start: NDArray[np.float64] | float, end: NDArray[np.float64] | float) -> str:
    """Kilometres of a stretch between places [m]."""
    return f"{start / 1000:.1f} to {end / 1000:.1f}"
