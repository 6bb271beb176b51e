"""A scenario updated with what a season's rides showed, as new files beside the old ones."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.errors import InputError
from optimizer.files import is_there, write_all
from optimizer.ride.ability import CP_BAND
from optimizer.ride.season import Before, Learned, NextPlan, Pooled, next_plan, pool
from optimizer.rider import defaults
from optimizer.scenario.rider_file import Season, read_rider, read_season
from optimizer.scenario.scenario import BikeTable
from optimizer.scenario.tables import read_text
from optimizer.scenario.toml_file import read_toml

if TYPE_CHECKING:
    from collections.abc import Mapping

    from optimizer.rider import Rider

__all__ = ["Taught", "check_update", "taught_by", "write_update"]

# Of the Crr that a bike is planned with, on a road that nobody measured; common practice, no
# source.
_ROLLING_SD = 0.0010


@dataclass(frozen=True)
class Taught:
    """What a ride and those before it showed.

    `rider` as the old file has it; `season` with the new ride; `pooled`; `next_plan` to plan with.
    """

    rider: Rider
    season: Season
    pooled: Pooled
    next_plan: NextPlan


def taught_by(scenario: Path | str, learned: Learned, *, rolling_worth: float,
              planned_power: float) -> Taught:
    """Pool a ride with what the rider's file of a scenario keeps of earlier ones.

    Parameters
    ----------
    learned : what the ride says by itself, its drag against its plan
    rolling_worth : m², the CdA that takes as much as a Crr of one
    planned_power : W, CP on the day of the plan, heat and height included
    """
    source = read_toml(scenario)
    old_rider = source.beside(str(source.data["rider"]))
    rider, season = read_rider(old_rider), read_season(old_rider)
    if season is None:
        season = Season(_before(rider), 0.0, 0.0, ())
    ride = _placed_in(season, learned, rider.critical_power / planned_power)
    season = replace(season, rides=(*season.rides, ride))
    pooled = pool(season.before, season.rides)
    known = float(source.data.get("bike", {}).get("rolling_resistance",
                                                  BikeTable().rolling_resistance))
    found = next_plan(pooled, season.rides,
                      (rider.positions[0].drag_area, known, rider.critical_power),
                      (season.drag_area_change, season.rolling_change), rolling_worth)
    if found.tells_drag:
        season = replace(season, drag_area_change=float(pooled.drag[0]),
                         rolling_change=season.rolling_change + found.rolling_resistance - known)
    return Taught(rider, season, pooled, found)


def check_update(scenario: Path | str, target: Path | str) -> tuple[Path, Path]:
    """Return where the new scenario and its rider's file go.

    Raises InputError where one of them exists already, or where the new scenario would lie in
    another folder and lose the files that it names.
    """
    new, old = Path(target), Path(scenario)
    if new.suffix.lower() != ".toml":
        raise InputError(str(new), "", "is not the name of a scenario", "end it in .toml")
    if Path(os.path.realpath(new)).parent != Path(os.path.realpath(old)).parent:
        raise InputError(str(new), "", "lies in another folder than the scenario",
                         f"a scenario names its files beside it: write it to {old.parent}")
    rider = new.with_name(f"{new.stem}-rider.toml")
    for path in (new, rider):
        if is_there(path):
            raise InputError(str(path), "", "exists already",
                             "an update is a new file: give it another name")
    return new, rider


def write_update(scenario: Path | str, target: Path | str, taught: Taught) -> tuple[Path, Path]:
    """Write a copy of the scenario with a copy of its rider, the ride pooled with earlier ones.

    Comments stay; the rides and what was known before each are kept in the rider's file. Returns
    where the two are. Raises InputError as `check_update` does.
    """
    import tomlkit

    new, rider_path = check_update(scenario, target)
    source = read_toml(scenario)
    old_rider = source.beside(str(source.data["rider"]))
    season, pooled, found = taught.season, taught.pooled, taught.next_plan
    note = f"from {len(season.rides)} ride{'s' if len(season.rides) > 1 else ''}"

    copy: Any = tomlkit.parse(read_text(scenario))
    copy["rider"] = rider_path.name
    document: Any = tomlkit.parse(read_text(old_rider))
    top: dict[str, float] = {}
    if found.tells_drag:
        bike = copy.setdefault("bike", tomlkit.table())
        bike["rolling_resistance"] = round(found.rolling_resistance, 5)
        bike["rolling_resistance"].comment(note)
        _set_positions(document, taught.rider, found.drag_area - found.drag_area_now,
                       found.drag_area_sd, note)
    if found.tells_power:
        top = {"critical_power_w": round(found.power, 1),
               "critical_power_sd_w": round(found.power_sd, 1),
               "effort_exponent": round(pooled.exponent, 2),
               "effort_exponent_sd": round(pooled.exponent_sd, 2)}
    # What is new stands before everything else, where no table can swallow it.
    head = "".join(f"{key} = {value}  # {note}\n"
                   for key, value in _set(document, top, note).items())
    document["season"] = _season_table(season, document.get("season"), taught.rider)
    write_all([(rider_path, head + tomlkit.dumps(document)), (new, tomlkit.dumps(copy))])
    return new, rider_path


def _before(rider: Rider) -> Before:
    area = rider.positions[0].drag_area
    return Before(rider.drag_area_sd or 0.04 * area, _ROLLING_SD, rider.critical_power,
                  rider.critical_power_sd or CP_BAND * rider.critical_power,
                  rider.effort_exponent,
                  rider.effort_exponent_sd or defaults.EFFORT_EXPONENT_SD)


def _placed_in(season: Season, ride: Learned, scale: float) -> Learned:
    """Give the ride against what was known before the season, and its CP at the rider's own."""
    drag = ride.drag
    if drag is not None:
        drag = drag + np.array([season.drag_area_change, season.rolling_change])
    return replace(ride, drag=drag, shown=scale * ride.shown, shown_sd=scale * ride.shown_sd,
                   needed=tuple(scale * power for power in ride.needed))


