"""`kitpace fieldtest`: CdA and Crr from recorded rides, and setups compared."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING

import click

from optimizer.cli import _outputs
from optimizer.cli._numbers import Number, TellingAll
from optimizer.cli._options import wind_option
from optimizer.cli._terminal import progress_line, say, table
from optimizer.defaults import HUMIDITY, NINE_IN_TEN, ROLLING_RESISTANCE
from optimizer.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.conditions import Conditions
    from optimizer.ride.balance import Assumptions
    from optimizer.ride.comparison import Comparison
    from optimizer.ride.field_test import FieldTest, Runs
    from optimizer.ride.ride import Ride

__all__ = ["command"]

_UNKNOWN_AIR, _KNOWN_AIR = 0.02, 0.005  # relative error of the density


@click.command("fieldtest", cls=TellingAll)
@click.argument("rides", metavar="RIDE...", nargs=-1, required=True, type=click.Path())
@click.option("--mass", metavar="KG", type=Number(30, 250, "kg"), required=True,
              help="Rider with bike, clothes and bottles, as weighed.")
@click.option("--setups", metavar="A,B,B,A",
              help="What each ride was ridden with, in the order of the rides.")
@click.option("--crr", metavar="CRR", type=Number(0.001, 0.03),
              default=ROLLING_RESISTANCE.value, show_default=True,
              help="Rolling resistance of the tyres, as well as you know it.")
@click.option("--crr-sd", metavar="SD", type=Number(0.00005, 0.02), default=0.003,
              show_default=True, help="How sure that is: one standard deviation.")
@click.option("--temperature", metavar="C", type=Number(-30, 55, "C"),
              help="Temperature of the air [°C].")
@click.option("--pressure", metavar="HPA", type=Number(500, 1090, "hPa"),
              help="Air pressure at the place, not reduced to sea level.")
@click.option("--humidity", metavar="PERCENT", type=Number(0, 100, "%"),
              default=HUMIDITY.value,
              show_default=True, help="Relative humidity.")
@partial(wind_option, instead="; measure it, or take it from a station")
@click.option("--forecast", metavar="FILE.csv", type=click.Path(),
              help="A table of the wind by hour, instead of --wind.")
@click.option("--power-accuracy", metavar="PERCENT", type=Number(0.01, 20, "%"), default=1.5,
              show_default=True,
              help="How far the power meter may be off: one standard deviation, in percent.")
@click.option("--lap-km", metavar="KM", type=Number(0.1, 100, "km"),
              help="Length of the lap, for rides without positions.")
@click.option("--leave-out", metavar="[N:]KM-KM", multiple=True,
              help="A stretch to leave out, of ride N; may be given several times.")
@click.option("--surface", metavar="[N:]KM-KM", multiple=True,
              help="Measure the surface of this stretch of ride N against the rest; several times "
                   "for several passes.")
@click.option("--features", metavar="FILE.csv", type=click.Path(),
              help="Add the measured surface to a table of features of a course.")
@click.option("--row", "row_file", metavar="FILE.csv", type=click.Path(),
              help="Add the comparison to an evidence table as a row; begin one if there is none. "
                   "A sheet is taken as well: club.xlsx#Evidence.")
@click.option("--out", metavar="FILE.html", type=click.Path(),
              help="Where the page goes; beside the first ride by default.")
@_outputs.overwrite_option
@click.pass_context
def command(context: click.Context, rides: tuple[str, ...], mass: float, setups: str | None,
            crr: float, crr_sd: float, temperature: float | None, pressure: float | None,
            humidity: float, wind: tuple[float, float] | None, forecast: str | None,
            power_accuracy: float, lap_km: float | None, leave_out: tuple[str, ...],
            surface: tuple[str, ...], features: str | None, row_file: str | None,
            out: str | None, overwrite: bool) -> None:
    """Find CdA and Crr from recorded rides with power, and say how sure they are.

    RIDE is FIT, GPX or CSV with power; a CSV has elapsed_s or time, speed_mps or speed_kmh,
    power_w, and if known elevation_m, latitude_deg, longitude_deg and distance_m. Ride laps, or
    out and back, on a road with little traffic: steadily, some laps slower, some faster. --setups
    compares the rides; the order A-B-B-A separates a change from a drift.

    \b
    Example:
      kitpace fieldtest sunday.csv --mass 84.5 --temperature 21 --pressure 1003
      kitpace fieldtest 1.gpx 2.gpx 3.gpx 4.gpx --mass 84.5 \\
          --setups helmet-a,helmet-b,helmet-b,helmet-a --row evidence.csv
    """  # noqa: D301 - click reads the \b
    page = Path(out) if out else _outputs.beside(rides[0], "-fieldtest.html")
    _outputs.check_run([_outputs.page("--out", page),
                        *([_outputs.row("--row", row_file)] if row_file else []),
                        *([_outputs.row("--features", features)] if features else [])],
                       (*rides, forecast), overwrite=overwrite)
    if features and not surface:
        raise InputError("--features", "",
                         "is the file for a measured surface, and no stretch is named",
                         "name the stretch: --surface 3.2-4.6")
    from optimizer.files import write_all
    from optimizer.report.fieldtest_page import evidence_row, fieldtest_page
    from optimizer.ride.balance import Assumptions, wind_sd_of
    from optimizer.ride.surface import surface_of
    from optimizer.scenario.course_file import with_surface
    from optimizer.scenario.evidence_file import check_item, with_row
    from optimizer.scenario.ride_file import read_ride
    from optimizer.scenario.spreadsheet_file import without_sheet

    with progress_line("Reading the rides") as progress:
        names = _setup_names(setups, len(rides))
        stretches = tuple(_stretch(text, len(rides)) for text in leave_out)
        passes = tuple(_stretch(text, len(rides), "--surface") for text in surface)
        if row_file and len(set(names)) != 2:
            raise InputError("--row", "", f"needs two setups, and there are {len(set(names))}",
                             "compare two of them, as in --setups a,b,b,a")
        if row_file:
            first, second = dict.fromkeys(names)
            check_item(row_file, second, first)
        recorded = tuple(read_ride(name) for name in rides)
        known_air = temperature is not None and pressure is not None
        assumptions = Assumptions(
            power_scale_sd=(power_accuracy**2 + 0.5**2)**0.5 / 100, rolling_resistance_sd=crr_sd,
            density_sd=_KNOWN_AIR if known_air else _UNKNOWN_AIR)
        if wind is not None:
            assumptions = replace(assumptions, wind_sd=wind_sd_of(wind[0] / 3.6))
        runs = _runs(recorded, names, _weather(recorded, temperature, pressure, humidity, wind,
                                               forecast), mass, crr, assumptions, lap_km,
                     stretches)
        runs = replace(runs, rolling_from=_rolling_from(context))
        progress("fitting")
        test, compared = _fit(runs)
        measured = surface_of(runs, passes) if passes else None
        pages: list[tuple[str | Path, str | bytes]] = [(page, fieldtest_page(test, compared))]
        left_out: tuple[str, ...] = ()
        if row_file:
            table_bytes, left_out = with_row(row_file, evidence_row(test, compared[0]))
            pages.append((without_sheet(row_file)[0], table_bytes))
        if features and measured:
            pages.append((features, with_surface(
                features, measured.start, measured.end, measured.factor,
                f"measured, ± {NINE_IN_TEN * measured.factor_sd:.2f}")))
        titles = ["Page", *(["Row added to"] if row_file else []),
                  *(["Surface added to"] if features else [])]
        written = zip(titles, write_all(pages), strict=True)
    _tell(test, compared)
    if measured:
        say(f"The surface from km {measured.start / 1000:g} to {measured.end / 1000:g} has "
            f"{measured.factor:.2f} ± {NINE_IN_TEN * measured.factor_sd:.2f} times the Crr of "
            f"the rest (90 % range), from {measured.length / 1000:.1f} km of passes.")
    if left_out:
        say(f"{row_file} has no column for {', '.join(left_out)}: left out of its new row.")
    say()
    for what, path in written:
        say(f"{what}: {path}")


def _rolling_from(context: click.Context) -> str:
    """Say which of Crr and its error were stated."""
    crr, error = (context.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE
                  for name in ("crr", "crr_sd"))
    if not crr:
        return "as assumed (no --crr given)"
    return "as stated" if error else "as stated, its range assumed (no --crr-sd given)"


def _setup_names(setups: str | None, count: int) -> tuple[str, ...]:
    if setups is None:
        return ("as ridden",) * count
    names = tuple(name.strip() for name in setups.split(","))
    if len(names) != count or not all(names):
        raise InputError("--setups", "", f"names {len(names)} setups, and there "
                                         f"{'is one ride' if count == 1 else f'are {count} rides'}",
                         "name one for each ride, separated by commas")
    strange = next((name for name in names if name[0] in "=+-@'#" or not name.isprintable()), None)
    if strange is not None:
        raise InputError("--setups", "", f'"{strange}" cannot name a row of a table',
                         "begin it with a letter or a digit")
    return names


def _weather(rides: Sequence[Ride], temperature: float | None, pressure: float | None,
             humidity: float, wind: tuple[float, float] | None,
             forecast: str | None) -> tuple[Conditions, ...]:
    import numpy as np

    from optimizer.scenario.weather import weather

    out = []
    for ride in rides:
        height = float(np.mean(ride.elevation)) if ride.has_elevation else 0.0
        try:
            conditions = weather(
                wind_kmh=wind[0] if wind else 0.0, wind_from_deg=wind[1] if wind else 0.0,
                temperature_c=20.0 if temperature is None else temperature, pressure_hpa=pressure,
                humidity_percent=humidity, elevation_m=height, start_time=ride.start)
        except InputError as error:  # say which ride, or which option
            of_ride = error.where in {"elevation_m", "start_time"}
            raise InputError(ride.name if of_ride else f"--{error.where.replace('_', '-')}",
                             error.where if of_ride else "", error.problem,
                             error.remedy) from error
        if forecast is not None and wind is None:
            from optimizer.scenario.forecast_file import read_forecast

            conditions = read_forecast(forecast, ride.start, conditions)
        out.append(conditions)
    return tuple(out)


def _runs(rides: tuple[Ride, ...], names: tuple[str, ...], conditions: tuple[Conditions, ...],
          mass: float, crr: float, assumptions: Assumptions, lap_km: float | None,
          leave_out: tuple[tuple[int, float, float], ...]) -> Runs:
    from optimizer.physics import Setup
    from optimizer.ride.field_test import Runs

    bike = Setup("as ridden", 10.0, crr)
    return Runs(rides, names, conditions, bike, mass - bike.mass,
                assumptions, None if lap_km is None else 1000.0 * lap_km,
                leave_out)


def _stretch(text: str, count: int, option: str = "--leave-out") -> tuple[int, float, float]:
    from optimizer.scenario.tables import parse_number

    try:
        number, _, span = text.rpartition(":")
        low, high = (1000.0 * parse_number(part.strip()) for part in span.split("-", 1))
        ride = int(number or 1) - 1
    except ValueError as error:
        raise InputError(option, "", f'"{text}" is not a stretch',
                         "write kilometres, as 3.2-3.6, or 2:3.2-3.6 for the second ride"
                         ) from error
    if not (0 <= ride < count and 0.0 <= low < high):
        raise InputError(option, "", f'"{text}" is not a stretch of these rides',
                         "write the smaller kilometre first"
                         + (f", and a ride from 1 to {count}" if count > 1 else ""))
    return ride, low, high


def _fit(runs: Runs) -> tuple[FieldTest, list[Comparison]]:
    """Fit CdA of each setup, and compare every two of them where there are several."""
    from optimizer.ride.comparison import compare
    from optimizer.ride.field_test import field_test

    test = field_test(runs)
    if len(test.names) == 1:
        return test, []
    apart = field_test(runs, each_ride=True)
    return test, [compare(apart, a, b) for a, b in combinations(test.names, 2)]


def _tell(test: FieldTest, compared: Sequence[Comparison]) -> None:
    from optimizer.report.fieldtest_page import (
        comparison_sentences,
        drag_rows,
        left_out_rows,
        sentences,
    )

    for comparison in compared:
        say(*comparison_sentences(comparison))
    say(*sentences(test))
    table(("", "value", "90 % range", "W at 40 km/h"), drag_rows(test))
    if test.left_out:
        table(("left out of", "km", "for", "why"), left_out_rows(test), left=(0, 3))
