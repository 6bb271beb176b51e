"""The outcomes of a batch as a CSV table and as an index page."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING
from urllib.parse import quote

from optimizer.report.page import Chart, Markup, Points, Section, Table, render
from optimizer.report.spreadsheet import harmless
from optimizer.report.svg import Mark, clock_ticks, multiples
from optimizer.report.words import clock, listing, money, watts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.batch.outcome import Outcome

__all__ = ["cautions", "summary", "table_csv", "table_page"]

_FOOT = ("Every time is that of a model and its data; law, marshals and your own eyes come first. "
         "The range is the 90 % range under the uncertainty in wind, rider and evidence.")
_MOST_DRAWN = 400
_FEW = 1  # items that a cell names


def summary(outcomes: Sequence[Outcome]) -> str:
    """Say in a sentence or two how many cases have a plan and how many have none."""
    failed = [one for one in outcomes if one.failure]
    kept = sum(one.kept for one in outcomes)
    if len(outcomes) == 1:
        return ("The case failed." if failed else
                "The case has a plan." + (" It comes from an earlier run on the same inputs."
                                          if kept else ""))
    said = f"{len(outcomes) - len(failed)} of {len(outcomes)} cases have a plan."
    if kept:
        said += (f" {kept} of them {'come' if kept > 1 else 'comes'} from an earlier run on the "
                 "same inputs.")
    if failed:
        said += f" {len(failed)} failed; the others are not touched by that."
    return said


def table_csv(outcomes: Sequence[Outcome]) -> str:
    """All outcomes as CSV, one row a case; figures that a failed case lacks stay empty."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["case", "course", "rider", "forecast", "finish_time_s", "low_s", "high_s",
                     "gap_s", "mean_power_w", "spend", "currency", "items", "report", "problem",
                     "caution"])
    for one in outcomes:
        figures = [""] * 8 if one.failure else [
            f"{one.finish_time:.2f}", f"{one.low:.1f}", f"{one.high:.1f}", f"{one.gap:.3g}",
            f"{one.mean_power:.1f}", f"{one.spend:g}", one.currency, ";".join(one.items)]
        writer.writerow(map(harmless, [
            one.case, one.course, one.rider, one.weather, *figures,
            "" if one.failure else f"{one.folder}/report.html", one.failure, one.caution]))
    return out.getvalue()


def table_page(name: str, outcomes: Sequence[Outcome]) -> str:
    """Give the index page: every case with its times and a link, then what failed."""
    planned = [one for one in outcomes if not one.failure]
    failed = [one for one in outcomes if one.failure]
    sections = []
    if planned:
        sections.append(Section("cases", "The cases", [
            *(_charts(planned) if 1 < len(planned) <= _MOST_DRAWN else []), _table(planned)]))
    if failed:
        sections.append(Section("failed", "What could not be planned", [
            Points([f"{one.case}: {one.failure}" for one in failed]),
            "Correct these and run the same command again: cases that have a plan are kept."]))
    return render(name, [summary(outcomes), *cautions(outcomes)], sections,
                  kicker="kitpace batch", foot=[_FOOT])


def cautions(outcomes: Sequence[Outcome]) -> list[str]:
    """Say what the wind of the day may be too strong for, case by case."""
    return [f"Caution, {one.case}: {one.caution[:1].lower()}{one.caution[1:]}"
            for one in outcomes if one.caution]


def _table(planned: Sequence[Outcome]) -> Table:
    rows = [(
        Markup('<a href="{}/report.html">{}</a>').format(quote(one.folder), one.case),
        one.rider, clock(one.finish_time), f"{clock(one.low)} to {clock(one.high)}",
        watts(one.mean_power), money(one.spend, one.currency),
        _kit(one),
        Markup('<a href="{}/card.html">card<span class="hidden"> for {}</span></a>').format(
            quote(one.folder), one.case)) for one in planned]
    return Table(["Case", "Rider", "Time", "90 % range", "Mean power", "Spent", "Kit", "Card"],
                 rows, "All plans; each links to its report", ident="all", tools=True,
                 left=(0, 1, 6, 7))


def _kit(one: Outcome) -> str:
    """Say the kit in a cell; all of it is in the case's report."""
    return f"{len(one.items)} items" if len(one.items) > _FEW else listing(one.items) or (
        "current kit")


def _charts(planned: Sequence[Outcome]) -> list[Chart]:
    """Draw one picture a course: riders below each other, forecasts side by side."""
    courses = list(dict.fromkeys(one.course for one in planned))
    return [_chart(f"times-{k}", course, [one for one in planned if one.course == course])
            for k, course in enumerate(courses)]


def _chart(ident: str, course: str, planned: Sequence[Outcome]) -> Chart:
    riders = list(dict.fromkeys(one.rider for one in planned))
    weathers = list(dict.fromkeys(_weather(one) for one in planned))
    cells = {(rider, weather): [
        Mark(one.case, one.finish_time, one.low, one.high) for one in planned
        if one.rider == rider and _weather(one) == weather]
        for rider in riders for weather in weathers}
    first = min(planned, key=lambda one: one.finish_time)
    return Chart(
        ident, f"{course}: how long does each take, and how sure is that?",
        lambda look: multiples(look, riders, weathers, cells, _clock_ticks), Table(
            ["Case", "Rider", "Forecast", "Time", "From", "To"],
            [(one.case, one.rider, _weather(one), clock(one.finish_time), clock(one.low),
              clock(one.high)) for one in planned], f"Times on {course}", left=(0, 1, 2)),
        f"Fastest: {first.rider}, {clock(first.finish_time)}, 90 % range {clock(first.low)} to "
        f"{clock(first.high)}.",
        note="The mark is the time by the card, the line its 90 % range. All on one scale of time.")


def _weather(one: Outcome) -> str:
    return one.weather or "as in the scenario"


def _clock_ticks(low: float, high: float, most: int) -> list[tuple[float, str]]:
    return [(value, clock(value)) for value in clock_ticks(low, high, most)]
