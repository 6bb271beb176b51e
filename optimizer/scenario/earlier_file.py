"""The JSON of an earlier plan, read for comparison."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any

from optimizer.errors import InputError
from optimizer.job import Earlier
from optimizer.scenario.tables import read_text

__all__ = ["read_earlier"]

_LARGEST = 200_000_000  # bytes
_SCHEMA = "kitpace-result-"


def read_earlier(path: Path | str) -> Earlier:
    """Read the JSON of an earlier plan (`--json`). Raises InputError."""
    try:
        document = json.loads(read_text(path, _LARGEST))
    except (ValueError, RecursionError) as error:  # also an integer without end
        line = getattr(error, "lineno", 1)
        raise InputError(str(path), f"line {line}", "is not JSON",
                         "name a file that kitpace plan --json wrote") from error
    if not isinstance(document, dict) or not str(document.get("schema")).startswith(_SCHEMA):
        raise InputError(str(path), "", "is not a plan of kitpace",
                         "name a file that kitpace plan --json wrote")
    try:
        air = document["conditions"]
        card = document.get("rideable") or document["plan"]
        range_of = card.get("spread_s") or document["plan"].get("spread_s") or {}
        return Earlier(
            name=Path(path).name, finish_time=_number(card["finish_time_s"], 1e7),
            wind_east=_mean_wind(air, "wind_east_mps"),
            wind_north=_mean_wind(air, "wind_north_mps"),
            mean_power=_number(document["plan"]["mean_power_w"], 5000.0),
            items=_names(document["kit"]["chosen"]), start=_moment(air.get("start_time")),
            inputs={str(key): _number(value, 1e9)
                    for key, value in _table(document.get("inputs", {}), "inputs").items()},
            evidence=_evidence(document["evidence"]) if "evidence" in document else None,
            **{name: _number(range_of[point], 1e7) for name, point in (("low", "5"), ("high", "95"))
               if range_of.get(point) is not None})
    except (KeyError, IndexError, TypeError, AttributeError, ValueError, OverflowError) as error:
        raise InputError(str(path), "", f"is not a complete plan ({error})",
                         "write it again with kitpace plan --json") from error


def _number(value: Any, largest: float) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError(f"{str(value)[:40]} is not a number")
    if not abs(value) <= largest:
        raise ValueError(f"{str(value)[:40]} is out of range")
    return float(value)


def _table(value: Any, name: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise TypeError(f"{name} is no table")
    return value


def _evidence(value: Any) -> dict[str, dict[str, tuple[float, float]]]:
    """Read what was known of each item: value and standard error by key."""
    return {str(item): {str(key): (_number(middle, 1e9), _number(sd, 1e9))
                        for key, (middle, sd) in known.items()}
            for item, known in _table(value, "evidence").items()}


def _mean_wind(air: Any, key: str) -> float:
    """Mean wind of the ride; nan for a changing wind in a file that does not have its mean."""
    whole = [_number(value, 100.0) for row in air[key] for value in row]
    if not whole:
        raise ValueError(f"{key} is empty")
    if f"mean_{key}" in air:
        return _number(air[f"mean_{key}"], 100.0)
    return whole[0] if len(whole) == 1 else float("nan")


def _moment(value: Any) -> datetime | None:
    return None if value is None else datetime.fromisoformat(str(value)[:40])


def _names(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(name, str) for name in value):
        raise TypeError("the kit is no list of names")
    return tuple(value)
