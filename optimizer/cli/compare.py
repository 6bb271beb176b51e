"""`kitpace compare`: the named sets of a scenario side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from optimizer.cli import _outputs
from optimizer.cli._numbers import TellingAll, WholeNumber
from optimizer.cli._options import start_option, wind_option
from optimizer.cli._terminal import progress_line, reading_notes, say, table

if TYPE_CHECKING:
    import datetime as dt

    from optimizer.kit.compare import Comparison, Difference

__all__ = ["command"]


@click.command("compare", cls=TellingAll)
@click.argument("scenario", metavar="SCENARIO", type=click.Path())
@wind_option
@start_option
@click.option("--draws", type=WholeNumber(50, 20_000), metavar="N",
              help="Number of days to draw for the ranges, instead of the scenario's.")
@click.option("--out", metavar="FILE.html", type=click.Path(), help="Write a page as well.")
@_outputs.overwrite_option
def command(scenario: str, wind: tuple[float, float] | None,
            start_time: dt.datetime | dt.time | None, draws: int | None, out: str | None,
            overwrite: bool) -> None:
    """Compare the named sets of SCENARIO: splits, where seconds are won, and why.

    Each set rides its own best plan; all sets meet the same drawn days. The sets are the
    [[set]] tables of the scenario; each is compared with the first.

    \b
    Example:
      kitpace compare courses/petrel-flats/scenario.toml
      kitpace compare my-race/scenario.toml --wind '25@225' --out compare.html
    """  # noqa: D301 - click reads the \b
    if out:
        _outputs.check_run([_outputs.page("--out", out)], [scenario], overwrite=overwrite)
    from optimizer.job.decisions import kit_comparison
    from optimizer.report.kit_page import compare_lead, compare_page
    from optimizer.scenario import read_scenario

    with progress_line("Comparing") as progress:
        progress("reading the files")
        job = read_scenario(scenario, wind=wind, start_time=start_time)
        result = kit_comparison(job, scenario, draws=draws, progress=progress)
        if out:
            from optimizer.files import write_atomic

            write_atomic(out, compare_page(job, result))
    for sentence in compare_lead(job, result):
        say(sentence)
    _splits(result)
    for difference in result.differences:
        _why(result, difference)
    reading_notes(job.notes)
    if out:
        say()
        say(f"Page: {out}")


def _splits(result: Comparison) -> None:
    from optimizer.report.words import clock

    table(("Place", "km", *(run.name for run in result.runs)),
          [(name, f"{distance / 1000:.1f}",
            *(f"{clock(run.arrival[k])}\n{clock(run.low[k])} to {clock(run.high[k])}"
              for run in result.runs))
           for k, (name, distance) in enumerate(result.places)],
          "Splits of the ideal rides, each with its 90 % range below")


def _why(result: Comparison, difference: Difference) -> None:
    from optimizer.report.kit_page import why_rows

    headings, rows = why_rows(result, difference)
    table(headings, rows,
          f"Where {difference.first} gains (−) or loses (+) against {difference.second}, and "
          "by which force: seconds at the finish")
