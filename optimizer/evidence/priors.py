"""What to believe of a figure by the way it was found and who found it."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["Priors", "Trust", "default_priors", "default_tables", "default_text", "priors_from"]


@dataclass(frozen=True)
class Trust:
    """Factor on a stated change, its standard deviation, and the sd of one run [m²]."""

    factor: float
    factor_sd: float
    sd: float = 0.0


@dataclass(frozen=True)
class Priors:
    """Judgements, editable; in SI. The file `priors.toml` beside this module says each in words."""

    test: Mapping[str, Trust]
    measured_by: Mapping[str, Trust]
    rolling_resistance_sd: float
    efficiency_sd: float
    mass_sd: float
    speed: float
    speed_sd: float
    air_density: float
    air_density_sd: float
    tested_rider_share: float
    yaw_90_percent: float
    between_share: float


def priors_from(table: Mapping[str, Any]) -> Priors:
    """Take the priors out of the tables of a file.

    Parameters
    ----------
    table : tables of a file whose keys have been checked

    Returns
    -------
    factors and their standard deviations by kind of test
    """
    unstated, assumed = table["unstated"], table["assumed"]
    return Priors(
        test={name: Trust(t["factor"], t["factor_sd"], t["sd_m2"])
              for name, t in table["test"].items()},
        measured_by={"" if name == "unknown" else name: Trust(t["factor"], t["factor_sd"])
                     for name, t in table["measured_by"].items()},
        rolling_resistance_sd=unstated["rolling_resistance"],
        efficiency_sd=unstated["efficiency"], mass_sd=unstated["mass_kg"],
        speed=assumed["speed_kmh"] / 3.6, speed_sd=assumed["speed_sd_kmh"] / 3.6,
        air_density=assumed["air_density_kgm3"], air_density_sd=assumed["air_density_sd_kgm3"],
        tested_rider_share=assumed["tested_rider_share"],
        yaw_90_percent=math.radians(assumed["yaw_90_percent_deg"]),
        between_share=table["between_sources"]["share"])


def default_tables() -> dict[str, Any]:
    """Give the tables of the priors file that comes with the package.

    Returns
    -------
    table by name
    """
    return tomllib.loads(default_text())


def default_text() -> str:
    """Give the priors file that comes with the package, to copy and edit.

    Returns
    -------
    TOML
    """
    return resources.files("optimizer.evidence").joinpath("priors.toml").read_text("utf-8")


@cache
def default_priors() -> Priors:
    """Give the judgements that come with the package."""
    return priors_from(default_tables())
