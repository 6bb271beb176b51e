"""A new race from a track that was dropped on the window, and a new season of its races."""

from __future__ import annotations

import itertools
import os
from datetime import date
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

from optimizer.errors import InputError
from optimizer.files import as_if, is_file, write_all
from optimizer.scenario.starter import bare_scenario, bare_season
from optimizer.scenario.tables import parse_number
from optimizer.scenario.toml_file import read_toml

if TYPE_CHECKING:
    from collections.abc import Mapping

    from optimizer.window.folder import Folder

__all__ = ["keep_ride", "new_race", "new_season"]

_RIDES = (".csv", ".gpx", ".fit")
_LONGEST, _LONGEST_RIDER = 120, 80  # characters of a name; of a rider or race in a season


def new_race(folder: Folder, called: str, data: bytes, wanted: str) -> str:
    """Write a track and a scenario for it into the folder; give the name of the scenario.

    The rider is the one of the folder, where there is one. Nothing that is there is replaced.

    Parameters
    ----------
    called : what the track's file was called where it came from
    wanted : what to call the race; empty takes the track's name

    Raises InputError where the track is no course.
    """
    from optimizer.course import read_course

    plain = _own_name(called)
    if PurePath(plain).suffix.lower() != ".gpx":
        raise InputError(plain[:100] or "the file", "", "is not a GPX file",
                         "export the course as GPX")
    first = "scenario" if not folder.races() else PurePath(plain).stem
    track = folder.free_name(PurePath(plain).stem, ".gpx")
    scenario = folder.free_name(first, ".toml")
    with as_if({folder.path(track): data}):
        try:
            course = read_course(folder.path(track))
        except InputError as error:
            raise InputError(plain, error.where, error.problem, error.remedy) from error
    name = (wanted or course.name or PurePath(plain).stem).strip()[:_LONGEST] or "My race"
    riders = [other for other, kind in folder.kinds().items() if kind == "rider"]
    rider = riders[0] if riders else folder.free_name("rider", ".toml")
    write_all([(folder.path(track), data),
               (folder.path(scenario), bare_scenario(name, track, rider))])
    return scenario


def new_season(folder: Folder, wanted: str, budget: str, days: Mapping[str, str]) -> str:
    """Write the file of a season of races of the folder; give its name.

    Each race is ridden by the rider that its scenario names. Nothing that is there is replaced.

    Parameters
    ----------
    wanted : what to call the season
    budget : money for kit as it was typed; empty is none
    days : scenarios, each with the day of the race as it was typed

    Raises InputError for what is not right, before anything is written.
    """
    from optimizer.scenario.season_file import check_season

    name = wanted.strip()[:_LONGEST] or "My season"
    if not days:
        raise InputError("new season", "", "has no race", "tick one race or more")
    riders: dict[str, str] = {}
    races: list[dict[str, Any]] = []
    currencies: dict[str, None] = {}
    for scenario, day in days.items():
        race = folder.race(scenario).name
        said = read_toml(folder.path(scenario)).data
        currencies[str(said.get("currency", "EUR"))] = None
        who = _who_rides(folder, scenario, race, str(said.get("rider", "")), riders)
        races.append({"name": _unlike(race, [other["name"] for other in races]),
                      "date": _day(race, day), "scenario": scenario, "riders": [who]})
    if len(currencies) > 1:
        raise InputError("new season", "", f"its races count in {' and '.join(currencies)}",
                         "give all prices in one currency, or tick other races")
    races.sort(key=lambda race: race["date"])
    text = bare_season(
        {"name": name, "currency": next(iter(currencies)), "budget": _money(budget)},
        [{"name": who, "file": file} for file, who in riders.items()], races)
    season = folder.free_name(name, ".toml")
    with as_if({folder.path(season): text.encode()}):
        check_season(folder.path(season))
    write_all([(folder.path(season), text)])
    return season


def _who_rides(folder: Folder, scenario: str, race: str, named: str,
               riders: dict[str, str]) -> str:
    """Name of the rider of a scenario, who is added to `riders` by file where new."""
    path = Path(os.path.normpath(folder.path(scenario).parent / named))
    if not (path.is_relative_to(folder.root) and folder.holds(path)):
        raise InputError(race, "rider", f'names "{named}", which lies outside of the opened '
                         "folder", "open the folder that holds both")
    if not is_file(path):
        raise InputError(race, "", "has no rider yet", "enter the rider of that race first")
    file = folder.name(path)
    if file not in riders:
        known = str(read_toml(path).data.get("name") or path.stem)[:_LONGEST_RIDER]
        riders[file] = _unlike(known, list(riders.values()))
    return riders[file]


def _unlike(name: str, others: list[str]) -> str:
    """Name, cut to what a season takes, with a number behind it where others have it too."""
    plain = name[:_LONGEST_RIDER]
    numbered = (f"{plain[:_LONGEST_RIDER - 5]} {number}" for number in itertools.count(2))
    return plain if plain not in others else next(
        other for other in numbered if other not in others)


def _day(race: str, typed: str) -> date:
    try:
        return date.fromisoformat(typed.strip())
    except ValueError:
        raise InputError(race, "day", "is missing" if not typed.strip() else f'"{typed}" is no day',
                         "give the day of the race, such as 2031-05-04") from None


def _money(typed: str) -> float:
    if not typed.strip():
        return 0
    try:
        value = parse_number(typed, decimal_comma="," in typed)
    except ValueError as error:
        raise InputError("new season", "budget", f'"{typed}" {error}',
                         "write an amount such as 900") from error
    return int(value) if value.is_integer() else value


def keep_ride(folder: Folder, race: str, called: str, data: bytes) -> str:
    """Write a recorded ride beside a scenario, under a name that is free; give that name.

    Raises InputError where it is no ride.
    """
    from optimizer.scenario.ride_file import read_ride

    plain = _own_name(called)
    suffix = PurePath(plain).suffix.lower()
    if suffix not in _RIDES:
        raise InputError(plain[:100] or "the file", "", "is not a recorded ride",
                         "export it as FIT, GPX or CSV")
    name = folder.free_name(PurePath(plain).stem, suffix, beside=race)
    with as_if({folder.path(name): data}):
        try:
            read_ride(folder.path(name))
        except InputError as error:
            raise InputError(plain, error.where, error.problem, error.remedy) from error
    write_all([(folder.path(name), data)])
    return name


def _own_name(called: str) -> str:
    """Last part of what a file was called, by the ways of any system."""
    return PurePath(called.replace("\\", "/")).name
