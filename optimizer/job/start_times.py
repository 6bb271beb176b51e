"""Finish time against start time, where the forecast changes over the day."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from optimizer.conditions import draw_wind, spread_density, spread_wind, starting_at
from optimizer.job.plans import day_of
from optimizer.pacing import Variation, meeting, plan_ride, simulate_many

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from optimizer.conditions import WindDraws
    from optimizer.job.values import Job
    from optimizer.pacing import Plan

__all__ = ["StartTime", "start_times"]

_MOST = 49  # starts


@dataclass(frozen=True)
class StartTime:
    """A start and what comes of it: the plan's finish time [s], mean head wind at the rider [m/s].

    `beyond` says that the ride runs out of the forecast, whose last hour then goes on. `chance`
    that no other start is faster, in common draws of the weather, among those whose ride the
    forecast covers; `low`, `high`: 5 and 95 % points of the finish time in these draws [s].
    """

    start: datetime
    finish_time: float
    headwind: float
    temperature: float
    beyond: bool
    chance: float = float("nan")
    low: float = float("nan")
    high: float = float("nan")


def start_times(job: Job, every: float = 1800.0,
                progress: Callable[[str], None] = lambda _words: None) -> tuple[StartTime, ...]:
    """Plan the ride with the kit of today for each start that the forecast covers.

    Parameters
    ----------
    job : as `read_scenario` gives it
    every : s between starts, further apart where more than 49 would come of it
    progress : called with words on what is under way

    Returns
    -------
    plans by start; none where the weather does not change with time

    Raises
    ------
    Infeasible
        where there is no plan
    """
    weather = job.conditions
    if len(weather.wind_time) < 2 or weather.start_time is None:
        return ()
    begin = weather.start_time + timedelta(seconds=float(weather.wind_time[0]))
    length = float(np.ptp(weather.wind_time))
    every = max(every, 600.0 * np.ceil(length / (_MOST - 1) / 600.0))
    today, warm, found, drawn = day_of(job), None, [], []
    draws = draw_wind(weather, np.random.default_rng(job.options.seed), job.options.draws)
    for later in np.arange(0.0, length + 1.0, every):
        start = begin + timedelta(seconds=float(later))
        progress(f"a start at {start:%H:%M}")
        there = starting_at(weather, start)
        warm = plan = plan_ride(meeting(replace(today, conditions=there), warm), job.baseline,
                                warm=warm)
        found.append(StartTime(
            start, plan.finish_time,
            float(np.average(plan.problem.headwind, weights=plan.problem.step)),
            there.temperature, beyond=plan.finish_time > length - later + 1800.0))
        drawn.append(_in_draws(plan, draws))
    return _with_chances(found, np.array(drawn))


def _in_draws(plan: Plan, draws: WindDraws) -> NDArray[np.float64]:
    """Finish times (k,) [s] in draws of the weather, at the powers of the plan."""
    p = plan.problem
    head, cross = spread_wind(p.headwind, p.crosswind, draws, p.departures)
    return simulate_many(p, plan.power[:, None], Variation(
        headwind=head.T, crosswind=cross.T,
        density_factor=spread_density(draws, p.departures))).finish_time


def _with_chances(starts: list[StartTime], drawn: NDArray[np.float64]) -> tuple[StartTime, ...]:
    """Add ranges and the chance to be best; the same draws (s, k) for all starts."""
    covered = np.array([not start.beyond for start in starts])
    if not covered.any():
        covered[:] = True
    best = np.argmin(np.where(covered[:, None], drawn, np.inf), axis=0)
    wins = np.bincount(best, minlength=len(starts)) / drawn.shape[1]
    low, high = np.percentile(drawn, [5.0, 95.0], axis=1)
    return tuple(
        replace(start, chance=float(wins[k]) if covered[k] else float("nan"),
                low=float(low[k]), high=float(high[k])) for k, start in enumerate(starts))
