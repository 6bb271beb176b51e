"""Values whose arrays nobody can write to."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np

__all__ = ["ReadOnlyArrays"]


class ReadOnlyArrays:
    """For a frozen dataclass: each array becomes a read-only copy, one of floats from any list.

    What may be a plain number, and None, stays as it is. Copies through pickle are read-only too.
    """

    def __post_init__(self) -> None:
        for entry in fields(self):  # type: ignore[arg-type]
            value, kind = getattr(self, entry.name), str(entry.type)
            if kind.startswith("NDArray[np.float64]") and value is not None and not (
                    isinstance(value, int | float) and "float" in kind.partition("|")[2]):
                object.__setattr__(self, entry.name, _locked(np.array(value, dtype=float)))
            elif isinstance(value, np.ndarray):
                object.__setattr__(self, entry.name, _locked(value.copy()))

    def __setstate__(self, state: dict[str, Any]) -> None:
        for value in state.values():
            if isinstance(value, np.ndarray):
                _locked(value)
        self.__dict__.update(state)


def _locked(array: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    array.flags.writeable = False
    return array
