"""The scenario file: one TOML that names everything a plan needs."""

from __future__ import annotations

import difflib
import math
from dataclasses import replace
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, Field

from optimizer import defaults
from optimizer.course import (
    MENDING,
    SURFACES,
    TERRAINS,
    Cleaning,
    Features,
    Handling,
    Limit,
    Mark,
    Obstacle,
    Shape,
    Stretch,
)
from optimizer.course.shelter import KINDS
from optimizer.errors import InputError, InputErrors
from optimizer.evidence import Datum
from optimizer.job import Job, Options, effects_for
from optimizer.kit import Catalogue
from optimizer.physics import Setup
from optimizer.scenario.assumptions import defaults_in_words, of_heights, of_limits
from optimizer.scenario.course_cache import cached_course
from optimizer.scenario.rider_file import read_ability
from optimizer.scenario.tables import plain_name, suggest
from optimizer.scenario.toml_file import TomlFile, check, toml_of
from optimizer.scenario.toml_table import TomlTable, assumed
from optimizer.scenario.units import degrees_of
from optimizer.scenario.weather import weather

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.conditions import Conditions
    from optimizer.course import Course
    from optimizer.evidence import Effect
    from optimizer.rider import Rider
    from optimizer.scenario.terrain_file import TerrainModel

__all__ = ["Scenario", "named_as_listed", "read_course_and_weather", "read_ride",
           "read_scenario"]

_SLOW = 30 / 3.6  # m/s, by which a ride may take as long as it takes

Km = Annotated[float, Field(ge=0, le=2000)]
Percent = Annotated[float, Field(ge=0, le=100)]


class CourseTable(TomlTable):
    """`[course]`: the track and how it is taken."""

    gpx: str | Annotated[list[str], Field(min_length=1)] = Field(
        description="the track: a GPX or FIT file or a table of positions, relative to this file, "
        "or several that follow on each other in [ ]")
    from_km: Km | None = Field(default=None, description="where the course starts on the track")
    to_km: Km | None = Field(default=None, description="where the course ends on the track")
    reverse: bool = Field(default=False, description="true: ride it the other way round")
    laps: int = Field(default=1, ge=1, le=100, description="how often it is ridden")
    piece: int | None = Field(default=None, ge=1, le=100_000, description="which of "
                              "several unconnected pieces of the track to take; the longest "
                              "without it")
    flat: bool = Field(default=False, description="true: take a track without elevation as flat")
    smoothing: float | None = Field(
        default=None, gt=0, le=1e12, description="fixed smoothing of the elevation, larger is "
        "smoother; without it the data's own noise decides")
    features: str | None = Field(default=None, description="a CSV of surfaces, terrain, "
                                 "shelter, speeds and marks")
    heights: str | list[str] | None = Field(default=None, description="a terrain model that gives "
                                            "the heights instead: GeoTIFF files, or tiles/*.tif")
    heights_unit: Literal["m", "ft"] | None = Field(
        default=None, description="unit of its heights, where the files do not say it")
    surface_model: str | list[str] | None = Field(
        default=None, description="a surface model next to the terrain model: what stands on the "
        "ground shelters the road")
    keep: list[str] = Field(default=[], description="errors of the track to leave uncorrected, of "
                            + ", ".join(MENDING))


class HandlingTable(TomlTable):
    """`[handling]`: how corners and descents are ridden."""

    unknown_keys: ClassVar[dict[str, str]] = {r"^dead_turn_kmh$": "it is now u_turn_kmh"}

    skill_percent: float = assumed(
        defaults.GRIP_USED, ge=10, le=100, description="share of the tyres' grip used in "
        "corners: 40 careful, 60 practised, 75 bold",
        words="{} % of the tyres' grip used in corners (common practice)")
    braking_mps2: float = assumed(
        defaults.BRAKING, ge=0.5, le=6.0, description="a comfortable deceleration in the dry",
        words="braking at {} m/s² in the dry (common practice)")
    u_turn_kmh: float = assumed(
        defaults.U_TURN_SPEED, ge=3, le=40, description="speed round a U-turn",
        words="U-turns at {} km/h (common practice)")
    descent_cap_kmh: float | None = Field(default=None, ge=20, le=130,
                                          description="a speed that the rider does not want to "
                                                      "pass")


