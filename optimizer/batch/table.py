"""The outcomes of a batch as a CSV table and as an index page."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING
from urllib.parse import quote

from optimizer.report.page import Chart, Markup, Points, Section, Table, render
from optimizer.report.spreadsheet import harmless
from optimizer.report.words import clock, listing, money, watts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.batch.outcome import Outcome

__all__ = ["summary", "table_csv", "table_page"]

_FOOT = ("The times hold for the model and its data; law, marshals and your own eyes come first. "
         "The range is where nine of ten days end under the doubts in wind, rider and evidence.")
_ROW_HEIGHT = 26  # px of a case in the chart
_MOST_DRAWN = 60


def summary(outcomes: Sequence[Outcome]) -> str:
    """Say in a sentence or two how many cases have a plan and how many have none."""
    failed = [one for one in outcomes if one.failure]
    kept = sum(one.kept for one in outcomes)
    said = f"{len(outcomes) - len(failed)} of {len(outcomes)} cases have a plan."
    if kept:
        said += f" {kept} of them come from an earlier run on the same inputs."
    if failed:
        said += f" {len(failed)} failed; the others are not touched by that."
    return said


def table_csv(outcomes: Sequence[Outcome]) -> str:
    """All outcomes as CSV, one row a case; figures that a failed case lacks stay empty."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["case", "course", "rider", "forecast", "finish_time_s", "low_s", "high_s",
                     "gap_s", "mean_power_w", "spend", "currency", "items", "report", "problem"])
    for one in outcomes:
        figures = [""] * 8 if one.failure else [
            f"{one.finish_time:.2f}", f"{one.low:.1f}", f"{one.high:.1f}", f"{one.gap:.3g}",
            f"{one.mean_power:.1f}", f"{one.spend:g}", one.currency, ";".join(one.items)]
        writer.writerow(map(harmless, [
            one.case, one.course, one.rider, one.weather, *figures,
            "" if one.failure else f"{one.folder}/report.html", one.failure]))
    return out.getvalue()


def table_page(name: str, outcomes: Sequence[Outcome]) -> str:
    """Give the index page: every case with its times and a link, then what failed."""
    planned = [one for one in outcomes if not one.failure]
    failed = [one for one in outcomes if one.failure]
    sections = []
    if planned:
        sections.append(Section("cases", "The cases", [
            _table(planned), *([_chart(planned[:_MOST_DRAWN])] if len(planned) > 1 else [])]))
    if failed:
        sections.append(Section("failed", "What could not be planned", [
            Points([f"{one.case}: {one.failure}" for one in failed]),
            "Mend these and run the same command again: cases that have a plan are kept."]))
    return render(name, [summary(outcomes)], sections, kicker="kitpace batch", foot=[_FOOT])


def _table(planned: Sequence[Outcome]) -> Table:
    rows = [(
        Markup('<a href="{}/report.html">{}</a>').format(quote(one.folder), one.case),
        one.rider, clock(one.finish_time), f"{clock(one.low)} to {clock(one.high)}",
        watts(one.mean_power), money(one.spend, one.currency), listing(one.items) or "as it stands",
        Markup('<a href="{}/card.html">card</a>').format(quote(one.folder))) for one in planned]
    return Table(["Case", "Rider", "Time", "Nine times in ten", "Mean power", "Spent", "Kit", ""],
                 rows, "All plans; each links to its report", ident="all", tools=True,
                 left=(0, 1, 6, 7))


def _chart(planned: Sequence[Outcome]) -> Chart:
    names = [one.case for one in planned]
    minutes = [one.finish_time / 60 for one in planned]
    figure = {
        "data": [{
            "type": "scatter", "mode": "markers", "x": minutes, "y": names,
            "marker": {"color": "@plan", "size": 8}, "hovertemplate": "%{x:.1f} min<extra></extra>",
            "error_x": {
                "type": "data", "symmetric": False, "color": "@plan-band", "thickness": 5,
                "width": 0,
                "array": [one.high / 60 - at for one, at in zip(planned, minutes, strict=True)],
                "arrayminus": [at - one.low / 60
                               for one, at in zip(planned, minutes, strict=True)]}}],
        "layout": {
            "height": 90 + _ROW_HEIGHT * len(planned), "showlegend": False,
            "xaxis": {"title": {"text": "finish time [min]"}},
            "yaxis": {"autorange": "reversed", "automargin": True, "type": "category"}}}
    return Chart("times", "How long does each take, and how sure is that?", figure, Table(
        ["Case", "Time", "From", "To"],
        [(one.case, clock(one.finish_time), clock(one.low), clock(one.high)) for one in planned]),
        "A dot is the plan; the band is where nine of ten days end.")
