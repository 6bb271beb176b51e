"""The JSON of an earlier plan, read for comparison."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

from optimizer.errors import InputError
from optimizer.job import Earlier
from optimizer.scenario.tables import read_text

__all__ = ["read_earlier"]

_LARGEST = 200_000_000  # bytes
_SCHEMA = "kitpace-result-"


def read_earlier(path: Path | str) -> Earlier:
    """Read what a plan that was written with `--json` said. Raises InputError."""
    try:
        document = json.loads(read_text(path, _LARGEST))
    except (json.JSONDecodeError, RecursionError) as error:
        line = getattr(error, "lineno", 1)
        raise InputError(str(path), f"line {line}", "is not JSON",
                         "name a file that kitpace plan --json wrote") from error
    if not isinstance(document, dict) or not str(document.get("schema")).startswith(_SCHEMA):
        raise InputError(str(path), "", "is not a plan of kitpace",
                         "name a file that kitpace plan --json wrote")
    try:
        air = document["conditions"]
        return Earlier(
            name=Path(path).name, finish_time=_number(document["plan"]["finish_time_s"]),
            wind_east=_number(air["wind_east_mps"][0][0]),
            wind_north=_number(air["wind_north_mps"][0][0]),
            mean_power=_number(document["plan"]["mean_power_w"]),
            items=tuple(str(item) for item in document["kit"]["chosen"]))
    except (KeyError, IndexError, TypeError, ValueError) as error:
        raise InputError(str(path), "", f"lacks what a plan holds ({error})",
                         "write it again with kitpace plan --json") from error


def _number(value: Any) -> float:
    number = float(value)
    if not math.isfinite(number):
        raise ValueError(f"{value} is not finite")
    return number
