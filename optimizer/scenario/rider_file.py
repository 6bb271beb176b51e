"""The rider's file: TOML to a rider, with every default named."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Final, Literal, TypeVar

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from optimizer import defaults as table
from optimizer.defaults import ZERO_CELSIUS, Default
from optimizer.errors import InputError
from optimizer.ride.season import EXPONENTS, LAW_SD, Before, Learned
from optimizer.rider import Rider, defaults
from optimizer.rider.effort import RunTarget
from optimizer.rider.fit import Ability, Known, KnownPosition, assess_efforts, fit_rider
from optimizer.rider.power_duration import Efforts, Model
from optimizer.rider.rider import (  # noqa: TC001 - pydantic reads them
    AltitudeResponse,
    HeatResponse,
    Recovery,
)
from optimizer.scenario.power_file import read_efforts, read_rides
from optimizer.scenario.toml_file import TomlFile, check, read_toml, toml_of
from optimizer.scenario.toml_table import TomlTable

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

__all__ = ["RiderTable", "Season", "read_ability", "read_rider", "read_season"]

_Value = TypeVar("_Value")


class _Table(TomlTable, BaseModel):
    model_config = ConfigDict(strict=False)


def _between(low: float, high: float, words: str, known: Default | None = None) -> Any:
    """Limits of a number; `known` is what an estimate takes without it."""
    return Field(ge=low, le=high, allow_inf_nan=False, description=words,
                 json_schema_extra={"from": known} if known else None)  # type: ignore[dict-item]


class EffortTable(_Table):
    """`[[efforts]]`: a best effort."""

    minutes: Annotated[float, _between(0.01, 2880, "how long it lasted")]
    power_w: Annotated[float, _between(1, 3000, "the mean power over it")]


class PositionTable(_Table):
    """`[positions.NAME]`: a position on the bike."""

    drag_area_m2: Annotated[float, _between(0.1, 1.0, "CdA of rider and bike in it")] | None = None
    drag_area_sd_m2: Annotated[float, _between(
        0, 0.2, "how sure that is: one standard deviation")] | None = None
    power_percent: Annotated[
        float, _between(40, 105, "percent of critical power that can be held in it")] | None = None
    max_power_percent: Annotated[float, _between(
        5, 105, "percent of the power limit that can be used in it")] = 100.0
    longest_min: Annotated[
        float, _between(0.1, 1440, "the longest spell in it")] | None = None


class LongTable(_Table):
    """`[long]`: long rides, and a run to come."""

    share_percent: Annotated[float, _between(
        40, 100, "percent of the power that could be held for the whole ride")] | None = None
    run_target_min: Annotated[float, _between(
        5, 1440, "time hoped for in the run")] | None = None
    run_fresh_min: Annotated[float, _between(
        5, 1440, "time for the same run with fresh legs")] | None = None
    surge_percent: Annotated[float, _between(
        101, 300, "percent of critical power that the plan may ask for at most")] | None = None


class EnvironmentTable(_Table):
    """`[environment]`: what height and heat take."""

    altitude: AltitudeResponse = "none"
    heat: HeatResponse = "none"
    tested_at_m: Annotated[float, _between(
        -400, 5000, "height at which critical power was found")] = 0.0
    tested_at_c: Annotated[float, _between(-20, 45, "temperature at which it was found")] = 20.0


class _Raced(_Table):
    """What one ride said by itself, and what it was planned with."""

    ride: Annotated[str, Field(min_length=1, max_length=200)]
    drag_area_change_m2: Annotated[
        float, _between(-1, 1, "against before the season")] | None = None
    drag_area_sd_m2: Annotated[float, _between(1e-6, 10, "one standard deviation")] | None = None
    rolling_resistance_change: Annotated[
        float, _between(-0.1, 0.1, "against before the season")] | None = None
    rolling_resistance_sd: Annotated[
        float, _between(1e-8, 1, "one standard deviation")] | None = None
    correlation: Annotated[float, _between(-0.99999, 0.99999, "of the two")] = 0.0
    critical_power_shown_w: Annotated[
        float, _between(0, 2000, "with less the reserve would not have lasted")] = 0.0
    critical_power_shown_sd_w: Annotated[float, _between(0, 500, "one standard deviation")] = 0.0
    critical_power_by_effort_w: Annotated[
        list[float], Field(max_length=len(EXPONENTS), description="with less the effort law would "
                           "not have allowed it, for exponents 1, 2, 3, 4, 5, 6 and 8")] = []
    critical_power_by_effort_sd_percent: Annotated[
        float, _between(0.1, 50, "its error")] = 100.0 * LAW_SD
    all_out: bool = False
    planned_drag_area_sd_m2: Annotated[float, _between(0, 1, "known before this ride")] = 0.0
    planned_critical_power_w: Annotated[float, _between(0, 2000, "known before this ride")] = 0.0
    planned_critical_power_sd_w: Annotated[
        float, _between(0, 500, "known before this ride")] = 0.0


class _Season(_Table):
    """What debriefs showed: what was known before, what the figures include by now, the rides."""

    drag_area_sd_m2: Annotated[float, _between(1e-6, 1, "known before the first ride")]
    rolling_resistance_sd: Annotated[float, _between(1e-7, 0.1, "known before the first ride")]
    critical_power_w: Annotated[float, _between(40, 650, "known before the first ride")]
    critical_power_sd_w: Annotated[float, _between(0.1, 150, "known before the first ride")]
    effort_exponent: Annotated[float, _between(1, 12, "known before the first ride")]
    effort_exponent_sd: Annotated[float, _between(0.01, 4, "known before the first ride")]
    drag_area_change_m2: Annotated[
        float, _between(-1, 1, "that is in the figures above by now")] = 0.0
    rolling_resistance_change: Annotated[
        float, _between(-0.1, 0.1, "that is in the scenario's by now")] = 0.0
    rides: Annotated[list[_Raced], Field(max_length=200)] = []


class RiderTable(_Table):
    """The whole file."""

    unknown_keys: ClassVar[dict[str, str]] = {
        r"(^|_)f?tp|thresh|hour|60.?min|best|effort": (
            "a power that was held for a time is a best effort, 60 minutes as well: write "
            "[[efforts]], and below it minutes = 60 and power_w = 280; two or more of "
            "different length show critical power and W'")}

    name: Annotated[str, Field(min_length=1, max_length=80)] = "rider"
    mass_kg: Annotated[float, _between(30, 160, "the rider with clothes and drink")]
    height_cm: Annotated[float, _between(120, 220, "the rider's height")] | None = None
    level: Annotated[defaults.Level, Field(
        description=f"one of {', '.join(defaults.CRITICAL_POWER_PER_KG)}")] | None = None
    critical_power_w: Annotated[float, _between(40, 650, "critical power in watts")] | None = None
    critical_power_sd_w: Annotated[float, _between(
        0, 150, "how sure that is: one standard deviation in watts")] | None = None
    w_prime_kj: Annotated[float, _between(
        1, 80, "work capacity above critical power, in kilojoules")] | None = None
    w_prime_sd_kj: Annotated[float, _between(
        0, 40, "how sure that is: one standard deviation in kilojoules")] | None = None
    max_power_w: Annotated[float, _between(
        50, 3000, "what the plan may ask for at most")] | None = None
    endurance_loss_percent: Annotated[float, _between(
        0, 30, "loss of critical power beyond half an hour: 8 is 5.5 % for each doubling of the "
        "time, 12 is 8.3 %", table.ENDURANCE_LOSS)
    ] | None = None
    power_model: Model | Literal["auto"] = "auto"
    recovery: Recovery = "linear"
    recovery_percent: Annotated[float, _between(
        0, 100, "percent of the gap below critical power that refills the reserve")] | None = None
    reserve_floor_kj: Annotated[float, _between(
        0, 60, "what must be left of the reserve (W') everywhere, in kJ")] = 0.0
    effort_exponent: Annotated[float, _between(
        1, 12, "exponent with which strain grows with power, 4 by common practice",
        table.EFFORT_EXPONENT)] | None = None
    effort_exponent_sd: Annotated[float, _between(
        0, 4, "how sure that is: one standard deviation", table.EFFORT_EXPONENT_SD)] | None = None
    pedalling_speed_kmh: Annotated[float, _between(
        20, 160, "speed above which the rider does not pedal", table.PEDALLING_SPEED)] | None = None
    efforts: Annotated[list[EffortTable], Field(max_length=500)] = []
    efforts_csv: Annotated[str, Field(description="a table of efforts")] | None = None
    rides: Annotated[list[str], Field(description="recorded rides with power")] = []
    positions: Annotated[dict[str, PositionTable], Field(max_length=6)] = {}
    long: LongTable = LongTable()
    environment: EnvironmentTable = EnvironmentTable()
    season: _Season | None = None


def read_rider(path: Path | str) -> Rider:
    """Read a rider from a TOML file; what it leaves out is assumed and listed in `assumed`.

    Parameters
    ----------
    path : of the file; `kitpace new` writes one with every key

    Returns
    -------
    the rider, in SI

    Raises
    ------
    InputError
        with the line, for what cannot be a rider

    Examples
    --------
    >>> import optimizer
    >>> rider = optimizer.read_rider("courses/petrel-flats/rider.toml")
    >>> 200.0 < rider.critical_power < 400.0
    True
    """
    return read_ability(path)[0]


def read_ability(path: Path | str, model: Model | None = None) -> tuple[Rider, Ability | None]:
    """Read a rider with the fit behind it (None without efforts); `model` overrides the file's."""
    file = toml_of("rider", path)
    content = check(RiderTable, file)
    _check_sense(file, content)
    efforts = _efforts(file, content)
    if efforts is not None:
        _check_minutes(file, content, efforts)
    ability = None
    if efforts is not None:
        if model is None and content.power_model != "auto":
            model = content.power_model
        loss = content.endurance_loss_percent
        key = ("efforts", 0) if content.efforts else (
            "efforts_csv" if content.efforts_csv else "rides",)
        ability = _placed(file, key, lambda: assess_efforts(
            efforts, model, endurance_loss=None if loss is None else loss / 100))
    known = _known(content)
    rider = _placed(file, ("long",), lambda: fit_rider(known, ability))
    _check_rider(file, content, rider)
    return rider, ability