def _set_positions(document: Any, rider: Rider, change: float, sd: float, note: str) -> None:
    import tomlkit

    positions = document.setdefault("positions", tomlkit.table(is_super_table=True))
    for position in rider.positions:
        if position.name not in positions:
            positions[position.name] = tomlkit.table()
        for key, value in _set(positions[position.name], {
                "drag_area_m2": round(position.drag_area + change, 4),
                "drag_area_sd_m2": round(sd, 4)}, note).items():
            item = tomlkit.item(value)
            positions[position.name].add(key, item.comment(note))


def _season_table(season: Season, old: Any, rider: Rider) -> Any:
    """Write the season; entries of earlier rides stay as they are."""
    import tomlkit

    b = season.before
    table = tomlkit.table()
    for key, value in {
            "drag_area_sd_m2": round(b.drag_area_sd, 5),
            "rolling_resistance_sd": round(b.rolling_sd, 6),
            "critical_power_w": round(b.power, 2), "critical_power_sd_w": round(b.power_sd, 2),
            "effort_exponent": round(b.exponent, 3),
            "effort_exponent_sd": round(b.exponent_sd, 3)}.items():
        table.add(key, tomlkit.item(value).comment("known before the first ride"))
    for key, value in {"drag_area_change_m2": round(season.drag_area_change, 6),
                       "rolling_resistance_change": round(season.rolling_change, 7)}.items():
        table.add(key, tomlkit.item(value).comment("in the figures by now"))
    entries = tomlkit.aot()
    for entry in (old or {}).get("rides", []):
        entries.append(entry)
    entries.append(_entry(season.rides[-1], rider))
    table.add("rides", entries)
    return table


def _entry(ride: Learned, rider: Rider) -> Any:
    import tomlkit

    entry = tomlkit.table()
    entry["ride"] = ride.ride
    if ride.drag is not None and ride.covariance is not None:
        sd = np.sqrt(np.diag(ride.covariance))
        entry["drag_area_change_m2"] = round(float(ride.drag[0]), 6)
        entry["drag_area_sd_m2"] = round(float(sd[0]), 6)
        entry["rolling_resistance_change"] = round(float(ride.drag[1]), 7)
        entry["rolling_resistance_sd"] = round(float(sd[1]), 7)
        entry["correlation"] = round(float(ride.covariance[0, 1] / (sd[0] * sd[1])), 4)
    entry["critical_power_shown_w"] = round(ride.shown, 2)
    entry["critical_power_shown_sd_w"] = round(ride.shown_sd, 2)
    entry["critical_power_by_effort_w"] = [round(power, 2) for power in ride.needed]
    entry["critical_power_by_effort_sd_percent"] = round(100.0 * ride.law_sd, 2)
    entry["all_out"] = ride.all_out
    entry["planned_drag_area_sd_m2"] = round(rider.drag_area_sd, 5)
    entry["planned_critical_power_w"] = round(rider.critical_power, 2)
    entry["planned_critical_power_sd_w"] = round(rider.critical_power_sd, 2)
    return entry


def _set(table: Any, values: Mapping[str, float], note: str) -> dict[str, float]:
    """Set the keys that are there, with a comment; return the others."""
    for key, value in values.items():
        if key in table:
            table[key] = value
            table[key].comment(note)
    return {key: value for key, value in values.items() if key not in table}
