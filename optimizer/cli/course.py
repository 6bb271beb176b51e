"""`kitpace course`: what a course is, how far its data can be trusted, and when to start."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from optimizer.cli import _outputs
from optimizer.cli._numbers import Number, TellingAll, WholeNumber
from optimizer.cli._terminal import progress_line, say, table
from optimizer.defaults import GRIP_USED
from optimizer.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable

    from optimizer.conditions import Conditions
    from optimizer.course import Course
    from optimizer.job.start_times import StartTime
    from optimizer.scenario.terrain_file import TerrainModel

__all__ = ["command"]

_OF_A_SCENARIO = {"features": "[[stretch]], [[corner]] and [[mark]]", "from_km": "from_km",
                  "to_km": "to_km", "reverse": "reverse", "laps": "laps", "piece": "piece",
                  "flat": "flat", "heights": "heights", "heights_unit": "heights_unit",
                  "smoothing": "smoothing", "keep": "keep", "skill_percent": "skill_percent",
                  "wet": "wet",
                  "descent_cap_kmh": "descent_cap_kmh"}


@click.command("course", cls=TellingAll)
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path())
@click.option("--features", metavar="FILE.csv", type=click.Path(),
              help="Surfaces, terrain, shelter, limits and marks: a table with the columns what, "
                   "from_km, to_km, value, name.")
@click.option("--from-km", type=Number(0, 2000, "km"), metavar="KM",
              help="Where the course starts on the track.")
@click.option("--to-km", type=Number(0, 2000, "km"), metavar="KM", help="Where it ends.")
@click.option("--reverse", is_flag=True, help="Ride it the other way round.")
@click.option("--laps", metavar="N", type=WholeNumber(1, 100), default=1,
              help="How often it is ridden.")
@click.option("--piece", type=WholeNumber(1, 100_000), metavar="N",
              help="Which of several unconnected pieces of the track; the longest without it.")
@click.option("--flat", is_flag=True, help="Take a track without heights as flat.")
@click.option("--smoothing", type=Number(0, 1e12, above=True), metavar="X",
              help="Fixed smoothing of the heights; without it the data's own noise decides.")
@click.option("--heights", metavar="FILE.tif", multiple=True, type=click.Path(),
              help="A terrain model that gives the heights instead of FILE: GeoTIFF; may be given "
                   "several times, for tiles.")
@click.option("--heights-unit", type=click.Choice(["m", "ft"]),
              help="Unit of its heights, where it does not say it.")
@click.option("--keep", metavar="NAME", multiple=True,
              help="An error to leave uncorrected, as the table of corrections names it.")
@click.option("--skill-percent", type=Number(10, 100, "%"), metavar="X",
              default=GRIP_USED.value,
              help="Share of the tyres' grip used in corners: 40 careful, 60 practised, 75 bold.")
@click.option("--wet", is_flag=True, help="A wet road.")
@click.option("--descent-cap-kmh", type=Number(20, 130, "km/h"), metavar="KMH",
              help="A speed that the rider does not want to pass.")
@click.option("--out", metavar="FILE.html", type=click.Path(),
              help="Where the page goes; beside FILE by default.")
@click.option("--gpx", "gpx_file", metavar="FILE.gpx", type=click.Path(),
              help="Write the cleaned course as GPX as well.")
@_outputs.overwrite_option
@click.pass_context
def command(context: click.Context, /, files: tuple[str, ...], out: str | None,
            gpx_file: str | None, overwrite: bool, **options: Any) -> None:
    """Describe the course in FILE: ascent, grades, corners, errors in the track, warnings.

    FILE is a track: GPX, FIT (a course or a recorded ride) or a table with latitude and longitude;
    or several that follow each other. Or FILE is one scenario: then the page also shows air and
    wind and, with an hourly forecast, the finish time for each start.

    \b
    Example:
      kitpace course courses/quern-pass/course.gpx
      kitpace course loop.gpx --laps 2 --features roads.csv
      kitpace course courses/tarn-loop/scenario.toml
    """  # noqa: D301 - click reads the \b
    first = Path(files[0])
    page = Path(out) if out else _outputs.beside(first, "-course.html")
    _outputs.check_run([_outputs.page("--out", page),
                        *([_outputs.gpx("--gpx", gpx_file)] if gpx_file else [])],
                       (*files, options["features"]), overwrite=overwrite)
    from optimizer.course.gpx import course_gpx
    from optimizer.files import write_all
    from optimizer.report.course_page import course_page

    course: Course
    conditions: Conditions | None
    starts: tuple[StartTime, ...]
    with progress_line("Reading") as progress:
        if first.suffix.lower() == ".toml":
            _refuse(context, files)
            from optimizer.job.start_times import start_times
            from optimizer.scenario.scenario import read_course_and_weather, read_ride

            course, conditions = read_course_and_weather(files[0])
            starts = (start_times(read_ride(files[0]), progress=progress)
                      if len(conditions.wind_time) > 1 and conditions.start_time else ())
        else:
            course, conditions, starts = _read(files, **options), None, ()
        contents: list[tuple[str | Path, str]] = [(page, course_page(course, conditions, starts))]
        if gpx_file:
            contents.append((gpx_file, course_gpx(course)))
        written = zip(("Page", "GPX"), write_all(contents), strict=False)
    _tell(course, conditions, starts)
    say()
    for what, path in written:
        say(f"{what}: {path}")


def _refuse(context: click.Context, files: tuple[str, ...]) -> None:
    """Refuse options beside a scenario, which says itself how its course is taken."""
    if len(files) > 1:
        raise InputError(files[0], "", "is a scenario, and other files are named with it",
                         "name one scenario alone, or tracks only")
    given = [name for name in _OF_A_SCENARIO
             if context.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE]
    if given:
        raise InputError(files[0], "",
                         f"is a scenario, and --{given[0].replace('_', '-')} is for tracks",
                         f"write {_OF_A_SCENARIO[given[0]]} in the scenario instead")


def _read(files: tuple[str, ...], *, features: str | None, from_km: float | None,
          to_km: float | None, reverse: bool, laps: int, piece: int | None, flat: bool,
          smoothing: float | None, heights: tuple[str, ...], heights_unit: str | None,
          keep: tuple[str, ...], skill_percent: float, wet: bool,
          descent_cap_kmh: float | None) -> Course:
    from optimizer.course import MENDING, Cleaning, Handling, Shape
    from optimizer.scenario.course_file import read_features
    from optimizer.scenario.tables import suggest
    from optimizer.scenario.track_file import read_course

    for name in keep:
        if name not in MENDING:
            raise InputError("--keep", "", f'"{name}" is not a correction that kitpace makes',
                             suggest(name, MENDING))
    return _at_options(lambda: read_course(
        files,
        shape=Shape(1000 * (from_km or 0.0), None if to_km is None else 1000 * to_km, reverse,
                    laps),
        cleaning=Cleaning(skip=frozenset(keep), penalty=smoothing, flat=flat, piece=piece),
        handling=Handling(skill=skill_percent / 100, wet=wet,
                          descent_cap=(descent_cap_kmh or math.inf) / 3.6),
        features=read_features(features) if features else None,
        terrain=_terrain(heights, heights_unit)))


def _at_options(read: Callable[[], Course]) -> Course:
    """Read a course; what is wrong with how it is cut is said of the option that says so."""
    try:
        return read()
    except InputError as error:
        if error.where not in _OF_A_SCENARIO:
            raise
        raise InputError(error.file, f"--{error.where.replace('_', '-')}", error.problem,
                         error.remedy) from error


def _terrain(names: tuple[str, ...], unit: str | None) -> TerrainModel | None:
    from optimizer.scenario.terrain_file import read_terrain, terrain_files

    return read_terrain(terrain_files(Path(), names), unit) if names else None


def _tell(course: Course, conditions: Conditions | None, starts: tuple[StartTime, ...]) -> None:
    from optimizer.report.course_page import (
        CAUTION,
        START_CAPTION,
        START_HEADINGS,
        WIND_WORDS,
        corner_rows,
        grade_rows,
        leg_rows,
        sentences,
        start_rows,
        start_sentence,
    )
    from optimizer.report.heights import HEADINGS, height_rows, height_sentences

    say(f"{course.name}:", *sentences(course), *height_sentences(course))
    for warning in course.warnings:
        say(f"Warning: {warning}")
    say(CAUTION)
    headings = ("Stretch", "km", "up, m", "grade, %", "head, km/h", "cross, km/h")
    rows = leg_rows(course, conditions)
    table(headings[:len(rows[0])], rows, "Stretches between the marks" + (
        f"; {WIND_WORDS}" if conditions is not None else ""))
    differing = height_rows(course)
    if differing:
        table(HEADINGS, differing, "Heights by terrain model and by track")
    table(("Steepest", "up", "from", "down", "from"), grade_rows(course))
    if course.corners:
        slowest = sorted(course.corners, key=lambda corner: corner.speed)[:12]
        table(("km", "", "turn", "radius, m", "km/h"),
              corner_rows(sorted(slowest, key=lambda corner: corner.distance)),
              f"The slowest {len(slowest)} of {len(course.corners)} corners; the page has all"
              if len(slowest) < len(course.corners) else "Corners", left=(1, 2))
    if course.corrections:
        table(("Error", "found", "what was done", "name"),
              [(c.what, c.count, c.effect, c.option or "-") for c in course.corrections],
              "Corrected; --keep NAME leaves one as it is", left=(0, 2, 3))
    if starts:
        say()
        say(start_sentence(starts))
        table(START_HEADINGS, start_rows(starts),
              f"Finish time against start time. {START_CAPTION}")