@dataclass(frozen=True)
class Season:
    """The season of a rider's file: what was known before, what was added since, the rides."""

    before: Before
    drag_area_change: float
    rolling_change: float
    rides: tuple[Learned, ...]


def read_season(path: Path | str) -> Season | None:
    """Read what earlier debriefs wrote in a rider's file; None where there is nothing."""
    file = read_toml(path)
    season = check(RiderTable, file).season
    if season is None:
        return None
    before = Before(season.drag_area_sd_m2, season.rolling_resistance_sd, season.critical_power_w,
                    season.critical_power_sd_w, season.effort_exponent, season.effort_exponent_sd)
    return Season(before, season.drag_area_change_m2, season.rolling_resistance_change,
                  tuple(_raced(file, k, ride) for k, ride in enumerate(season.rides)))


def _raced(file: TomlFile, k: int, ride: _Raced) -> Learned:
    drag = covariance = None
    pair = (ride.drag_area_change_m2, ride.rolling_resistance_change)
    sds = (ride.drag_area_sd_m2, ride.rolling_resistance_sd)
    if ride.critical_power_by_effort_w and len(ride.critical_power_by_effort_w) != len(EXPONENTS):
        raise file.error(f"has {len(ride.critical_power_by_effort_w)} figures",
                         f"one for each exponent, {len(EXPONENTS)} in all, or none", "season",
                         "rides", k, "critical_power_by_effort_w")
    if None not in pair and None not in sds:
        drag, sd = np.array(pair, dtype=float), np.array(sds, dtype=float)
        covariance = np.outer(sd, sd) * np.array([[1.0, ride.correlation],
                                                  [ride.correlation, 1.0]])
    return Learned(ride.ride, drag, covariance, ride.critical_power_shown_w,
                   ride.critical_power_shown_sd_w, tuple(ride.critical_power_by_effort_w),
                   ride.all_out, ride.critical_power_by_effort_sd_percent / 100.0)


