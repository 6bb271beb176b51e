"""A season of riders and races: how long the proof takes, and what stays open.

    python -m tests.benchmarks.season_kit [RIDERS RACES ITEMS]

Without numbers it goes through a few sizes. All of it is invented; one machine, no clock decides.
"""

from __future__ import annotations

import sys
import time
from datetime import date, timedelta

import numpy as np

from optimizer.job import Job, Options
from optimizer.seasons.build import Stock, season_of
from optimizer.seasons.solve import solve_season
from optimizer.seasons.times import times_of
from optimizer.seasons.values import Entry, Money
from tests.kit.invented import BASELINE, RIDER, catalogue, road, wind

SIZES = ((1, 1, 40), (2, 2, 20), (2, 3, 40), (4, 3, 40), (4, 6, 40))


def made_up(riders: int, races: int, items: int):
    """Races on roads of 20 km in winds of their own; two things are lent among riders."""
    from dataclasses import replace

    rng = np.random.default_rng(7)
    per_place = tuple(len(part) for part in np.array_split(np.arange(items), 12))
    wanted, effects = catalogue(rng, per_place, crossed=0.1)
    wanted = replace(wanted, items=tuple(replace(item, owned=False, hire_price=(
        round(0.15 * item.price) if k % 9 == 0 and item.price > 0 else None))
        for k, item in enumerate(wanted.items)))
    entries = []
    for race in range(races):
        course, air = road(rng), wind(rng.uniform(0, 5), rng.uniform(0, 6))
        day = date(2031, 4, 1) + timedelta(weeks=2 * race)
        for rider in range(riders):
            who = replace(RIDER, name=f"rider {rider}", mass=66.0 + 5 * rider,
                          critical_power=245.0 + 20 * rider)
            entries.append(Entry(who.name, f"race {race}", day, day, 1.0, Job(
                f"race {race}", course, air, who, BASELINE, wanted, effects, 0.0, "EUR",
                options=Options(draws=50))))
    budget = 0.2 * riders * sum(item.price for item in wanted.items)
    stock = {item.name: Stock(lent=True) for item in wanted.items[1:14:6]}
    return season_of("made up", "EUR", entries, [Money(None, budget)], {}, stock, least_gain=0.5)


def main() -> None:
    """Print a row for each size."""
    sizes = [tuple(map(int, sys.argv[1:4]))] if len(sys.argv) > 3 else SIZES
    print("riders races items | plans s  proof s  all s | kits  gap s  of s saved")
    for riders, races, items in sizes:
        season = made_up(riders, races, items)
        start = time.perf_counter()
        times = times_of(season)
        planned = time.perf_counter()
        solver, best, gap = solve_season(season, times=times)
        end = time.perf_counter()
        saved = sum(there.time(()) - there.time(rows)
                    for there, rows in zip(times, best.sets, strict=True))
        print(f"{riders:6d} {races:5d} {items:5d} | {planned - start:7.1f} {end - planned:8.1f} "
              f"{end - start:6.1f} | {sum(map(len, solver.columns)):5d} {gap:6.2f} {saved:8.0f}",
              flush=True)


if __name__ == "__main__":
    main()