class MarkTable(TomlTable):
    """`[[mark]]`: a named place, where a split is taken."""

    name: str = Field(min_length=1, max_length=80, description="name of the place")
    km: Km = Field(description="kilometres from the start")


class CornerTable(TomlTable):
    """`[[corner]]`: a speed of the rider's own for one place."""

    km: Km | None = Field(default=None, description="kilometres from the start")
    mark: str | None = Field(default=None, description="or the name of a mark")
    speed_kmh: float = Field(ge=3, le=130, description="speed through it")


class StretchTable(TomlTable):
    """`[[stretch]]`: a part of the course with another surface, terrain, shelter or law."""

    from_km: Km = Field(description="where it starts")
    to_km: Km = Field(description="where it ends")
    surface: str | None = Field(default=None, description=f"one of {', '.join(SURFACES)}")
    terrain: str | None = Field(default=None, description=f"one of {', '.join(TERRAINS)}")
    wind_left_percent: Percent | None = Field(
        default=None, description="share of the open wind that reaches the road")
    speed_cap_kmh: float | None = Field(default=None, ge=3, le=130,
                                        description="a speed that must not be passed")
    beside: Literal["hedge", "houses", "wood"] | None = Field(
        default=None, description="what stands beside the road and shelters it")
    side: Literal["left", "right", "both"] = Field(default="both", description="where it stands")
    height_m: float | None = Field(default=None, ge=1.5, le=60, description="how high it is")
    distance_m: float | None = Field(default=None, ge=2, le=200,
                                     description="how far from the middle of the road")


class WindTable(TomlTable):
    """`wind`: the same wind all day."""

    speed_kmh: float = Field(ge=0, le=150, description="mean wind at ten metres")
    from_deg: Annotated[float, BeforeValidator(degrees_of)] = Field(
        ge=0, le=360, description='where it comes from: 0 north, 90 east, or "SW"')


class ConditionsTable(TomlTable):
    """`[conditions]`: the weather."""

    unknown_keys: ClassVar[dict[str, str]] = {
        r"^wind_doubt_percent$": "it is now wind_uncertainty_percent",
        r"^wind_doubt_deg$": "it is now wind_uncertainty_deg"}

    temperature_c: float = assumed(
        defaults.TEMPERATURE, ge=-30, le=55, description="temperature of the air at the start",
        words="air of {} °C")
    pressure_hpa: float | None = Field(default=None, ge=500, le=1090,
                                       description="air pressure at the course, not reduced to "
                                                   "sea level")
    humidity_percent: Percent = assumed(
        defaults.HUMIDITY, description="relative humidity",
        words="a relative humidity of {} %")
    wind: WindTable | None = Field(default=None, description="the mean wind, such as "
                                   "{ speed_kmh = 12, from_deg = 250 }")
    forecast: str | list[str] | None = Field(
        default=None, description="the weather by hour: a CSV, or NetCDF and GRIB2 files")
    wind_uncertainty_percent: float = assumed(
        defaults.WIND_SPEED_SD, ge=0, le=100, description="how far the forecast speed may be "
        "off: one standard deviation, in percent",
        words="a forecast wind speed that may be off by ± {half} % (common practice)")
    wind_uncertainty_deg: float = assumed(
        defaults.WIND_DIRECTION_SD, ge=0, le=90, description="how far its direction may be off: "
        "one standard deviation",
        words="a forecast wind direction that may be off by ± {half}° (common practice)")
    wet: bool = Field(default=False, description="true: a wet road")
    extrapolate: bool = Field(default=False, description="true: a start outside of the forecast "
                              "takes its nearest hour, with a warning")
    start_time: datetime | None = Field(default=None,
                                        description="local start, such as 2030-06-16T09:00:00")


