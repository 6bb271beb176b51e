"""A scenario with what a ride taught, as new files beside the old ones."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from optimizer.errors import InputError
from optimizer.files import is_there, write_all
from optimizer.scenario.rider_file import read_rider
from optimizer.scenario.scenario import BikeTable
from optimizer.scenario.tables import read_text
from optimizer.scenario.toml_file import read_toml

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["check_update", "write_update"]


def check_update(scenario: Path | str, target: Path | str) -> tuple[Path, Path]:
    """Return where the new scenario and its rider's file go.

    Raises InputError where one of them is there already, or where the new scenario would lie in
    another folder and lose the files that it names.
    """
    new, old = Path(target), Path(scenario)
    if new.suffix.lower() != ".toml":
        raise InputError(str(new), "", "is no scenario", "end its name in .toml")
    if Path(os.path.realpath(new)).parent != Path(os.path.realpath(old)).parent:
        raise InputError(str(new), "", "lies in another folder than the scenario",
                         f"a scenario names its files beside it: write it to {old.parent}")
    rider = new.with_name(f"{new.stem}-rider.toml")
    for path in (new, rider):
        if is_there(path):
            raise InputError(str(path), "", "is there already",
                             "an update is a new file: give it another name")
    return new, rider


def write_update(scenario: Path | str, target: Path | str, *, ride: str,
                 drag_area_change: float | None, drag_area_sd: float | None,
                 rolling_resistance_change: float | None,
                 critical_power_factor: float | None,
                 critical_power_sd: float | None) -> tuple[Path, Path]:
    """Write a copy of the scenario with a copy of its rider; comments stay.

    Parameters
    ----------
    ride : name of the ride, for a comment
    drag_area_change, drag_area_sd : m², added to CdA of every position; None for none
    rolling_resistance_change : added to the bike's Crr; None for none
    critical_power_factor, critical_power_sd : on CP, W; None for none

    Raises InputError as `check_update` does.
    """
    import tomlkit

    new, rider_path = check_update(scenario, target)
    source = read_toml(scenario)
    old_rider = source.beside(str(source.data["rider"]))
    rider = read_rider(old_rider)
    document: Any = tomlkit.parse(read_text(old_rider))
    note, head = f"from the ride {ride}", ""
    if critical_power_factor is not None and critical_power_sd is not None:
        # What is new stands before everything else, where no table can swallow it.
        head = "".join(f"{key} = {value}  # {note}\n" for key, value in _set(document, {
            "critical_power_w": round(rider.critical_power * critical_power_factor, 1),
            "critical_power_sd_w": round(critical_power_sd, 1)}, note).items())
    if drag_area_change is not None and drag_area_sd is not None:
        positions = document.setdefault("positions", tomlkit.table(is_super_table=True))
        for position in rider.positions:
            if position.name not in positions:
                positions[position.name] = tomlkit.table()
            for key, value in _set(positions[position.name], {
                    "drag_area_m2": round(position.drag_area + drag_area_change, 4),
                    "drag_area_sd_m2": round(drag_area_sd, 4)}, note).items():
                item = tomlkit.item(value)
                positions[position.name].add(key, item.comment(note))
    copy: Any = tomlkit.parse(read_text(scenario))
    copy["rider"] = rider_path.name
    if rolling_resistance_change is not None:
        bike = copy.setdefault("bike", tomlkit.table())
        known = float(bike.get("rolling_resistance", BikeTable().rolling_resistance))
        value = min(max(known + rolling_resistance_change, 0.001), 0.03)
        bike["rolling_resistance"] = round(value, 5)
        bike["rolling_resistance"].comment(note)
    write_all([(rider_path, head + tomlkit.dumps(document)), (new, tomlkit.dumps(copy))])
    return new, rider_path


def _set(table: Any, values: Mapping[str, float], note: str) -> dict[str, float]:
    """Set the keys that are there, with a comment; return the others."""
    for key, value in values.items():
        if key in table:
            table[key] = value
            table[key].comment(note)
    return {key: value for key, value in values.items() if key not in table}
