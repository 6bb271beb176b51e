"""Charts along the course: height, wind, power, speed and reserve on one distance axis."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.physics import lay_road
from optimizer.report.course_map import letters
from optimizer.report.page import Chart, Table
from optimizer.report.words import clock, signed_seconds

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course import Course
    from optimizer.job import Result

__all__ = ["strip", "value_of_energy", "where_won"]

_MARGIN = {"l": 46, "r": 12, "t": 44, "b": 44}
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
        _line(x, height, "height", "y", {"color": "@ink", "width": 1.3}, "height", "m"),
        {**_line(x, np.zeros(len(x)), "grade", "y", {"width": 0}, "grade", "%", 1),
         "visible": False, "y": _on_nodes(100.0 * problem.grade)},
        *_band(x, _on_nodes(low), _on_nodes(high), "y2", "@rule"),
        {**_line(x, _on_nodes(wind), "wind along the road", "y2",
                 {"color": "@ink", "width": 1.3, "shape": "hv"}, "wind along the road", "km/h"),
         "meta": {"say": "wind along the road", "unit": "km/h",
                  "signs": ["in the face", "from behind"]}},
        _line(x, _on_nodes(plan.power), "ideal power", "y3",
              {"color": "@plan", "width": 1, "shape": "hv"}, "ideal", "W"),
        _line(x, _on_nodes(blocks.power), "power to ride", "y3",
              {"color": "@ink", "width": 1, "shape": "hv"}, "to ride", "W"),
        *_blocks_alone(result),
        _line(x, 3.6 * plan.speed, "ideal speed", "y4", {"color": "@plan", "width": 1}),
        _line(x, 3.6 * blocks.speed, "speed of the blocks", "y4",
              {"color": "@ink", "width": 1.6}, "speed", "km/h", 0),
        _line(x, plan.reserve / 1000.0, "ideal reserve", "y5", {"color": "@plan", "width": 1}),
        _line(x, blocks.reserve / 1000.0, "reserve on the blocks", "y5",
              {"color": "@ink", "width": 1.6}, "reserve", "kJ", 1),
    ]
    layout: dict[str, Any] = {
        "height": 720, "margin": _MARGIN, "hovermode": False,
        "meta": {"along": True, "print": (680, 280)}, "xaxis": _along(course, anchor="y5"),
        "shapes": _rules(course), "annotations": [*_letters(course), *_labels(result)],
    }
    top = 1.0
    gap = (1.0 - sum(_SHARE)) / (len(_SHARE) - 1)
    for k, (share, title) in enumerate(zip(_SHARE, _TITLES, strict=True)):
        layout[f"yaxis{k + 1 if k else ''}"] = {
            "domain": [max(top - share, 0.0), top], "automargin": False,
            "nticks": 4, "showline": False, "ticks": "", "showgrid": True, "gridcolor": "@rule",
            "gridwidth": 0.5, **({"rangemode": "tozero"} if k == 4 else {}),
            **({"zeroline": True, "zerolinecolor": "@ink", "zerolinewidth": 1} if k == 1 else {})}
        layout["annotations"].append(_title(title, top))
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
    return [_line(np.array(edges), np.array(powers), "block", "y3",
                  {"color": "@ink", "width": 2.6})]


def value_of_energy(result: Result) -> Chart:
    """Seconds that one more kJ wins, by place."""
    plan = result.plan
    x = plan.distance / 1000.0
    value = 1000.0 * plan.seconds_per_joule
    data = [_line(x, _on_nodes(value), "value of a kJ", "y",
                  {"color": "@plan", "width": 1.4, "shape": "hv"}, "an extra kJ wins", "s", 2)]
    layout = {"height": 240, "margin": _MARGIN, "hovermode": False, "meta": _ON_SCREEN,
              "xaxis": _along(result.job.course), "shapes": _rules(result.job.course),
              "annotations": [*_letters(result.job.course), _title("s won per kJ")],
              "yaxis": {"automargin": False, "rangemode": "tozero",
                        "nticks": 5}}
    edges, names = _legs(result.job.course)
    rows = [(name, f"{(a):.1f} to {(b):.1f}", f"{_mean(value, plan.distance, a, b):.2f}")
            for name, a, b in zip(names, edges[:-1], edges[1:], strict=True)]
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
    data = [_line(x, lead, "lead", "y", {"color": "@plan", "width": 1.8}, "lead on owned kit", "s",
                  1)]
    layout = {"height": 240, "margin": _MARGIN, "hovermode": False, "meta": _ON_SCREEN,
              "xaxis": _along(result.job.course), "shapes": _rules(result.job.course),
              "annotations": [*_letters(result.job.course), _title("s ahead of what is owned")],
              "yaxis": {"automargin": False, "nticks": 5,
                        "zeroline": True, "zerolinecolor": "@ink", "zerolinewidth": 1}}
    edges, names = _legs(result.job.course)
    at = np.interp(edges, x, lead)
    rows = [(name, f"{a:.1f} to {b:.1f}", signed_seconds(end - start), signed_seconds(end))
            for name, a, b, start, end in zip(names, edges[:-1], edges[1:], at[:-1], at[1:],
                                              strict=True)]
    return Chart("won", "Where does the kit win its seconds?", {"data": data, "layout": layout},
                 Table(("Stretch", "km", "won here", "won so far"), rows,
                       "Best set against what is owned, each on its own best plan"),
                 note="Each set rides its own best plan, so a stretch can also lose a little that "
                      "another one wins back.")


def _line(x: NDArray[np.float64], y: NDArray[np.float64], name: str, axis: str,
          line: dict[str, Any], say: str = "", unit: str = "", digits: int = 0) -> dict[str, Any]:
    trace: dict[str, Any] = {"type": "scatter", "mode": "lines", "x": x, "y": y, "name": name,
                             "yaxis": axis, "line": line}
    if say:
        trace["meta"] = {"say": say, "unit": unit, "digits": digits}
    return trace


def _band(x: NDArray[np.float64], low: NDArray[np.float64], high: NDArray[np.float64], axis: str,
          colour: str) -> list[dict[str, Any]]:
    none = {"color": "@paper", "width": 0, "shape": "hv"}
    return [_line(x, low, "5 %", axis, none),
            {**_line(x, high, "95 %", axis, none), "fill": "tonexty", "fillcolor": colour}]


def _on_nodes(steps: NDArray[np.float64]) -> NDArray[np.float64]:
    """Step values with the last one repeated, for lines that hold until the next node."""
    return np.append(steps, steps[-1])


def _wind_band(result: Result) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """5 and 95 % of the wind along the road [km/h], to first order in speed and direction."""
    problem, conditions = result.plan.problem, result.job.conditions
    sd = np.hypot(problem.headwind * conditions.speed_sd,
                  problem.crosswind * conditions.direction_sd)
    return 3.6 * (problem.headwind - 1.645 * sd), 3.6 * (problem.headwind + 1.645 * sd)


def _along(course: Course, anchor: str = "y") -> dict[str, Any]:
    return {"title": "km from the start", "range": [0.0, course.length / 1000.0],
            "anchor": anchor, "automargin": False}


def _rules(course: Course) -> list[dict[str, Any]]:
    return [{"type": "line", "xref": "x", "yref": "paper", "x0": mark.distance / 1000.0,
             "x1": mark.distance / 1000.0, "y0": 0, "y1": 1, "layer": "below",
             "line": {"color": "@quiet", "width": 0.8, "dash": "dot"}} for mark in course.marks]


def _letters(course: Course) -> list[dict[str, Any]]:
    return [{"x": mark.distance / 1000.0, "y": 1, "xref": "x", "yref": "paper", "text": letter,
             "showarrow": False, "yanchor": "bottom", "yshift": 16, "font": {"color": "@ink"}}
            for letter, mark in zip(letters(len(course.marks)), course.marks, strict=True)]


def _title(text: str, top: float = 1.0) -> dict[str, Any]:
    """Name and unit of a row, set level above it."""
    return {"x": 0, "y": top, "xref": "paper", "yref": "paper", "text": text, "showarrow": False,
            "xanchor": "left", "yanchor": "bottom", "font": {"color": "@quiet"},
            "bgcolor": "@paper", "borderpad": 0}


def _labels(result: Result) -> list[dict[str, Any]]:
    """Watts written on the blocks, where they are long enough to hold them."""
    length = result.job.course.length
    return [{"x": 0.5 * (block.start + block.end) / 1000.0, "y": block.power, "xref": "x",
             "yref": "y3", "text": f"{block.power:.0f}", "showarrow": False, "yanchor": "bottom",
             "yshift": 2, "borderpad": 0, "bgcolor": "@paper", "font": {"color": "@ink"}}
            for block in result.rideable.blocks if block.end - block.start > 0.05 * length]


def _legs(course: Course) -> tuple[NDArray[np.float64], list[str]]:
    """Edges [km] of the stretches between marks, and their names."""
    inside = [m for m in course.marks if 0 < m.distance < course.length]
    edges = np.array([0.0, *(m.distance for m in inside), course.length]) / 1000.0
    ends = ["Start", *(m.name for m in inside), "finish"]
    return edges, [f"{a} to {b}" for a, b in itertools.pairwise(ends)]


def _mean(values: NDArray[np.float64], distance: NDArray[np.float64], start_km: float,
          end_km: float) -> float:
    """Mean of step values weighted by length between two places."""
    whole = np.concatenate([[0.0], np.cumsum(values * np.diff(distance))])
    a, b = np.interp([1000.0 * start_km, 1000.0 * end_km], distance, whole)
    return float((b - a) / (1000.0 * (end_km - start_km)))


def _strip_table(result: Result) -> Table:
    plan, blocks, course = result.plan, result.rideable, result.job.course
    edges, names = _legs(course)
    road = lay_road(course, result.job.conditions, plan.distance)
    rows = []
    for name, a, b in zip(names, edges[:-1], edges[1:], strict=True):
        where = [_mean(values, plan.distance, a, b) for values in (
            100.0 * road.grade, 3.6 * plan.problem.headwind)]
        t0, t1 = np.interp([1000 * a, 1000 * b], plan.distance, blocks.time)
        work = np.concatenate([[0.0], np.cumsum(blocks.power * np.diff(blocks.time))])
        w0, w1 = np.interp([1000 * a, 1000 * b], plan.distance, work)
        rows.append((name, f"{a:.1f} to {b:.1f}", f"{where[0]:+.1f}".replace("-", "−"),
                     f"{where[1]:+.0f}".replace("-", "−"), f"{(w1 - w0) / (t1 - t0):.0f}",
                     f"{3600 * (b - a) / (t1 - t0):.1f}", clock(t1 - t0),
                     f"{np.interp(1000 * b, plan.distance, blocks.reserve) / 1000:.1f}"))
    return Table(("Stretch", "km", "grade, %", "wind along, km/h", "power, W", "speed, km/h",
                  "time", "reserve at its end, kJ"), rows,
                 "The blocks to ride, stretch by stretch; wind in the face is positive")
