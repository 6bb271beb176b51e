"""Bike and run: what a harder ride wins, what the run then costs, and the best of both."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from optimizer.errors import Infeasible, InputError
from optimizer.pacing import plan_ride
from optimizer.rider.effort import RunTarget, allowance, share_for_run

if TYPE_CHECKING:
    from optimizer.day import RaceDay
    from optimizer.pacing import Plan
    from optimizer.physics import Setup

__all__ = ["BikeRun", "bike_and_run"]

_SLOWER: Final = (1.02, 1.03, 1.05, 1.08, 1.12, 1.18)  # run over fresh run


@dataclass(frozen=True)
class BikeRun:
    """One way to share out the effort.

    `share` of the power that could be held for the whole ride and nothing after it; `ride`,
    `run` [s].
    """

    share: float
    ride: float
    run: float

    @property
    def total(self) -> float:
        """Ride and run [s]."""
        return self.ride + self.run


def bike_and_run(day: RaceDay, setup: Setup, plan: Plan) -> tuple[BikeRun, ...]:
    """Plan the ride for runs from just slower than fresh to much slower.

    By the same law that leaves endurance for the run (`optimizer.rider.effort.share_for_run`):
    an assumption of ours, and the choice is the rider's.

    Parameters
    ----------
    day : course, weather and rider of the race day
    setup : set of kit
    plan : plan of the ride

    Returns
    -------
    times of ride and run [s]; none without a run
    """
    fresh = day.rider.run_fresh_time
    if fresh <= 0.0:
        return ()
    rows = []
    for slower in _SLOWER:
        try:
            part = share_for_run(RunTarget(slower * fresh, fresh), day.rider.endurance_loss)
            rider = replace(day.rider, time_share=part)
            there = plan_ride(replace(day, rider=rider), setup, warm=plan, bounded=False)
        except (Infeasible, InputError):
            continue  # so fast a run leaves no ride
        T, p = there.finish_time, rider.effort_exponent
        whole = replace(rider, time_share=1.0, effort_share=1.0)
        share = float(allowance(rider, T) / allowance(whole, T)) ** (1.0 / p)
        rows.append(BikeRun(share, T, slower * fresh))
    return tuple(rows)
