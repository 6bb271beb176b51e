"""`kitpace debrief`: plan against ride."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from optimizer.cli import _outputs
from optimizer.cli._numbers import TellingAll
from optimizer.cli._options import budget_option, start_option, wind_option
from optimizer.cli._terminal import progress_line, say, table

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable

    from optimizer.job import Job
    from optimizer.ride.debrief import Debrief, Intended
    from optimizer.ride.season import NextPlan

__all__ = ["command"]


@click.command("debrief", cls=TellingAll)
@click.argument("scenario", metavar="SCENARIO", type=click.Path())
@click.argument("ride", metavar="RIDE", type=click.Path())
@budget_option
@wind_option
@start_option
@click.option("--kit-from", metavar="FILE.json", type=click.Path(),
              help="Plan with the kit of an earlier plan, written with plan --json.")
@click.option("--all-out", is_flag=True,
              help="You had nothing left where the reserve was lowest, so the ride shows your "
                   "critical power.")
@click.option("--update", metavar="FILE.toml", type=click.Path(),
              help="Write a new scenario with what this ride and those before it showed.")
@click.option("--out", metavar="FILE.html", type=click.Path(),
              help="Where the page goes; debrief.html beside the scenario by default.")
@_outputs.overwrite_option
def command(scenario: str, ride: str, budget: float | None, wind: tuple[float, float] | None,
            start_time: dt.datetime | dt.time | None, kit_from: str | None, all_out: bool,
            update: str | None, out: str | None, overwrite: bool) -> None:
    """Compare RIDE with the plan for SCENARIO: what cost the time, and what to change.

    RIDE is a recorded ride with power: FIT, GPX or CSV. The seconds are split into wind and air,
    power, drag and tyres, corners and brakes, and stops, and add up to the whole. The plan is
    that of `kitpace plan`; with --budget 0 it is the plan with your current kit.

    \b
    Example:
      kitpace debrief courses/petrel-flats/scenario.toml race.gpx
      kitpace debrief my-race/scenario.toml race.csv --update my-race/next.toml
    """  # noqa: D301 - click reads the \b
    page = Path(out) if out else Path(scenario).parent / "debrief.html"
    from optimizer.files import write_atomic
    from optimizer.report.debrief_page import debrief_page
    from optimizer.ride.align import align
    from optimizer.ride.debrief import debrief, learned_from, rolling_worth
    from optimizer.scenario import read_scenario
    from optimizer.scenario.ride_file import read_ride
    from optimizer.scenario.updated_file import check_update, taught_by, write_update

    updated = check_update(scenario, update) if update else ()
    _outputs.check_run([_outputs.page("--out", page),
                        *(_outputs.row("--update", path) for path in updated)],
                       (scenario, ride, kit_from), overwrite=overwrite)
    with progress_line("Debriefing") as progress:
        progress("reading the files")
        recorded = read_ride(ride)
        job = read_scenario(scenario, budget=budget, wind=wind, start_time=start_time)
        align(recorded, job.course)  # refuses another course before anything is planned
        intended = _intended(job, kit_from, progress)
        progress("comparing")
        found = debrief(recorded, intended, all_out=all_out)
        taught = taught_by(scenario, learned_from(found), rolling_worth=rolling_worth(found),
                           planned_power=found.intended.rider.critical_power)
        written = [("Page", write_atomic(page, debrief_page(found, job.name, taught.next_plan)))]
        if update:
            written += zip(("Scenario", "Rider"), write_update(scenario, update, taught),
                           strict=True)
    _tell(found, taught.next_plan)
    if update or len(taught.season.rides) > 1:
        from optimizer.report.debrief_page import season_sentences

        say()
        say(*season_sentences(taught.pooled, taught.season.before, taught.next_plan))
    say()
    for what, path in written:
        say(f"{what}: {path}")


def _intended(job: Job, kit_from: str | None, progress: Callable[[str], None]) -> Intended:
    """Plan as `kitpace plan` does, without what only its report needs."""
    from optimizer.job.intended import intended_ride
    from optimizer.scenario.earlier_file import read_earlier

    items = None if kit_from is None else read_earlier(kit_from).items
    return intended_ride(job, items, progress)


def _tell(d: Debrief, after: NextPlan) -> None:
    from optimizer.report.debrief_page import advice, next_time, part_rows, sentences

    say(*sentences(d))
    for note in d.notes:
        say(f"Warning: {note}.")
    table(("cause", "seconds", ""), part_rows(d), "What cost the time", left=(0, 2))
    say()
    say(*next_time(d))
    for line in advice(d, after):
        say(line)
