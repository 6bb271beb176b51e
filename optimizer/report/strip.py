"""Charts along the course: height, wind, power, speed and reserve on one distance axis."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.physics import lay_road
from optimizer.report.along import (
    ALONG,
    axis,
    legs,
    line,
    mark_letters,
    mark_rules,
    mean_over,
    row_title,
)
from optimizer.report.page import Chart, Table
from optimizer.report.words import clock, signed_seconds

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.job import Result

__all__ = ["strip", "value_of_energy", "where_won"]

_ON_SCREEN = {"along": True, "print": (0, 0)}
_TITLES = ("height, m", "wind along the road, km/h; in the face is up", "power, W", "speed, km/h",
           "reserve, kJ")
_SHARE = (0.15, 0.14, 0.28, 0.16, 0.14)  # of the chart's height, with gaps between


def strip(result: Result) -> Chart:
    """Draw the ideal plan and the blocks to ride over height, wind, speed and reserve."""
    plan, blocks, job = result.plan, result.rideable, result.job
    problem, course = plan.problem, job.course
    x = plan.distance / 1000.0
    height = np.interp(plan.distance, course.distance, course.elevation)
    low, high = _wind_band(result)
    wind = 3.6 * problem.headwind
    data = [
        line(x, height, "y", {"color": "@ink", "width": 1.3}, "height", "m"),
        {**line(x, np.zeros(len(x)), "y", {"width": 0}, "grade", "%", 1),
         "visible": False, "y": _on_nodes(100.0 * problem.grade)},
        *_band(x, _on_nodes(low), _on_nodes(high), "y2", "@rule"),
        {**line(x, _on_nodes(wind), "y2",
                 {"color": "@ink", "width": 1.3, "shape": "hv"}, "wind along the road", "km/h"),
         "meta": {"say": "wind along the road", "unit": "km/h",
                  "signs": ["in the face", "from behind"]}},
        line(x, _on_nodes(plan.power), "y3",
              {"color": "@plan", "width": 1, "shape": "hv"}, "ideal", "W"),
        line(x, _on_nodes(blocks.power), "y3",
              {"color": "@ink", "width": 1, "shape": "hv"}, "to ride", "W"),
        *_blocks_alone(result),
        line(x, 3.6 * plan.speed, "y4", {"color": "@plan", "width": 1}),
        line(x, 3.6 * blocks.speed, "y4",
              {"color": "@ink", "width": 1.6}, "speed", "km/h", 0),
        line(x, plan.reserve / 1000.0, "y5", {"color": "@plan", "width": 1}),
        line(x, blocks.reserve / 1000.0, "y5",
              {"color": "@ink", "width": 1.6}, "reserve", "kJ", 1),
    ]
    layout: dict[str, Any] = {
        "height": 720, "margin": ALONG, "hovermode": False,
        "meta": {"along": True, "print": (680, 280)}, "xaxis": axis(course, "y5"),
        "shapes": mark_rules(course), "annotations": [*mark_letters(course), *_labels(result)],
    }
    top = 1.0
    gap = (1.0 - sum(_SHARE)) / (len(_SHARE) - 1)
    for k, (share, title) in enumerate(zip(_SHARE, _TITLES, strict=True)):
        layout[f"yaxis{k + 1 if k else ''}"] = {
            "domain": [max(top - share, 0.0), top], "automargin": False,
            "nticks": 4, "showline": False, "ticks": "", "showgrid": True, "gridcolor": "@rule",
            "gridwidth": 0.5, **({"rangemode": "tozero"} if k == 4 else {}),
            **({"zeroline": True, "zerolinecolor": "@ink", "zerolinewidth": 1} if k == 1 else {})}
        layout["annotations"].append(row_title(title, top))
        top -= share + gap
    return Chart(
        "strip", "How hard, where?", {"data": data, "layout": layout}, _strip_table(result),
        note="Heavy: the blocks of the card; thin: what is ridden, with the rule for hills; in "
             "colour: the ideal plan. The upright lines are the marks of the map and of the table "
             "of splits. The band about the wind holds it nine times in ten.")


def _blocks_alone(result: Result) -> list[dict[str, Any]]:
    """Draw the powers of the card as heavy lines, without what hills add and brakes take."""
    edges = [v / 1000.0 for block in result.rideable.blocks for v in (block.start, block.end)]
    powers = [v for block in result.rideable.blocks for v in (block.power, block.power)]
    return [line(np.array(edges), np.array(powers), "y3",
                  {"color": "@ink", "width": 2.6})]


def value_of_energy(result: Result) -> Chart:
    """Seconds that one more kJ wins, by place."""
    plan = result.plan
    x = plan.distance / 1000.0
    value = 1000.0 * plan.seconds_per_joule
    data = [line(x, _on_nodes(value), "y",
                  {"color": "@plan", "width": 1.4, "shape": "hv"}, "an extra kJ wins", "s", 2)]
    layout = {"height": 240, "margin": ALONG, "hovermode": False, "meta": _ON_SCREEN,
              "xaxis": axis(result.job.course), "shapes": mark_rules(result.job.course),
              "annotations": [*mark_letters(result.job.course), row_title("s won per kJ")],
              "yaxis": {"automargin": False, "rangemode": "tozero",
                        "nticks": 5}}
    edges, names = legs(result.job.course)
    rows = [(name, _from_to(a, b), f"{mean:.2f}") for name, (a, b), mean in zip(
        names, pairwise(edges), mean_over(value, plan.distance, edges), strict=True)]
    return Chart("energy", "Where is one more kJ worth most?", {"data": data, "layout": layout},
                 Table(("Stretch", "km", "s per extra kJ"), rows,
                       "Seconds won by one more kJ at the cranks, given for free on the stretch"),
                 note="Where the line stands high, effort pays; where it is flat, the plan already "
                      "spends evenly.")


def where_won(result: Result) -> Chart:
    """Seconds gained by the chosen kit against what is owned, along the course."""
    plan, before = result.plan, result.baseline_plan
    x = plan.distance / 1000.0
    lead = np.interp(plan.distance, before.distance, before.time) - plan.time
    data = [line(x, lead, "y", {"color": "@plan", "width": 1.8}, "lead on owned kit", "s",
                  1)]
    layout = {"height": 240, "margin": ALONG, "hovermode": False, "meta": _ON_SCREEN,
              "xaxis": axis(result.job.course), "shapes": mark_rules(result.job.course),
              "annotations": [*mark_letters(result.job.course),
                              row_title("s ahead of what is owned")],
              "yaxis": {"automargin": False, "nticks": 5,
                        "zeroline": True, "zerolinecolor": "@ink", "zerolinewidth": 1}}
    edges, names = legs(result.job.course)
    at = np.interp(edges, plan.distance, lead)
    rows = [(name, _from_to(a, b), signed_seconds(end - start), signed_seconds(end))
            for name, (a, b), (start, end) in zip(names, pairwise(edges), pairwise(at),
                                                  strict=True)]
    return Chart("won", "Where does the kit win its seconds?", {"data": data, "layout": layout},
                 Table(("Stretch", "km", "won here", "won so far"), rows,
                       "Best set against what is owned, each on its own best plan"),
                 note="Each set rides its own best plan, so a stretch can also lose a little that "
                      "another one wins back.")


def _band(x: NDArray[np.float64], low: NDArray[np.float64], high: NDArray[np.float64], row: str,
          colour: str) -> list[dict[str, Any]]:
    none = {"color": "@paper", "width": 0, "shape": "hv"}
    return [line(x, low, row, none),
            {**line(x, high, row, none), "fill": "tonexty", "fillcolor": colour}]


def _on_nodes(steps: NDArray[np.float64]) -> NDArray[np.float64]:
    """Step values with the last one repeated, for lines that hold until the next node."""
    return np.append(steps, steps[-1])


def _wind_band(result: Result) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """5 and 95 % of the wind along the road [km/h], to first order in speed and direction."""
    problem, conditions = result.plan.problem, result.job.conditions
    sd = np.hypot(problem.headwind * conditions.speed_sd,
                  problem.crosswind * conditions.direction_sd)
    return 3.6 * (problem.headwind - 1.645 * sd), 3.6 * (problem.headwind + 1.645 * sd)


def _labels(result: Result) -> list[dict[str, Any]]:
    """Watts written on the blocks, where they are long enough to hold them."""
    length = result.job.course.length
    return [{"x": 0.5 * (block.start + block.end) / 1000.0, "y": block.power, "xref": "x",
             "yref": "y3", "text": f"{block.power:.0f}", "showarrow": False, "yanchor": "bottom",
             "yshift": 2, "borderpad": 0, "bgcolor": "@paper", "font": {"color": "@ink"}}
            for block in result.rideable.blocks if block.end - block.start > 0.05 * length]


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
                 "The blocks to ride, stretch by stretch; wind in the face is positive")


def _from_to(start: float, end: float) -> str:
    """Kilometres of a stretch between places [m]."""
    return f"{start / 1000:.1f} to {end / 1000:.1f}"