class BikeTable(TomlTable):
    """`[bike]`: bike and kit as they stand today, before any item of the catalogue."""

    mass_kg: float = assumed(
        defaults.BIKE_MASS, ge=4, le=60, description="bike, kit and bottles",
        words="bike and kit of {} kg")
    rolling_resistance: float = assumed(
        defaults.ROLLING_RESISTANCE, ge=0.001, le=0.03, description="Crr of the tyres on smooth "
        "asphalt",
        words="tyres with a Crr of {}")
    rolling_resistance_sd: float = assumed(
        defaults.ROLLING_RESISTANCE_SD, ge=0, le=0.005, description="how sure that is: one "
        "standard deviation",
        words="a Crr that may be off by ± {half} (a judgement)")
    mass_sd_kg: float = assumed(
        defaults.MASS_SD, ge=0, le=10, description="how sure the mass of rider and bike together "
        "is: one standard deviation",
        words="a mass that may be off by ± {half} kg (a judgement)")
    drivetrain_efficiency: float = assumed(
        defaults.DRIVETRAIN_EFFICIENCY, ge=0.7, le=1.0, description="power at the wheel over "
        "power at the cranks",
        words="a drivetrain efficiency of {} (Martin et al. 1998)")
    wheel_inertia_kgm2: float = assumed(
        defaults.WHEEL_INERTIA, ge=0, le=1, description="moment of inertia of both wheels",
        words="a moment of inertia of {} kg m² for both wheels (Martin et al. 1998)")
    wheel_radius_m: float = assumed(
        defaults.WHEEL_RADIUS, ge=0.2, le=0.45, description="radius of a wheel with its tyre",
        words="wheels with a radius of {} m (rim of 622 mm, ISO 5775, tyre 23 mm high)")
    crosswind_limit_kmh: float | None = Field(
        default=None, ge=5, le=300,
        description="cross wind at the rider above which its own wheels are not ridden")


class KitTable(TomlTable):
    """`[kit]`: what could be bought, and what is known of it."""

    catalogue: str = Field(description="a CSV with one item per row")
    evidence: str | None = Field(default=None, description="a CSV with one test result per row")
    pairs: str | None = Field(default=None, description="a CSV of items whose gains overlap")
    priors: str | None = Field(default=None, description="a TOML file of what to believe of tests")
    rules: list[str] = Field(default=[], description="rule sets that apply: names, or files")


class SetTable(TomlTable):
    """`[[set]]`: a named set of kit, for comparing."""

    name: str = Field(min_length=1, max_length=80, description="name of the set")
    items: list[str] = Field(description="names from the catalogue")


class OptionsTable(TomlTable):
    """`[options]`: how to compute, and how to show the plan."""

    start: Literal["standing", "flying"] = Field(default="standing", description="standing or "
                                                                                 "flying start")
    start_speed_kmh: float | None = Field(default=None, gt=0, le=70,
                                          description="speed at a flying start")
    blocks: int = assumed(defaults.CARD_LINES, ge=1, le=60, description="lines of the card at most")
    power_rounding_w: float | None = Field(
        default=None, ge=0, le=50, description="rounding of its powers; about 1 % of CP if not "
        "given")
    empty_risk_percent: float | None = Field(
        default=None, gt=0, le=50,
        description="accepted chance to run out before the finish; without it the plan is for "
        "the expected day")
    draws: int = assumed(
        defaults.DRAWS, ge=20, le=20_000, description="how many days are drawn for the ranges")
    seed: int = assumed(
        defaults.SEED, ge=0, le=4_294_967_295, description="number that the draws start from; the "
        "same number gives the same draws")
    least_gain_s: float = assumed(
        defaults.LEAST_GAIN, ge=0, le=600, description="the cheapest kit is taken that is at most "
        "this much slower than the fastest within the budget",
        words="the cheapest kit is taken that is at most {} s slower than the fastest within the "
        "budget (a judgement)")
    step_m: float | None = Field(
        default=None, ge=1, le=500, description="length of the steps of the computation; without "
        "it the course decides")


class Scenario(TomlTable):
    """The whole file."""

    name: str = Field(min_length=1, max_length=120, description="name of the plan")
    rider: str = Field(description="the rider: a TOML file, relative to this one")
    budget: float = Field(default=0.0, ge=0, le=1e9, description="money for kit")
    currency: str = Field(default="EUR", min_length=1, max_length=8, description="currency of all "
                                                                                 "prices")
    course: CourseTable = Field(description="the table [course]")
    conditions: ConditionsTable = Field(default=ConditionsTable(), description="the weather")
    bike: BikeTable = Field(default=BikeTable(), description="bike and kit of today")
    kit: KitTable | None = Field(default=None, description="the table [kit]")
    handling: HandlingTable = Field(default=HandlingTable(), description="corners and descents")
    options: OptionsTable = Field(default=OptionsTable(), description="how to compute")
    mark: list[MarkTable] = Field(default=[], description="named places")
    corner: list[CornerTable] = Field(default=[], description="your own speeds for corners")
    stretch: list[StretchTable] = Field(default=[], description="surfaces, terrain, shelter")
    set: list[SetTable] = Field(default=[], description="named sets of kit")