def _placed(file: TomlFile, key: tuple[str | int, ...], work: Callable[[], _Value]) -> _Value:
    """Run `work`; what it refuses is placed at a line of this file."""
    try:
        return work()
    except InputError as error:
        at = tuple(error.where.split(".")) if error.where else key
        raise file.error(error.problem, error.remedy, *at) from error


def _efforts(file: TomlFile, content: RiderTable) -> Efforts | None:
    given = [name for name in ("efforts", "efforts_csv", "rides") if getattr(content, name)]
    if len(given) > 1:
        raise file.error(f"is given with {given[0]}", "give efforts in one way only", given[1])
    if content.efforts:
        minutes = [effort.minutes for effort in content.efforts]
        for k, span in enumerate(minutes):
            if span in minutes[:k]:
                raise file.error(f"there are two efforts of {span:g} minutes",
                                 "keep the better one", "efforts", k, "minutes")
        return Efforts(60.0 * np.array(minutes),
                       np.array([effort.power_w for effort in content.efforts]))
    if content.efforts_csv:
        return read_efforts(file.beside(content.efforts_csv))
    if content.rides:
        return read_rides([file.beside(name) for name in content.rides])
    return None


# Power by mass that nobody has held for so long [s, W/kg]; from memory, well above the records
# of an hour and of races of several hours.
_HUMAN: Final = ((2400.0, 7.2), (9000.0, 6.3), (18_000.0, 5.7))


