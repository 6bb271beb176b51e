"""The rider's file: TOML to a rider, with every default named."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from optimizer.errors import InputError
from optimizer.rider import Position, Rider, defaults

__all__ = ["read_rider"]

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _Effort(_Table):
    minutes: Positive
    power_w: Positive


class _Position(_Table):
    drag_area_m2: Annotated[float, Field(gt=0.05, lt=1.5)] | None = None
    drag_area_sd_m2: NotNegative | None = None
    power_percent: Annotated[float, Field(gt=30, le=110)] | None = None
    max_power_percent: Annotated[float, Field(gt=30, le=110)] = 100.0
    longest_min: Positive | None = None


class _Long(_Table):
    share_percent: Annotated[float, Field(gt=30, le=100)] | None = None


class _File(_Table):
    name: str = "rider"
    mass_kg: Annotated[float, Field(ge=30, le=160)]
    height_cm: Annotated[float, Field(ge=120, le=220)] | None = None
    level: defaults.Level | None = None
    critical_power_w: Annotated[float, Field(ge=50, le=600)] | None = None
    critical_power_sd_w: NotNegative | None = None
    w_prime_kj: Annotated[float, Field(ge=2, le=60)] | None = None
    w_prime_sd_kj: NotNegative | None = None
    max_power_w: Annotated[float, Field(ge=80, le=2500)] | None = None
    recovery: Literal["linear", "partial", "slowing"] = "linear"
    recovery_percent: Annotated[float, Field(ge=0, le=100)] | None = None
    reserve_floor_kj: NotNegative = 0.0
    efforts: list[_Effort] = []
    positions: dict[str, _Position] = {}
    long: _Long = _Long()


def read_rider(path: Path | str) -> Rider:
    """Read a rider from a TOML file; what it leaves out is assumed and listed as such."""
    file = Path(path)
    try:
        content = _File.model_validate(tomllib.loads(file.read_text(encoding="utf-8-sig")))
    except OSError as error:
        raise InputError(str(file), "", f"cannot be read: {error.strerror}",
                         "check the name of the file") from error
    except tomllib.TOMLDecodeError as error:
        raise InputError(str(file), "", f"is not valid TOML: {error}",
                         "mend the line named") from error
    except ValidationError as error:
        first = error.errors()[0]
        raise InputError(str(file), ".".join(map(str, first["loc"])), first["msg"],
                         "see the rider file's format in the documentation") from error
    assumed: list[str] = []
    cp, cp_sd, w, w_sd = _ability(content, assumed)
    height = content.height_cm / 100 if content.height_cm else defaults.height_from_mass(
        content.mass_kg)
    area, area_sd = defaults.drag_area_from_body(content.mass_kg, height)
    positions = tuple(Position(name, ratio * area, defaults.AERO_POWER_SHARE if name == "aero"
                               else 1.0) for name, ratio in defaults.POSITION_RATIOS.items())
    if content.positions:
        positions = tuple(
            Position(name, p.drag_area_m2 or area * defaults.POSITION_RATIOS.get(name, 1.0),
                     (p.power_percent or 100.0) / 100, p.max_power_percent / 100,
                     60.0 * (p.longest_min or np.inf)) for name, p in content.positions.items())
    return Rider(
        name=content.name, mass=content.mass_kg, critical_power=cp, w_prime=w,
        max_power=content.max_power_w or defaults.SURGE_CAP * cp, positions=positions,
        recovery=content.recovery, recovery_share=(content.recovery_percent or 100.0) / 100,
        reserve_floor=1e3 * content.reserve_floor_kj, critical_power_sd=cp_sd, w_prime_sd=w_sd,
        drag_area_sd=area_sd, assumed=tuple(assumed), endurance_loss=defaults.ENDURANCE_LOSS,
        endurance_loss_sd=defaults.ENDURANCE_LOSS_SD,
        effort_share=(content.long.share_percent or 100.0) / 100)


def _ability(content: _File, assumed: list[str]) -> tuple[float, float, float, float]:
    """CP and W' with their standard errors, provisional: a straight line of power by 1/t."""
    cp = defaults.CRITICAL_POWER_PER_KG[content.level or "trained"] * content.mass_kg
    cp_sd, w, w_sd = defaults.LEVEL_BAND * cp, defaults.W_PRIME, defaults.W_PRIME_SD
    if len(content.efforts) > 1:
        rate = np.array([1 / (60 * e.minutes) for e in content.efforts])
        w, cp = map(float, np.polyfit(rate, [e.power_w for e in content.efforts], 1))
        cp_sd = 0.05 * cp
    if content.critical_power_w:
        cp, cp_sd = content.critical_power_w, content.critical_power_sd_w or 0.05 * cp
    else:
        assumed.append(f"critical power {cp:.0f} W")
    if content.w_prime_kj:
        w, w_sd = 1e3 * content.w_prime_kj, 1e3 * (content.w_prime_sd_kj or 2.0)
    return cp, cp_sd, w, w_sd
