"""Risk measures: one number for the times of a set of kit over drawn days, and its words.

A measure is one entry of `MEASURES`; choice, pages, JSON and the option `--by` read it there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

__all__ = ["FORECAST", "MEASURES", "Measure", "measure_of"]

FORECAST = "forecast"


@dataclass(frozen=True)
class Measure:
    """One way to choose under uncertainty.

    Attributes
    ----------
    name : on the command line, in the Python API and in JSON
    of : from times (s, k) of s sets on k days [s], level and target [s], one number for each set,
        less is better: seconds, or minus the chance of the target. The level is the quantile, or
        where the worst days begin. None where no days are drawn
    help : what is counted, for the help of `--by`
    best : what the best set has; `{percent}` is the level, `{worst}` what is beyond it, `{target}`
        the time to beat
    lost : what the loss of another set is counted in
    chance : whether the number is the chance to beat a target time, which has to be given
    """

    name: str
    of: Callable[[NDArray[np.float64], float, float], NDArray[np.float64]] | None
    help: str
    best: str
    lost: str = "seconds by the same measure"
    chance: bool = False

    def value(self, times: NDArray[np.float64], level: float = 0.9,
              target: float = 0.0) -> NDArray[np.float64]:
        """(s,) value of times (s, k) [s], less is better: seconds, or minus the chance."""
        if self.of is None:
            raise ValueError(f'"{self.name}" draws no days')
        return self.of(times, level, target)

    def best_words(self, level: float, target: str = "the target") -> str:
        """Say what the best set has."""
        return self.best.format(percent=f"{100 * level:.0f} %",
                                worst=f"{100 * (1 - level):.0f} %", target=target)


def _mean(times: NDArray[np.float64], _level: float, _target: float) -> NDArray[np.float64]:
    return np.asarray(times.mean(axis=1))


def _quantile(times: NDArray[np.float64], level: float, _target: float) -> NDArray[np.float64]:
    return np.asarray(np.quantile(times, level, axis=1))


def _worst(times: NDArray[np.float64], level: float, _target: float) -> NDArray[np.float64]:
    """(s,) mean of the days from the level on (Rockafellar and Uryasev 2000, J. Risk 2:21)."""
    first = int(np.floor(level * times.shape[1]))
    return np.asarray(np.sort(times, axis=1)[:, first:].mean(axis=1))


def _late(times: NDArray[np.float64], _level: float, target: float) -> NDArray[np.float64]:
    return np.asarray(-np.mean(times <= target, axis=1))


MEASURES: dict[str, Measure] = {measure.name: measure for measure in (
    Measure(FORECAST, None, "the time on the forecast day, with a proof",
            "the least time on the forecast day", "seconds on the forecast day"),
    Measure("mean", _mean, "the mean time over drawn days",
            "the least mean time over the drawn days"),
    Measure("quantile", _quantile, "the time kept on a share of them",
            "the least time that is kept on {percent} of the days"),
    Measure("cvar", _worst, "the mean of the worst of them",
            "the least mean time over the slowest {worst} of the days"),
    Measure("target", _late, "the chance to beat a time", "the best chance to beat {target}",
            "days in 100 on which the target is missed", chance=True),
)}


def measure_of(name: str) -> Measure:
    """Measure by its name.

    Parameters
    ----------
    name : on the command line, in the Python API and in JSON

    Returns
    -------
    the measure

    Raises
    ------
    InputError
        for a name that no measure has; it lists those that there are
    """
    if name not in MEASURES:
        raise InputError("by", "", f'"{name}" is not a way to choose',
                         f"known are {', '.join(MEASURES)}")
    return MEASURES[name]