def read_scenario(path: Path | str, *, budget: float | None = None,
                  wind: tuple[float, float] | None = None,
                  start_time: datetime | time | None = None,
                  rider_file: Path | None = None, forecast_file: Path | None = None,
                  kit: KitTable | None = None) -> Job:
    """Read a scenario and every file that it names into a job.

    Parameters
    ----------
    path : of the scenario (TOML)
    budget : money, in place of the scenario's
    wind : km/h and the degrees it comes from, in place of the scenario's and its forecast's
    start_time : in place of the scenario's
    rider_file, forecast_file : in place of those that the scenario names
    kit : in place of the scenario's table, with absolute paths; its named sets are left out

    Returns
    -------
    the job, ready for `run`

    Raises
    ------
    InputError
        with file, line or row, and what would be right

    Examples
    --------
    >>> import optimizer
    >>> job = optimizer.read_scenario("courses/petrel-flats/scenario.toml", budget=300)
    >>> job.budget, job.currency
    (300, 'EUR')
    """
    file = toml_of("scenario", path)
    scenario = check(Scenario, file)
    if kit is not None:  # with the sets of its own catalogue
        scenario = scenario.model_copy(update={"kit": kit, "set": []})
    course = _course(file, scenario)
    baseline = _baseline(scenario.bike)
    rider, of_rider = _rider(rider_file or file.there(scenario.rider, "rider"))
    conditions, of_weather = _conditions(file, scenario, course, wind, start_time, forecast_file)
    catalogue, effects, notes, readings = _kit(file, scenario, course, conditions, rider, baseline)
    catalogue, rules = _rules(file, scenario, catalogue)
    return Job(
        name=scenario.name, course=course, conditions=conditions, rider=rider, baseline=baseline,
        catalogue=catalogue, effects=effects,
        budget=scenario.budget if budget is None else budget, currency=scenario.currency,
        options=_options(file, scenario.options), rules=rules,
        named_sets=_sets(file, scenario, catalogue),
        assumptions=(*defaults_in_words(scenario, conditions, course), *of_heights(course),
                     *of_weather, *of_limits(course, conditions, catalogue), *notes),
        sources=_sources(file, scenario, rider_file.name if rider_file else scenario.rider,
                         "" if wind else forecast_file.name if forecast_file
                         else _listed(scenario.conditions.forecast)),
        notes=(*of_rider, *of_weather, *notes, *readings),
        asked=_asked(budget, wind, start_time, rider_file, forecast_file))


def _asked(budget: float | None, wind: tuple[float, float] | None,
           start_time: datetime | time | None, rider_file: Path | None,
           forecast_file: Path | None) -> tuple[tuple[str, str], ...]:
    """Give what stands in place of the scenario's own, as it is typed."""
    said = {"budget": None if budget is None else f"{budget:.12g}",
            "wind": None if wind is None else f"{wind[0]:.12g}@{wind[1]:.12g}",
            "start_time": None if start_time is None else start_time.isoformat(),
            "rider": None if rider_file is None else rider_file.name,
            "forecast": None if forecast_file is None or wind else forecast_file.name}
    return tuple((key, text) for key, text in said.items() if text is not None)


def read_course_and_weather(path: Path | str) -> tuple[Course, Conditions]:
    """Read what a scenario says of course and weather alone. Raises InputError as for a job."""
    file = toml_of("scenario", path)
    scenario = check(Scenario, file)
    course = _course(file, scenario)
    return course, _conditions(file, scenario, course, None, None, None)[0]


def read_ride(path: Path | str) -> Job:
    """Read a scenario without its kit: course, weather, rider and today's bike.

    Raises InputError as for a job.
    """
    file = toml_of("scenario", path)
    scenario = check(Scenario, file)
    course = _course(file, scenario)
    conditions, notes = _conditions(file, scenario, course, None, None, None)
    rider, of_rider = _rider(file.there(scenario.rider, "rider"))
    return Job(name=scenario.name, course=course, conditions=conditions, rider=rider,
               baseline=_baseline(scenario.bike), catalogue=Catalogue(()), effects=(), budget=0.0,
               currency=scenario.currency, options=_options(file, scenario.options),
               notes=(*of_rider, *notes))


