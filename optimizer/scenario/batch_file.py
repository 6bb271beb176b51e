"""A batch: many scenarios, riders and forecasts in one TOML or CSV file."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from datetime import datetime, time
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import Field

from optimizer.errors import InputError
from optimizer.files import is_file, near_file
from optimizer.scenario.tables import each_row, read_table
from optimizer.scenario.toml_file import check, read_toml
from optimizer.scenario.toml_table import TomlTable
from optimizer.scenario.weather import parse_wind

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from optimizer.scenario.tables import Row

__all__ = ["Batch", "Case", "read_batch"]

_MOST_CASES = 10_000
_SAMPLE = {"scenario": "race/scenario.toml", "name": "windy", "rider": "race/rider.toml",
           "forecast": "25@225", "budget": "300", "start_time": "09:30"}  # a row, for messages


@dataclass(frozen=True)
class Case:
    """One plan of a batch: a scenario, and what replaces parts of it.

    `wind` is km/h and the degrees it comes from; `weather` says it, or the forecast, in a word.
    """

    name: str
    scenario: Path
    rider: Path | None = None
    forecast: Path | None = None
    wind: tuple[float, float] | None = None
    budget: float | None = None
    start_time: datetime | time | None = None
    weather: str = ""


@dataclass(frozen=True)
class Batch:
    """All cases of a batch file, each with a name of its own."""

    name: str
    file: Path
    cases: tuple[Case, ...]


class _CaseTable(TomlTable):
    scenario: str = Field(description="a scenario file, relative to this file")
    name: str = Field(default="", max_length=120, description="name of the case")
    rider: str | None = Field(default=None, description="a rider file instead of the scenario's")
    forecast: str | None = Field(default=None, description='a wind such as "25@225", or a CSV')
    budget: float | None = Field(default=None, ge=0, le=1e9,
                                 description="money for kit instead of the scenario's")
    start_time: datetime | time | None = Field(
        default=None, description="start instead of the scenario's: 09:30:00, or a date and time")


class _File(TomlTable):
    name: str = Field(default="", max_length=120, description="name of the batch")
    scenarios: list[str] = Field(default=[], description="scenario files, relative to this file")
    riders: list[str] = Field(default=[], description="rider files; without it the scenarios' own")
    forecasts: list[str] = Field(
        default=[], description='winds such as "25@225", or CSV files; without it the scenarios\'')
    budgets: list[Annotated[float, Field(ge=0, le=1e9)]] = Field(
        default=[], description="amounts of money for kit; without it the scenarios' own")
    case: list[_CaseTable] = Field(default=[], description="single cases beside the combinations")


def read_batch(path: Path | str, notes: list[str] | None = None) -> Batch:
    """Read a batch from TOML or CSV.

    TOML: `scenarios`, `riders`, `forecasts` and `budgets` are lists of which every combination
    is a case; `[[case]]` tables add single ones. CSV: a case a row with the columns `scenario`
    and, at will, `name`, `rider`, `forecast`, `budget`, `start_time`. A forecast is a CSV file,
    or a wind such as 25@225 (km/h and the degrees it comes from).

    `notes` takes which columns are not used. Raises InputError with line or row; what is wrong
    inside a scenario shows when it is read.
    """
    file = Path(path)
    said = [] if notes is None else notes
    batch = _from_csv(file, said) if file.suffix.lower() == ".csv" else _from_toml(file)
    if not 1 <= len(batch.cases) <= _MOST_CASES:
        raise InputError(str(file), "", f"has {len(batch.cases)} cases",
                         f"a batch has 1 to {_MOST_CASES:,} of them: add scenarios")
    return replace(batch, cases=_told_apart(batch.cases))


def _from_toml(file: Path) -> Batch:
    toml = read_toml(file)
    content = check(_File, toml)

    def place(*key: str | int) -> Callable[[str, str], InputError]:
        return lambda problem, remedy: toml.error(problem, remedy, *key)

    def each(key: str, names: Sequence[Any]) -> list[tuple[Any, Callable[..., InputError]]]:
        return [(name, place(key, k)) for k, name in enumerate(names)] or [(None, place(key))]

    cases = []
    if content.scenarios:
        for (scenario, at), (rider, at_rider), (forecast, at_forecast), (budget, _) in product(
                each("scenarios", content.scenarios), each("riders", content.riders),
                each("forecasts", content.forecasts), each("budgets", content.budgets)):
            case = Case("", _beside(file, scenario, at), budget=budget,
                        rider=_beside(file, rider, at_rider) if rider else None)
            cases.append(_in_weather(file, case, forecast, at_forecast))
    elif content.riders or content.forecasts or content.budgets:
        raise toml.error("names no scenarios", 'add scenarios = ["..."]', "riders")
    for k, table in enumerate(content.case):
        case = Case(
            table.name, _beside(file, table.scenario, place("case", k, "scenario")),
            rider=_beside(file, table.rider, place("case", k, "rider")) if table.rider else None,
            budget=table.budget, start_time=table.start_time)
        cases.append(_in_weather(file, case, table.forecast, place("case", k, "forecast")))
    return Batch(content.name or file.stem, file, tuple(cases))


def _from_csv(file: Path, notes: list[str]) -> Batch:
    def case_of(row: Row) -> Case:
        def place(column: str) -> Callable[[str, str], InputError]:
            return lambda problem, remedy: row.error(column, problem, remedy)

        scenario = row.text("scenario")  # an empty one is told already
        case = Case(
            row.text("name", ""),
            _beside(file, scenario, place("scenario")) if scenario else file,
            rider=_beside(file, row.text("rider"), place("rider")) if row.has("rider") else None,
            budget=row.number("budget", None, low=0.0, high=1e9),
            start_time=_moment(row.text("start_time"), place("start_time"))
            if row.has("start_time") else None)
        return _in_weather(file, case, row.text("forecast", ""), place("forecast"))

    table = read_table(file, required=["scenario"], optional=[
        "name", "rider", "forecast", "budget", "start_time"], notes=notes, deferred=True)
    return Batch(file.stem, file, tuple(each_row(table, case_of, _SAMPLE, notes)))


def _moment(text: str, refuse: Callable[[str, str], InputError]) -> datetime | time:
    for kind in (time, datetime):
        try:
            return kind.fromisoformat(text)
        except ValueError:
            continue
    raise refuse(f'"{text}" is not a time', "write 09:30, or 2031-06-15T09:30")


def _in_weather(file: Path, case: Case, forecast: str | None,
                refuse: Callable[[str, str], InputError]) -> Case:
    if not forecast:
        return case
    if "@" not in forecast:
        path = _beside(file, forecast, refuse)
        return replace(case, forecast=path, weather=_word(path, "forecast"))
    try:
        wind = parse_wind(forecast)
    except InputError as error:
        raise refuse(error.problem, error.remedy) from error
    return replace(case, wind=wind, weather=f"{wind[0]:g} km/h from {wind[1]:g}°")


def _beside(file: Path, name: str, refuse: Callable[[str, str], InputError]) -> Path:
    path = file.parent / name
    if not is_file(path):
        raise refuse(f'there is no file "{name}"', near_file(path))
    return path


def _word(path: Path, usual: str) -> str:
    """Name of a file for people: of its folder where the file has the usual name."""
    return Path(os.path.realpath(path)).parent.name if path.stem == usual else path.stem


def _told_apart(cases: tuple[Case, ...]) -> tuple[Case, ...]:
    """Give every case its own name: what it is made of, and a number where that repeats."""
    named: dict[str, Case] = {}
    budgets = {case.budget for case in cases if not case.name}
    for case in cases:
        parts = [_word(case.scenario, "scenario")]
        if case.rider:
            parts = [f"course {parts[0]}", f"rider {_word(case.rider, 'rider')}"]
        if case.weather:
            parts.append(case.weather)
        if case.budget is not None and len(budgets) > 1:
            parts.append(f"budget {case.budget:g}")
        if case.start_time is not None:
            parts.append(case.start_time.isoformat(timespec="minutes"))
        name = plain = case.name or ", ".join(parts)
        number = 1
        while name in named:
            number += 1
            name = f"{plain} ({number})"
        named[name] = replace(case, name=name)
    return tuple(named.values())
