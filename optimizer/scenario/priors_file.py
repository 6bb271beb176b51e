"""The priors file: what to believe of a test before looking at its figure (TOML)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from optimizer.evidence.datum import TestKind  # noqa: TC001 - pydantic looks it up
from optimizer.evidence.priors import default_tables, priors_from
from optimizer.scenario.toml_file import check, read_toml

if TYPE_CHECKING:
    from pathlib import Path

    from optimizer.evidence.priors import Priors

__all__ = ["read_priors"]

Share = Annotated[float, Field(ge=0, le=3, allow_inf_nan=False)]
Factor = Annotated[float, Field(gt=0, le=3, allow_inf_nan=False,
                                description="what a stated change is multiplied by")]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _Test(_Table):
    sd_m2: Annotated[float, Field(gt=0, le=0.1)] | None = None
    factor: Factor | None = None
    factor_sd: Share | None = None


class _Measurer(_Table):
    factor: Factor | None = None
    factor_sd: Share | None = None


class _Unstated(_Table):
    rolling_resistance: Annotated[float, Field(gt=0, le=0.01)] | None = None
    efficiency: Annotated[float, Field(gt=0, le=0.1)] | None = None
    mass_kg: Annotated[float, Field(gt=0, le=5)] | None = None


class _Assumed(_Table):
    speed_kmh: Annotated[float, Field(ge=15, le=80)] | None = None
    speed_sd_kmh: Annotated[float, Field(ge=0, le=10)] | None = None
    air_density_kgm3: Annotated[float, Field(ge=0.6, le=1.5)] | None = None
    air_density_sd_kgm3: Annotated[float, Field(ge=0, le=0.3)] | None = None
    tested_rider_share: Annotated[float, Field(ge=0, le=0.5)] | None = None
    yaw_90_percent_deg: Annotated[float, Field(gt=0, le=45)] | None = None


class _Between(_Table):
    share: Share | None = None


class _Priors(_Table):
    test: dict[TestKind, _Test] = {}
    measured_by: dict[Literal["independent", "seller", "estimate", "unknown"], _Measurer] = {}
    unstated: _Unstated = _Unstated()
    assumed: _Assumed = _Assumed()
    between_sources: _Between = _Between()


def read_priors(path: Path | str) -> Priors:
    """Read a priors file; what it leaves out stays as it comes with the package.

    Raises InputError with the line for an unknown key or a value out of range.
    """
    file = check(_Priors, read_toml(path))
    return priors_from(_merged(default_tables(), file.model_dump(exclude_unset=True)))


def _merged(defaults: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    return {key: _merged(value, own.get(key, {})) if isinstance(value, dict)
            else own.get(key, value) for key, value in defaults.items()}