def _course(file: TomlFile, scenario: Scenario) -> Course:
    notes: list[str] = []
    table, handling = scenario.course, scenario.handling
    paths = _there(file, table.gpx, "course", "gpx")
    for k, name in enumerate(table.keep):
        if name not in MENDING:
            raise file.error(f'"{name}" is not a correction that kitpace makes',
                             suggest(name, MENDING), "course", "keep", k)
    course = _placed_course(
        file, paths,
        shape=Shape(start=1000.0 * (table.from_km or 0.0),
                    end=None if table.to_km is None else 1000.0 * table.to_km,
                    reverse=table.reverse, laps=table.laps),
        cleaning=Cleaning(skip=frozenset(table.keep), penalty=table.smoothing, flat=table.flat,
                          piece=table.piece),
        handling=Handling(
            skill=handling.skill_percent / 100, wet=scenario.conditions.wet,
            braking=handling.braking_mps2, u_turn_speed=handling.u_turn_kmh / 3.6,
            descent_cap=(handling.descent_cap_kmh or math.inf) / 3.6),
        features=_features(file, scenario, notes), terrain=_terrain(file, scenario, "heights"),
        surface=_terrain(file, scenario, "surface_model"))
    _check_places(file, scenario, course.length / 1000)
    # What the race is called, not its track.
    return replace(course, name=scenario.name, warnings=(*course.warnings, *notes))


def _placed_course(file: TomlFile, paths: list[Path], **how: Any) -> Course:
    """Read the course; what is wrong with how it is cut is placed at the line that says so."""
    try:
        return cached_course(paths, **how)
    except InputError as error:
        if error.where not in CourseTable.model_fields:
            raise
        raise file.error(f"{Path(error.file).name} {error.problem}", error.remedy, "course",
                         error.where) from error


def _there(file: TomlFile, names: str | list[str], *key: str) -> list[Path]:
    """Paths of the files that a key names, one or several; InputError where one is not there."""
    if isinstance(names, str):
        return [file.there(names, *key)]
    return [file.there(name, *key, k) for k, name in enumerate(names)]


def _terrain(file: TomlFile, scenario: Scenario,
             key: Literal["heights", "surface_model"]) -> TerrainModel | None:
    """Open the terrain or surface model that the course names."""
    names = getattr(scenario.course, key)
    if not names:
        return None
    if not scenario.course.heights:
        raise file.error("a surface model needs the heights of the ground as well",
                         'name a terrain model as well: heights = "terrain.tif"', "course", key)
    from optimizer.scenario.terrain_file import read_terrain, terrain_files

    for k, name in enumerate([names] if isinstance(names, str) else names):
        if "*" not in name:
            file.there(name, "course", key, *(() if isinstance(names, str) else (k,)))
    return read_terrain(terrain_files(file.path.parent, names), scenario.course.heights_unit)


def _features(file: TomlFile, scenario: Scenario, notes: list[str]) -> Features:
    """Collect what no track holds, from this file and from a table that it names."""
    listed = Features()
    if scenario.course.features:
        from optimizer.scenario.course_file import read_features

        name = scenario.course.features
        unused: list[str] = []
        listed = read_features(file.there(name, "course", "features"), unused)
        notes += [f"{name}: {note}" for note in unused]
    return Features(
        stretches=(*listed.stretches, *_stretches(file, scenario)),
        limits=(*listed.limits,
                *(_limit(file, k, corner) for k, corner in enumerate(scenario.corner))),
        marks=(*listed.marks, *(Mark(mark.name, 1000.0 * mark.km) for mark in scenario.mark)),
        obstacles=tuple(_obstacle(stretch) for stretch in scenario.stretch if stretch.beside))


def _obstacle(stretch: StretchTable) -> Obstacle:
    height, away, porosity = KINDS[stretch.beside or ""]
    return Obstacle(1000 * stretch.from_km, 1000 * stretch.to_km,
                    {"left": -1, "right": 1, "both": 0}[stretch.side], stretch.height_m or height,
                    stretch.distance_m or away, porosity)


