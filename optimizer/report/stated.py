"""The times that every view states: one finish time, one range, one time at each place.

They are those of the card, ridden to the letter: what a rider who follows it can expect. The
ideal ride, which changes its power all the time, stands beside them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from optimizer.report.words import between, clock

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from optimizer.job import Result
    from optimizer.pacing.plan import Plan
    from optimizer.rider import Rider

__all__ = ["Stated", "beside", "card_price", "early_lead", "proven_with", "stated"]

_LEAD = 0.5  # s that the card has to be ahead for a word on it


class Stated(NamedTuple):
    """Elapsed time by the card at the nodes (n + 1,) [s], and the 5 and 95 % points of its finish.

    `ideal` is the finish time of the ideal ride [s].
    """

    distance: NDArray[np.float64]
    time: NDArray[np.float64]
    low: float
    high: float
    ideal: float

    @property
    def finish(self) -> float:
        """Finish time [s]."""
        return float(self.time[-1])

    def at(self, distance: ArrayLike) -> NDArray[np.float64]:
        """Elapsed time [s] at places [m]."""
        return np.asarray(np.interp(np.asarray(distance, dtype=float), self.distance, self.time))


def stated(result: Result) -> Stated:
    """Give the times that every view repeats.

    The range of the finish is that of the ideal ride over the drawn days, later by what the card
    costs on the expected day.
    """
    low, _, high = result.spread
    price = result.rideable.price
    return Stated(result.plan.distance, result.rideable.time, low + price, high + price,
                  result.plan.finish_time)


def card_price(result: Result) -> float:
    """Seconds by which the card is slower than the ideal ride, as their clocks show it."""
    times = stated(result)
    return between(times.finish, times.ideal)


def beside(result: Result) -> str:
    """Say what the ideal ride takes, beside the time by the card."""
    times = stated(result)
    if clock(times.ideal) == clock(times.finish):
        return "the ideal ride is no faster"
    return f"the ideal ride takes {clock(times.ideal)}"


def early_lead(result: Result) -> str:
    """Say why the card is ahead of the ideal ride at a mark, where it is; else nothing."""
    marks = [mark.distance for mark in result.job.course.split_marks]
    lead = np.interp(marks, result.plan.distance, result.plan.time - result.rideable.time)
    if float(lead.max(initial=0.0)) < _LEAD:
        return ""
    return ("The card is ahead of the ideal ride for a while and behind it at the finish: the "
            "ideal ride saves power there for places where it gains more.")


def proven_with(plan: Plan, rider: Rider) -> str:
    """Name what the proof of the ideal ride takes from it, between commas; "" for nothing.

    Positions and the stretches that are too fast to pedal are searched for, not proven.
    """
    taken = ["positions"] if len(rider.positions) > 1 else []
    if plan.pedalling is not None and (plan.pedalling.coasting | plan.pedalling.held).any():
        taken.append("coasting")
    return f", with its {' and '.join(taken)}," if taken else ""
