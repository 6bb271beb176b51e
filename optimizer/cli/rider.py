"""`kitpace rider`: what a rider can hold, from a rider file, best efforts or recorded rides."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from optimizer.cli import _outputs
from optimizer.cli._numbers import TellingAll
from optimizer.cli._terminal import progress_line, reading_notes, say, table
from optimizer.errors import InputError

if TYPE_CHECKING:
    from optimizer.rider import Rider
    from optimizer.rider.fit import Ability
    from optimizer.rider.power_duration import Model

__all__ = ["command"]

_MODELS = ("auto", "inverse-time", "work", "time", "three-parameter", "long", "long-assumed",
           "omni")


@click.command("rider", cls=TellingAll)
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path())
@click.option("--model", type=click.Choice(_MODELS), default="auto", show_default=True,
              help="Which model of power against duration counts.")
@click.option("--out", metavar="FILE.html", type=click.Path(),
              help="Where the page goes; beside FILE by default.")
@_outputs.overwrite_option
def command(files: tuple[str, ...], model: str, out: str | None, overwrite: bool) -> None:
    """Say what power the rider in FILE can hold, for how long, and how sure that is.

    FILE is a rider file (TOML); or a table of best efforts (CSV with minutes or seconds, and
    power_w); or one or more recorded rides (CSV with time and power_w, GPX with power, FIT),
    whose best powers are used.

    In a rider file, altitude and heat of [environment] take "none" or the mean of published
    tests: altitude "unacclimatised" and "acclimatised" (Bassett et al. 1999) or "linear" (Wehrlin
    and Hallén 2006); heat "unacclimatised" (Tatterson et al. 2000) or "acclimatised" (Racinais et
    al. 2015). The page shows what each takes.

    \b
    Example:
      kitpace rider courses/tarn-loop/rider.toml
      kitpace rider april.gpx may.gpx --model omni
    """  # noqa: D301 - click reads the \b
    first = Path(files[0])
    page = Path(out) if out else _outputs.beside(
        first, ".html" if first.suffix.lower() == ".toml" else "-rider.html")
    _outputs.check_run([_outputs.page("--out", page)], files, overwrite=overwrite)
    from optimizer.files import write_atomic
    from optimizer.report.rider_page import rider_page

    with progress_line("Fitting"):
        rider, ability = _read(files, None if model == "auto" else cast("Model", model))
        written = write_atomic(page, rider_page(rider, ability))
    _tell(rider, ability)
    reading_notes(ability.notes if ability is not None else ())
    say()
    say(f"Page: {written}")


def _read(files: tuple[str, ...], model: Model | None) -> tuple[Rider | None, Ability | None]:
    from optimizer.rider.fit import assess_efforts
    from optimizer.scenario.power_file import read_power_files
    from optimizer.scenario.rider_file import read_ability

    toml = [name for name in files if Path(name).suffix.lower() == ".toml"]
    if toml:
        if len(files) > 1:
            raise InputError(toml[0], "", "is a rider file, and other files are named with it",
                             "name the rides in the rider file, as rides = [...], or leave the "
                             "rider file out")
        return read_ability(toml[0], model)
    efforts = read_power_files(files)
    try:
        return None, assess_efforts(efforts, model)
    except InputError as error:
        raise InputError(files[0], "", error.problem, error.remedy) from error


def _tell(rider: Rider | None, ability: Ability | None) -> None:
    from optimizer.report.rider_page import model_rows, sentences

    say(*sentences(rider, ability))
    if ability is not None:
        for warning in ability.warnings:
            say(f"Warning: {warning}.")
    for line in rider.assumed if rider is not None else ():
        say(f"Assumed: {line}.")
    if ability is not None:
        models = model_rows(ability)
        told = any(row[-1] != "–" for row in models)  # there are efforts enough for the criterion
        table(("Model", "CP, W", "W', kJ", "Scatter, W", "AICc")[:5 if told else 4],
              [row[:5 if told else 4] for row in models],
              "Models of power against duration" + (
                  "; AICc: how much worse than the best, under 2 is no difference" if told else ""))