def _check_places(file: TomlFile, scenario: Scenario, length_km: float) -> None:
    """Refuse places beyond the course."""
    places = [("mark", k, "km", mark.km) for k, mark in enumerate(scenario.mark)]
    places += [("corner", k, "km", corner.km or 0.0) for k, corner in enumerate(scenario.corner)]
    places += [("stretch", k, "from_km", s.from_km) for k, s in enumerate(scenario.stretch)]
    for table, k, key, km in places:
        if km > length_km:
            raise file.error(f"{km:g} km is beyond the course of {length_km:.2f} km",
                             "count from the start of the course", table, k, key)


def _limit(file: TomlFile, k: int, corner: CornerTable) -> Limit:
    if (corner.km is None) == (corner.mark is None):
        raise file.error("needs either km or mark", "say where the corner is", "corner", k)
    return Limit(corner.mark or "", None if corner.km is None else 1000.0 * corner.km,
                 corner.speed_kmh / 3.6)


def _stretches(file: TomlFile, scenario: Scenario) -> list[Stretch]:
    found: list[Stretch] = []
    for k, stretch in enumerate(scenario.stretch):
        if stretch.to_km <= stretch.from_km:
            raise file.error(f"{stretch.to_km:g} km is not after from_km", "swap the two",
                             "stretch", k, "to_km")
        start, end, before = 1000 * stretch.from_km, 1000 * stretch.to_km, len(found)
        for key, known in (("surface", SURFACES), ("terrain", TERRAINS)):
            name = getattr(stretch, key)
            if name is not None and name not in known:
                raise file.error(f'"{name}" is not known', suggest(name, known), "stretch", k, key)
            if name is not None:
                found.append(Stretch(start, end, key, known[name]))
        if stretch.wind_left_percent is not None:
            found.append(Stretch(start, end, "shelter", stretch.wind_left_percent / 100))
        if stretch.speed_cap_kmh is not None:
            found.append(Stretch(start, end, "speed", stretch.speed_cap_kmh / 3.6))
        if len(found) == before and not stretch.beside:
            raise file.error("says nothing about this stretch", "give it a surface, terrain, "
                             "wind_left_percent, speed_cap_kmh or beside", "stretch", k)
    return found


def _baseline(bike: BikeTable) -> Setup:
    return Setup(
        name="as it stands", mass=bike.mass_kg, rolling_resistance=bike.rolling_resistance,
        rolling_resistance_sd=bike.rolling_resistance_sd, mass_sd=bike.mass_sd_kg,
        drivetrain_efficiency=bike.drivetrain_efficiency, wheel_inertia=bike.wheel_inertia_kgm2,
        wheel_radius=bike.wheel_radius_m,
        crosswind_limit=(bike.crosswind_limit_kmh or math.inf) / 3.6)


def _rider(path: Path) -> tuple[Rider, tuple[str, ...]]:
    """Rider, and in words how the table of efforts was read."""
    rider, ability = read_ability(path)
    return rider, ability.notes if ability is not None else ()


def _conditions(file: TomlFile, scenario: Scenario, course: Course,
                wind: tuple[float, float] | None, start_time: datetime | time | None,
                forecast: Path | None) -> tuple[Conditions, tuple[str, ...]]:
    """Weather of the ride, and in words what a forecast left open."""
    table = scenario.conditions
    if table.wind and table.forecast:
        raise file.error("is given, and so is forecast", "keep one of the two", "conditions",
                         "wind")
    speed, angle = wind or ((table.wind.speed_kmh, table.wind.from_deg) if table.wind
                            else (0.0, 0.0))
    start = table.start_time if start_time is None else start_time
    if isinstance(start, time):
        if table.start_time is None:
            raise file.error("is missing, and a start by the clock needs its day",
                             "give a date with the time",
                             "conditions", "start_time")
        start = datetime.combine(table.start_time.date(), start, table.start_time.tzinfo)
    height = float(course.elevation[0])
    if not -450 <= height <= 6000:
        raise file.error(f"the course starts at {height:.0f} m, and kitpace knows the air from "
                         "-450 to "
                         "6000 m", "check the heights of the track", "course", "gpx")
    if start is not None and not 1900 <= start.year <= 2200:
        raise file.error(f"{start} is out of range", "the year has to be between 1900 and 2200",
                         "conditions", "start_time")
    conditions = weather(
        wind_kmh=speed, wind_from_deg=angle, temperature_c=table.temperature_c,
        pressure_hpa=table.pressure_hpa, humidity_percent=table.humidity_percent,
        elevation_m=height, wind_uncertainty_percent=table.wind_uncertainty_percent,
        wind_uncertainty_deg=table.wind_uncertainty_deg, wet=table.wet, start_time=start)
    if wind is not None or not (forecast or table.forecast):
        return conditions, ()
    paths = [forecast] if forecast else _there(file, table.forecast or [], "conditions", "forecast")
    from optimizer.scenario.gridded_file import is_gridded, read_gridded

    if len(paths) > 1 or is_gridded(paths[0]):
        made, notes = read_gridded(paths, start, conditions, course,
                                   extrapolate=table.extrapolate)
        return made, (*notes, *_of_start(made, start, course))
    from optimizer.scenario.forecast_file import read_forecast

    told: list[str] = []
    made = read_forecast(paths[0], start, conditions, told, extrapolate=table.extrapolate)
    if made.members is not None:
        told.append(f"the range of the wind is that of the forecast's {made.members.count} members")
    return made, (*told, *_of_start(made, start, course))


def _of_start(made: Conditions, start: datetime | None, course: Course) -> list[str]:
    """Say what a forecast by the hour leaves open about the start and the end of the ride."""
    if len(made.wind_time) < 2 or made.start_time is None:
        return []
    first, last = (made.start_time + timedelta(seconds=float(made.wind_time[k])) for k in (0, -1))
    if start is None:
        return [f"a start with the forecast, at {first:%H:%M}: no start_time is given"]
    if not first <= start <= last:
        return [(f"the start at {start:%H:%M} is outside of the forecast, {first:%H:%M} to "
                 f"{last:%H:%M}: its nearest hour was taken, and may be wrong")]
    if (last - start).total_seconds() < course.length / _SLOW:
        return [(f"the forecast ends at {last:%H:%M}, perhaps before the ride: its last hour "
                 "then goes on")]
    return []


def _kit(file: TomlFile, scenario: Scenario, course: Course, conditions: Conditions,
         rider: Rider, baseline: Setup,
         ) -> tuple[Catalogue, tuple[Effect, ...], list[str], list[str]]:
    """Return the catalogue, what its items do, what to know of both, and how cells were read."""
    if scenario.kit is None:
        return Catalogue(()), (), [], []
    catalogue, data, readings = _kit_tables(file, scenario.kit, scenario.currency)
    if scenario.kit.evidence is None:
        return catalogue, (), ["no evidence: items count by their mass alone"], readings
    priors = None
    if scenario.kit.priors:
        from optimizer.scenario.priors_file import read_priors

        priors = read_priors(file.there(scenario.kit.priors, "kit", "priors"))
    effects = effects_for(course, conditions, rider, baseline, data, priors)
    names = [item.name for item in catalogue.items]
    effects, notes = named_as_listed(effects, names)
    known = {effect.item for effect in effects}
    bare = [name for name in names if name not in known]
    if bare:
        notes.append(f"no evidence for {', '.join(bare)}: counted by mass alone")
    return catalogue, tuple(effect for effect in effects if effect.item in names), notes, readings


def _kit_tables(file: TomlFile, kit: KitTable,
                currency: str) -> tuple[Catalogue, list[Datum], list[str]]:
    """Read catalogue and evidence, and say what is wrong with either at once."""
    from optimizer.scenario.catalogue_file import read_catalogue
    from optimizer.scenario.evidence_file import read_evidence

    wrong, readings = list[InputError](), list[str]()
    catalogue, data, told = Catalogue(()), list[Datum](), list[str]()
    try:
        catalogue = read_catalogue(
            file.there(kit.catalogue, "kit", "catalogue"),
            file.there(kit.pairs, "kit", "pairs") if kit.pairs else None, told,
            currency=currency)
    except InputError as error:
        wrong.append(error)
    readings += [f"{kit.catalogue}, {words}" for words in told]
    told = []
    try:
        if kit.evidence is not None:
            data = read_evidence(file.there(kit.evidence, "kit", "evidence"), told)
    except InputError as error:
        wrong.append(error)
    readings += [f"{kit.evidence}, {words}" for words in told]
    if wrong:
        raise InputErrors.joined(wrong)
    return catalogue, data, readings


