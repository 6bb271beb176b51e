"""A new race from a track that was dropped on the window."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING

from optimizer.errors import InputError
from optimizer.files import as_if, write_all
from optimizer.scenario.starter import bare_scenario

if TYPE_CHECKING:
    from optimizer.window.folder import Folder

__all__ = ["keep_ride", "new_race"]

_RIDES = (".csv", ".gpx", ".fit")
_LONGEST = 120  # characters of a name


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
