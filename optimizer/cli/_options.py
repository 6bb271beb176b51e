"""Options that several commands share, read strictly: a slip is explained, never guessed."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import click

from optimizer.cli._numbers import LARGEST_SUM, Number
from optimizer.errors import InputError

if TYPE_CHECKING:
    from optimizer.job import Job

__all__ = ["budget_option", "by_options", "least_gain_option", "start_option", "timings_option",
           "wind_option", "with_least_gain"]


def _wind(context: click.Context, parameter: click.Parameter,
          value: str | None) -> tuple[float, float] | None:
    del context, parameter
    if value is None:
        return None
    from optimizer.scenario.weather import parse_wind

    return parse_wind(value)


def _start(context: click.Context, parameter: click.Parameter,
           value: str | None) -> dt.datetime | dt.time | None:
    del context, parameter
    if value is None:
        return None
    for kind in (dt.time, dt.datetime):
        try:
            start = kind.fromisoformat(value.strip())
        except ValueError:
            continue
        if isinstance(start, dt.datetime) and not 1900 <= start.year <= 2200:
            raise InputError("--start-time", "", f"{value} is out of range",
                             "the year has to be between 1900 and 2200")
        return start
    raise InputError("--start-time", "", f'"{value}" is not a time',
                     "write 09:30, or 2031-06-15T09:30")


def budget_option(command: Any, owner: str = "scenario") -> Any:
    """`--budget X`: money for kit, in the currency of the file of `owner`."""
    return click.option("--budget", metavar="X", type=Number(0, LARGEST_SUM),
                        help=f"Money for kit, instead of the {owner}'s.")(command)


def least_gain_option(command: Any, owner: str = "scenario") -> Any:
    """`--least-gain S`: how much slower a cheaper kit may be; of a season, see `Season`."""
    words = ("Seconds that each purchase and each hire has to save" if owner == "season" else
             "Take the cheapest kit that is at most S seconds slower than the fastest within the "
             "budget")
    return click.option("--least-gain", metavar="S", type=Number(0, 600, unit="s"),
                        help=f"{words}; instead of the {owner}'s.")(command)


def by_options(command: Any) -> Any:
    """`--by` and `--level`: the risk measure that kit is chosen by."""
    from optimizer.uncertainty import FORECAST, MEASURES

    said = "; ".join(f"{measure.name}, {measure.help}" for measure in MEASURES.values())
    by = click.option("--by", default=FORECAST, show_default=True, type=click.Choice([*MEASURES]),
                      help=f"What to choose by: {said}.")
    level = click.option("--level", metavar="SHARE", type=Number(0.5, 0.99),
                         default=0.9, show_default=True,
                         help="The quantile, or where the worst days begin.")
    return by(level(command))


def with_least_gain(job: Job, seconds: float | None) -> Job:
    """Replace what the scenario says by what the command line says."""
    from dataclasses import replace

    if seconds is None:
        return job
    return replace(job, options=replace(job.options, least_gain=seconds),
                   asked=(*job.asked, ("least_gain", f"{seconds:.12g}")))


def wind_option(command: Any, instead: str = ", instead of the scenario's") -> Any:
    """`--wind KMH@DEG`: one wind for all day."""
    return click.option("--wind", metavar="KMH@DEG", callback=_wind,
                        help="Wind at ten metres and where it comes from: degrees "
                             "(0 north, 90 east) or a point of the compass, as in 25@SW"
                             f"{instead}.")(command)


def start_option(command: Any) -> Any:
    """`--start-time`: another start."""
    return click.option("--start-time", metavar="TIME", callback=_start,
                        help="Local time of the start, such as 09:30 or 2031-06-15T09:30.")(command)


def timings_option(command: Any) -> Any:
    """Add `--timings`: how long each stage took, on stderr."""
    return click.option("--timings", is_flag=True, help="Say on standard error how long each "
                        "stage took, and how much memory.")(command)