def named_as_listed(effects: Sequence[Effect],
                    names: Sequence[str]) -> tuple[tuple[Effect, ...], list[str]]:
    """Give effects the names of the catalogue, where they differ in case and blanks only.

    Returns them with a note on each that belongs to no item, and the nearest name there is.
    """
    plain = {plain_name(name): name for name in names}
    taken = {effect.item for effect in effects}
    out, notes = [], []
    for effect in effects:
        name = plain.get(plain_name(effect.item))
        if effect.item in names:
            out.append(effect)
        elif name is not None and name not in taken:
            notes.append(f'the evidence for "{effect.item}" counts for "{name}"')
            out.append(replace(effect, item=name))
        else:
            out.append(effect)
            near = difflib.get_close_matches(effect.item, names, 1, 0.6)
            notes.append(f'the evidence for "{effect.item}" does not belong to any item of the '
                         'catalogue'
                         + (f'; did you mean "{near[0]}"?' if near else ""))
    return tuple(out), notes


def _sets(file: TomlFile, scenario: Scenario,
          catalogue: Catalogue) -> tuple[tuple[str, tuple[str, ...]], ...]:
    names = [item.name for item in catalogue.items]
    for k, entry in enumerate(scenario.set):
        for name in entry.items:
            if name not in names:
                raise file.error(f'there is no item "{name}" in the catalogue',
                                 suggest(name, names), "set", k, "items")
    return tuple((entry.name, tuple(entry.items)) for entry in scenario.set)


def _rules(file: TomlFile, scenario: Scenario,
           catalogue: Catalogue) -> tuple[Catalogue, tuple[str, ...]]:
    """Mark in the catalogue what rule files forbid; return it with the names of the rules."""
    from optimizer.scenario.rules_file import read_rules

    known = {name for item in catalogue.items for name in item.forbidden_by}
    names = []
    for k, name in enumerate(scenario.kit.rules if scenario.kit else ()):
        if name.endswith(".toml"):
            rules = read_rules(file.there(name, "kit", "rules", k), catalogue)
            catalogue = rules.apply(catalogue)
            names.append(rules.name)
        elif name in known:
            names.append(name)
        else:
            raise file.error(f'no item of the catalogue names the rules "{name}"',
                             suggest(name, known) if known else "name a rule file, such as "
                             '"rules.toml", or fill in the column forbidden_by', "kit", "rules", k)
    return catalogue, tuple(names)


def _options(file: TomlFile, table: OptionsTable) -> Options:
    if table.start == "flying" and table.start_speed_kmh is None:
        raise file.error("a flying start needs its speed", "add start_speed_kmh, such as 30",
                         "options", "start")
    if table.start != "flying" and table.start_speed_kmh is not None:
        raise file.error("belongs to a flying start", 'add start = "flying", or leave it out',
                         "options", "start_speed_kmh")
    return Options(
        step=table.step_m, start_speed=(table.start_speed_kmh or 0.0) / 3.6, blocks=table.blocks,
        power_rounding=table.power_rounding_w, empty_risk=(
            None if table.empty_risk_percent is None else table.empty_risk_percent / 100),
        draws=table.draws, seed=table.seed, least_gain=table.least_gain_s)


def _listed(names: str | list[str] | None) -> str:
    return names if isinstance(names, str) else ", ".join(names or [])


def _sources(file: TomlFile, scenario: Scenario, rider: str,
             forecast: str | None) -> tuple[tuple[str, str], ...]:
    kit = scenario.kit
    named = [("scenario", file.path.name),
             ("course", _listed(scenario.course.gpx)),
             ("heights", _listed(scenario.course.heights)),
             ("surface model", _listed(scenario.course.surface_model)),
             ("features", scenario.course.features), ("rider", rider), ("forecast", forecast)]
    if kit:
        named += [("catalogue", kit.catalogue), ("evidence", kit.evidence), ("pairs", kit.pairs),
                  ("priors", kit.priors)]
    return tuple((what, name) for what, name in named if name)
