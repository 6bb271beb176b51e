"""Values whose arrays nobody can write to."""

from __future__ import annotations

from dataclasses import fields

import numpy as np

__all__ = ["ReadOnlyArrays"]


class ReadOnlyArrays:
    """For a frozen dataclass: each array of floats becomes a read-only copy; None stays."""

    def __post_init__(self) -> None:
        for entry in fields(self):  # type: ignore[arg-type]
            value = getattr(self, entry.name)
            if value is not None and str(entry.type).startswith("NDArray[np.float64]"):
                array = np.array(value, dtype=float)
                array.flags.writeable = False
                object.__setattr__(self, entry.name, array)
