"""`kitpace worth`: a ranked table of what each item of an evidence table is worth."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from optimizer.cli import _outputs
from optimizer.cli._numbers import TellingAll
from optimizer.cli._reference import read_speed, reference_of, reference_options
from optimizer.cli._terminal import progress_line, reading_notes, say, table
from optimizer.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable

    from optimizer.evidence import Reference
    from optimizer.evidence.pool import ItemEvidence
    from optimizer.job import Job
    from optimizer.report.worth_page import Valuation

__all__ = ["command"]

@click.command("worth", cls=TellingAll)
@click.argument("file", metavar="FILE", type=click.Path(), required=False)
@reference_options
@click.option("--scenario", "scenario_file", metavar="SCENARIO.toml", type=click.Path(),
              help="Rider, bike, course, air and prices from a scenario: adds seconds on the "
                   "course and the price of a second.")
@click.option("--priors", "priors_file", metavar="PRIORS.toml", type=click.Path(),
              help="What to believe of each kind of test, instead of the built-in judgements.")
@click.option("--show-priors", is_flag=True, help="Print the built-in judgements to copy and edit.")
@click.option("--out", metavar="FILE.html", type=click.Path(),
              help="Where the page goes; FILE-worth.html beside FILE by default.")
@_outputs.tables_option
@_outputs.overwrite_option
def command(file: str | None, scenario_file: str | None, priors_file: str | None,
            show_priors: bool, out: str | None, tables: str | None, overwrite: bool,
            **options: Any) -> None:
    """Say what each item in FILE is worth, and how sure that is.

    FILE is a table (CSV, or a sheet as in club.xlsx#Tests) with one figure per row: item, figure,
    test and, where known, baseline, yaw_deg, air_density_kgm3, measured_by, runs, uncertainty (one
    standard deviation), note, source. Clear gains come first, the surest at the top. A figure
    reads like "saves 30 g @ 45 km/h", "saves 8 W", "saves 15 s / 40 km @ 45 km/h", "-0.004 m2",
    "saves 2 % drag", "Crr -0.0004", "efficiency +0.8 %" or "+120 g mass".

    \b
    Example:
      kitpace worth courses/petrel-flats/evidence.csv --speed 45
      kitpace worth evidence.csv --scenario my-race/scenario.toml
    """  # noqa: D301 - click reads the \b
    if show_priors:
        from optimizer.evidence.priors import default_text

        click.echo(default_text(), nl=False)
        return
    if file is None:
        raise InputError("worth", "", "no evidence table named",
                         "write, for example, kitpace worth evidence.csv")
    clash = [name for name in ("rider", "cda_m2", "mass_kg", "crr", "density_kgm3")
             if scenario_file and options[name] is not None]
    if clash:
        raise InputError(f"--{clash[0].replace('_', '-')}", "", "the scenario states this already",
                         "leave out one of the two")
    speed = read_speed(options.pop("speed"))
    page = Path(out) if out else _outputs.beside(file, "-worth.html")
    _outputs.check_run([_outputs.page("--out", page),
                        *([_outputs.xlsx("--tables", tables)] if tables else [])],
                       (file, scenario_file, priors_file, options["rider"]), overwrite=overwrite)
    from optimizer.files import write_all
    from optimizer.report.worth_page import worth_page

    with progress_line("Weighing") as progress:
        valuation = _valuation(file, scenario_file, priors_file, speed, options, progress)
        contents: list[tuple[Path | str, str | bytes]] = [(page, worth_page(valuation))]
        if tables:
            from optimizer.report.workbook import workbook, worth_sheet

            contents.append((tables, workbook([worth_sheet(valuation)], tables)))
        written = write_all(contents)
    _tell(valuation)
    reading_notes(valuation.notes)
    say()
    for what, path in zip(("Page", "Tables"), written, strict=False):
        say(f"{what}: {path}")


def _valuation(file: str, scenario_file: str | None, priors_file: str | None,
               speed: float | None, options: dict[str, Any],
               progress: Callable[[str], None]) -> Valuation:
    from optimizer.evidence.item_ranking import rank, surest
    from optimizer.evidence.pool import pool_items
    from optimizer.evidence.priors import default_priors
    from optimizer.report.worth_page import Valuation
    from optimizer.scenario.evidence_file import read_evidence
    from optimizer.scenario.priors_file import read_priors
    from optimizer.scenario.scenario import named_as_listed

    progress("reading the files")
    notes: list[str] = []
    data = read_evidence(file, notes)
    priors = read_priors(priors_file) if priors_file else default_priors()
    job = _job(scenario_file)
    reference, name, assumed = _reference(job, speed, options)
    items = pool_items(data, reference, priors)
    if job is not None and job.catalogue.items:
        effects, said = named_as_listed([item.effect for item in items],
                                        [item.name for item in job.catalogue.items])
        items = tuple(replace(item, effect=effect)
                      for item, effect in zip(items, effects, strict=True))
        notes = [*said, *notes]
    speeds = tuple(reference.speed + step / 3.6 for step in (-5, 0, 5))
    worths = rank(items, reference, speeds, priors)
    course = {} if job is None else _on_course(job, items, progress)
    if course:
        here = {row.item: surest(row.seconds, (row.high - row.low) / 3.29, row.grounds)
                for row in course["on_course"]}
        worths = tuple(sorted(worths, key=lambda worth: here[worth.effect.item]))
    return Valuation(
        title=Path(file).name, rider=name, worths=worths,
        reference=reference, priors=priors, speeds=speeds,
        at_critical_power=speed is None and bool(scenario_file or options["rider"]),
        assumptions=assumed,
        notes=tuple(notes), **course)


def _job(scenario_file: str | None) -> Job | None:
    if scenario_file is None:
        return None
    from optimizer.scenario import read_scenario

    return read_scenario(scenario_file)


def _reference(job: Job | None, speed: float | None, options: dict[str, Any],
               ) -> tuple[Reference, str, tuple[str, ...]]:
    """Build the reference; with the name of the rider and what was assumed about them."""
    if job is None:
        return reference_of(speed=speed, **options)
    import numpy as np

    from optimizer.conditions.air import air_density_along
    from optimizer.evidence import Reference

    density = air_density_along(job.conditions, np.array([np.median(job.course.elevation)]))
    return (Reference.for_rider(job.rider, job.baseline, float(density[0]), speed),
            job.rider.name, job.assumptions)


def _on_course(job: Job, items: tuple[ItemEvidence, ...],
               progress: Callable[[str], None]) -> dict[str, Any]:
    from optimizer.job import day_of
    from optimizer.job.item_worth import item_worth, overlaps

    effects = tuple(item.effect for item in items)
    return {"course": job.course.name or job.name, "catalogue": job.catalogue,
            "currency": job.currency, "on_course": item_worth(job, day_of(job), effects, progress),
            "overlaps": overlaps(job.baseline, job.catalogue, effects)}


def _tell(valuation: Valuation) -> None:
    from optimizer.report.uncertain import between, number_range
    from optimizer.report.worth_page import ALONE, gain, lead, per_second

    say(*lead(valuation))
    if valuation.reference.assumptions:
        say("Not given, so assumed: " + "; ".join(valuation.reference.assumptions) + ".")
    here = {row.item: row for row in valuation.on_course}
    headings = ["Item", f"W at\n{valuation.speeds[1] * 3.6:.0f} km/h", "s over\n40 km", "Gain?",
                "Evidence"]
    if here:
        headings = ["Item", "s over\n40 km", "s on the\ncourse", "Price",
                    f"{valuation.currency}\nper s", "Gain?"]
    rows: list[tuple[str, ...]] = []
    for worth in valuation.worths:
        name, flat = worth.effect.item, between(worth.seconds, worth.seconds_sd)
        if here:
            rows.append((name, flat, number_range(here[name].low, here[name].high),
                         *per_second(valuation, worth), gain(valuation, worth)))
        else:
            rows.append((name, between(worth.watts[1], worth.watts_sd[1]), flat,
                         gain(valuation, worth), worth.effect.basis))
    table(headings, rows,
          "What each saves on its own, 90 % range" + (f"{ALONE}; ≈ no clear gain" if here else ""),
          left=(0, 5) if here else (0, 3, 4))
