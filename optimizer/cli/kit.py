"""`kitpace kit`: what to buy, what not, in which order, and what to test first."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from optimizer.cli import _outputs
from optimizer.cli._numbers import LARGEST_SUM, TellingAll, WholeNumber
from optimizer.cli._options import (
    budget_option,
    by_options,
    least_gain_option,
    start_option,
    timings_option,
    wind_option,
    with_least_gain,
)
from optimizer.cli._terminal import progress_line, reading_notes, say, show, table
from optimizer.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable

    from optimizer.job import Job
    from optimizer.kit.decision import KitDecision

__all__ = ["command"]

_STAGES = 20
_PURCHASES, _TESTS = 8, 6  # rows on the terminal; the page has all


def _steps(context: click.Context, parameter: click.Parameter, value: str | None,
           ) -> tuple[float, ...]:
    """Read `--money 750,1500`: rising amounts in all."""
    del context, parameter
    if value is None:
        return ()
    from optimizer.scenario.tables import parse_number

    try:
        amounts = tuple(parse_number(part) for part in value.replace(";", ",").split(","))
    except ValueError as error:
        raise InputError("--money", "", f'"{value}" {error}',
                         "write amounts such as 750,1500") from error
    if len(amounts) > _STAGES or amounts[-1] > LARGEST_SUM:
        raise InputError("--money", "", f'"{value}" is out of range',
                         f"up to {_STAGES} amounts, the last at most {LARGEST_SUM:g}")
    if any(later <= earlier for earlier, later in itertools.pairwise((0.0, *amounts))):
        raise InputError("--money", "", f'"{value}" does not start above zero and rise',
                         "write what there is in all at each stage, such as 750,1500")
    return amounts


def _targets(context: click.Context, parameter: click.Parameter, value: str | None,
             ) -> tuple[float, ...]:
    """Read `--target 57:30`, or one for each scenario: `--target 57:30,1:02:00`."""
    del context, parameter
    if value is None:
        return ()
    from optimizer.scenario.tables import parse_clock

    try:
        found = tuple(parse_clock(part) for part in value.split(","))
        if min(found) > 0:
            return found
    except ValueError:
        pass
    raise InputError("--target", "", f'"{value}" is not a time', "write m:ss or h:mm:ss, and for "
                     "several scenarios one for each with commas: 57:30,1:02:00")


@click.command("kit", cls=TellingAll)
@click.argument("scenarios", metavar="SCENARIO...", type=click.Path(), nargs=-1, required=True)
@budget_option
@wind_option
@start_option
@by_options
@click.option("--target", "targets", metavar="M:SS", callback=_targets,
              help="Time to beat, for --by target; one for each scenario, with commas.")
@click.option("--money", metavar="A,B,...", callback=_steps,
              help="Money in all at each stage, where it comes in steps: 750,1500.")
@least_gain_option
@click.option("--draws", type=WholeNumber(50, 20_000), metavar="N",
              help="Number of days to draw, instead of the scenario's.")
@click.option("--second-proof", is_flag=True,
              help="Prove the best kit a second time, by an integer program; it takes "
                   "several times as long.")
@click.option("--out", metavar="FILE.html", type=click.Path(),
              help="Write a page as well, with the best kit at every price.")
@_outputs.tables_option
@timings_option
@_outputs.overwrite_option
def command(scenarios: tuple[str, ...], out: str | None, tables: str | None, timings: bool,
            overwrite: bool, **options: Any) -> None:
    """Say what to buy for SCENARIO, what not, in which order, and what to test first.

    With several scenarios the budget is shared among them: each is one race of a
    season, and a rider uses what they buy in all of their races.

    Prices and effects are those of the catalogue and the evidence. Brakes, steering and wheels
    are for a qualified mechanic; the rules of the event decide what is allowed.

    \b
    Example:
      kitpace kit courses/petrel-flats/scenario.toml --budget 750
      kitpace kit my-race/scenario.toml --by target --target 57:30
      kitpace kit my-race/scenario.toml --money 750,1500
      kitpace kit ann/scenario.toml ben/scenario.toml --budget 1500
    """  # noqa: D301 - click reads the \b
    from optimizer.uncertainty import MEASURES

    chance = MEASURES[options["by"]].chance
    if chance != bool(options["targets"]):
        raise InputError("--target", "", "goes with --by target, and neither works alone",
                         "write --by target --target 57:30")
    if chance and len(options["targets"]) != len(scenarios):
        raise InputError("--target", "", f"has {len(options['targets'])} times for "
                         f"{len(scenarios)} scenarios",
                         "write one time for each, in their order: 57:30,1:02:00")
    _outputs.check_run([*([_outputs.page("--out", out)] if out else []),
                        *([_outputs.xlsx("--tables", tables)] if tables else [])], scenarios,
                       overwrite=overwrite)
    if len(scenarios) > 1:
        if options["second_proof"]:
            raise InputError("--second-proof", "", "needs one scenario: the proof for several is "
                             "by programs already", "leave it out, or name one scenario")
        if options["budget"] is None:
            raise InputError("--budget", "", "is missing: several scenarios share one budget",
                             "say what all of them may spend together, such as --budget 1500")
        _shared(scenarios, out, tables, options, timings=timings)
        return
    with progress_line("Weighing kit", timings=timings) as progress:
        job, decision = _decide(scenarios[0], options, progress)
        if out:
            from optimizer.files import write_atomic
            from optimizer.report.kit_page import kit_page

            write_atomic(out, kit_page(job, decision))
        if tables:
            from optimizer.files import write_atomic
            from optimizer.report.workbook import frontier_sheet, workbook

            write_atomic(tables, workbook([frontier_sheet(
                decision.choice.frontier, decision.chosen.items, job.currency)], tables))
    _tell(job, decision, options)
    reading_notes(job.notes)
    for what, path in (("Page", out), ("Tables", tables)):
        if path:
            say()
            say(f"{what}: {path}")


def _read(scenario: str, options: dict[str, Any], progress: Callable[[str], None]) -> Job:
    from optimizer.scenario import read_scenario

    progress("reading the files")
    job = read_scenario(scenario, budget=options["budget"], wind=options["wind"],
                        start_time=options["start_time"])
    return with_least_gain(job, options["least_gain"])


def _decide(scenario: str, options: dict[str, Any],
            progress: Callable[[str], None]) -> tuple[Job, KitDecision]:
    from optimizer.job.decisions import kit_decision

    job = _read(scenario, options, progress)
    if not job.catalogue.items:
        raise InputError(scenario, "", "names no kit to choose from",
                         'add the table [kit] with catalogue = "kit.csv"')
    return job, kit_decision(job, by=options["by"], level=options["level"],
                          target=next(iter(options["targets"]), 0.0), stages=options["money"],
                          draws=options["draws"], twice=options["second_proof"],
                          progress=progress)


def _tell(job: Job, decision: KitDecision, options: dict[str, Any]) -> None:
    """Say the answer first, then the set, the money, and the advice."""
    from optimizer.report import kit_page as page

    currency = job.currency
    for sentence in page.kit_lead(job, decision):
        say(sentence)
    if options["second_proof"] and math.isinf(decision.choice.program_gap):
        say("The integer program cannot prove it once more: there are too many items for it.")
    show(page.basket(job, decision))
    show(page.frontier_table(job, decision, page.landmarks(decision)))
    show(page.purchase_table(job, decision, _PURCHASES))
    if decision.stages:
        show(page.stage_table(decision, currency))
    if decision.tests:
        show(page.worth_table(decision, currency, _TESTS))
    if decision.left_out:
        table(("Not chosen", "Why"), decision.left_out, left=(0, 1))


def _shared(scenarios: tuple[str, ...], out: str | None, tables: str | None,
            options: dict[str, Any], *, timings: bool) -> None:
    """Share one budget among several rides: a season of these files, in which nothing is lent."""
    from optimizer.cli.season import tell
    from optimizer.files import write_atomic
    from optimizer.report.season_page import season_page
    from optimizer.report.words import listing
    from optimizer.seasons import run_season
    from optimizer.seasons.build import season_of_scenarios

    with progress_line("Weighing kit", timings=timings) as progress:
        jobs = []
        for scenario in scenarios:
            job = _read(scenario, options, progress)
            if options["draws"]:
                job = replace(job, options=replace(job.options, draws=options["draws"]))
            jobs.append(job)
        currencies = sorted({job.currency for job in jobs})
        if len(currencies) > 1:
            raise InputError("kit", "", f"the scenarios are in {listing(currencies)}",
                             "give all prices in one currency")
        least = max(job.options.least_gain for job in jobs)
        season = season_of_scenarios("Shared budget", [(job.rider.name, job) for job in jobs],
                                     options["budget"], least)
        if options["targets"]:
            season = replace(season, entries=tuple(
                replace(entry, target=target) for entry, target in zip(
                    season.entries, options["targets"], strict=True)))
        found = run_season(season, by=options["by"], level=options["level"],
                           stages=options["money"], progress=progress)
        if out:
            write_atomic(out, season_page(found))
        if tables:
            from optimizer.report.workbook import season_sheets, workbook

            write_atomic(tables, workbook(season_sheets(found), tables))
    tell(found)
    for what, path in (("Page", out), ("Tables", tables)):
        if path:
            say()
            say(f"{what}: {path}")
