"""From values to places in a picture, and the round numbers that stand on an axis."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

__all__ = ["Scale", "clock_ticks", "nice_ticks"]

_CLOCK = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 28800)


@dataclass(frozen=True)
class Scale:
    """Straight (or, with `log`, logarithmic) map of `low` to `high` onto `start` to `end` [px]."""

    low: float
    high: float
    start: float
    end: float
    log: bool = False

    def __call__(self, value: object) -> np.ndarray:
        """Places of values [px], of the same shape."""
        wanted = np.asarray(value, dtype=float)
        low, high = self.low, self.high
        if self.log:
            wanted, low, high = np.log(wanted), math.log(low), math.log(high)
        share = (wanted - low) / (high - low if high > low else 1.0)
        return np.asarray(self.start + share * (self.end - self.start))

    def at(self, value: float) -> float:
        """Place of one value [px]."""
        return float(self(value))


def nice_ticks(low: float, high: float, most: int) -> list[float]:
    """Round numbers within `low` and `high`, at most `most` of them."""
    if not (math.isfinite(low) and math.isfinite(high)) or high <= low:
        return [low] if math.isfinite(low) else []
    rough = (high - low) / max(most, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    for factor in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0):
        step = factor * power
        first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
        if last - first + 1 <= most:
            break
    return [round(k * step, 12) for k in range(first, last + 1)]


def clock_ticks(low: float, high: float, most: int) -> list[float]:
    """Round times [s] within `low` and `high`, at most `most` of them."""
    for step in _CLOCK:
        first, last = math.ceil(low / step), math.floor(high / step)
        if last - first + 1 <= most:
            return [float(k * step) for k in range(first, last + 1)]
    return nice_ticks(low, high, most)