def _check_minutes(file: TomlFile, content: RiderTable, efforts: Efforts) -> None:
    """Refuse efforts that only seconds typed as minutes explain."""
    for span, power in zip(efforts.duration, efforts.power, strict=True):
        if any(span >= least and power / content.mass_kg > most for least, most in _HUMAN):
            at: tuple[str | int, ...] = (
                "efforts", [60.0 * one.minutes for one in content.efforts].index(span),
                "minutes") if content.efforts else (
                "efforts_csv" if content.efforts_csv else "rides",)
            raise file.error(
                f"{power:.0f} W for {span / 60:g} minutes is {power / content.mass_kg:.1f} W/kg, "
                "more than anybody has held for so long",
                f"if it was {span / 60:g} seconds, write minutes = {span / 3600:.3g}; else check "
                "the power", *at)


def _check_sense(file: TomlFile, content: RiderTable) -> None:
    """Refuse what is well formed but contradicts itself."""
    for sd, value in (("critical_power_sd_w", "critical_power_w"), ("w_prime_sd_kj",
                                                                    "w_prime_kj"),
                      ("effort_exponent_sd", "effort_exponent")):
        if getattr(content, sd) is not None and getattr(content, value) is None:
            raise file.error(f"is given without {value}", f"give {value} as well", sd)
    if content.recovery_percent is not None and content.recovery != "partial":
        raise file.error(f'is not used with recovery "{content.recovery}"',
                         'write recovery = "partial"', "recovery_percent")
    if content.max_power_w is not None and content.long.surge_percent is not None:
        raise file.error("is given with max_power_w", "give one of the two", "long",
                         "surge_percent")
    run = content.long.run_target_min, content.long.run_fresh_min
    if (run[0] is None) != (run[1] is None):
        raise file.error("needs both run_target_min and run_fresh_min", "give both, or neither",
                         "long", "run_target_min" if run[0] is not None else "run_fresh_min")
    if run[0] is not None and content.long.share_percent is not None:
        raise file.error("is given with a target for the run", "give one of the two", "long",
                         "share_percent")


def _check_rider(file: TomlFile, content: RiderTable, rider: Rider) -> None:
    if rider.reserve_floor >= rider.w_prime:
        raise file.error(f"{content.reserve_floor_kj:g} kJ is not below W', "
                         f"{rider.w_prime / 1e3:.1f} kJ", "leave less in reserve",
                         "reserve_floor_kj")
    if rider.critical_power >= rider.max_power:
        raise file.error(f"{rider.max_power:.0f} W is not above critical power, "
                         f"{rider.critical_power:.0f} W", "raise the limit", "max_power_w")
    if all(np.isfinite(position.longest) for position in rider.positions):
        raise file.error("every position has a longest spell",
                         "leave one without, so that there is always one to ride in", "positions",
                         rider.positions[0].name, "longest_min")


def _known(content: RiderTable) -> Known:
    return Known(
        mass=content.mass_kg, name=content.name, height=_scaled(content.height_cm, 0.01),
        level=content.level, critical_power=content.critical_power_w,
        critical_power_sd=content.critical_power_sd_w, w_prime=_scaled(content.w_prime_kj, 1e3),
        w_prime_sd=_scaled(content.w_prime_sd_kj, 1e3), max_power=content.max_power_w,
        surge_share=_scaled(content.long.surge_percent, 0.01),
        endurance_loss=_scaled(content.endurance_loss_percent, 0.01),
        positions=tuple(_position(name, table) for name, table in content.positions.items()),
        recovery=content.recovery, recovery_share=_scaled(content.recovery_percent, 0.01),
        reserve_floor=1e3 * content.reserve_floor_kj,
        effort_exponent=content.effort_exponent, effort_exponent_sd=content.effort_exponent_sd,
        pedalling_speed=_scaled(content.pedalling_speed_kmh, 1 / 3.6),
        effort_share=_scaled(content.long.share_percent, 0.01) or 1.0, run=_run(content.long),
        altitude_response=content.environment.altitude, heat_response=content.environment.heat,
        tested_elevation=content.environment.tested_at_m,
        tested_temperature=content.environment.tested_at_c + ZERO_CELSIUS)


def _run(table: LongTable) -> RunTarget | None:
    if table.run_target_min is None or table.run_fresh_min is None:
        return None
    return RunTarget(60.0 * table.run_target_min, 60.0 * table.run_fresh_min)


def _position(name: str, table: PositionTable) -> KnownPosition:
    return KnownPosition(
        name, table.drag_area_m2, table.drag_area_sd_m2, _scaled(table.power_percent, 0.01),
        table.max_power_percent / 100, 60.0 * (table.longest_min or np.inf))


def _scaled(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor
