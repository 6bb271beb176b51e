"""What the card costs on the demos and on random days, and what a literal rider makes of it.

    python -m tests.benchmarks.pacing_blocks [random days] [m, longest step on them]

Price against the ideal plan of the card of at most eight lines and of one even power, each in round
watts; then the same card, as CSV, ridden by `tests.literal_rider`, which knows nothing of kitpace.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

from optimizer.errors import Infeasible
from optimizer.job import Job, Options
from optimizer.job.plans import ride_in_blocks
from optimizer.kit import Catalogue
from optimizer.report.card import card_csv
from optimizer.report.result_json import result_document
from optimizer.scenario import read_scenario
from tests.job.test_literal_rider import planned
from tests.literal_rider import follow
from tests.pacing.random_days import BIKE, random_day

COURSES = Path(__file__).parents[2] / "courses"


def main(count: int = 0, step: int = 0) -> None:
    """Print a line for each demo, then what `count` random days come to.

    The random courses hold limits for corners without saying where corners are, so that the grid
    is no finer there; steps of 25 m show what is left of the error then.
    """
    print("course        plan s   gap s   lines  card s  price %  even %  card made in | literal "
          "rider: off %  reserve kJ (card)")
    for file in sorted(COURSES.glob("*/scenario.toml")):
        result = planned(read_scenario(file))
        plan, card = result.plan, result.rideable
        begin = time.process_time()
        ride_in_blocks(result.day, plan, result.job.options)
        took = time.process_time() - begin
        ride = follow(card_csv(result), result_document(result))
        share = 100.0 / plan.finish_time
        print(f"{file.parent.name:13s} {plan.finish_time:7.1f}  {plan.gap:5.2f}  "
              f"{len(card.lines):5d}  {card.finish_time:7.1f}  {share * card.price:6.3f}  "
              f"{share * card.even_price:6.3f}  {took:8.2f} s    | "
              f"{100 * (ride.time / card.finish_time - 1):14.3f}  "
              f"{ride.least_reserve / 1000:8.2f} ({card.reserve.min() / 1000:.2f})")
    if count:
        random_days(count, step or None)


def random_days(count: int, step: float | None) -> None:
    """Print how cards for random rides of 4 to 300 minutes are ridden."""
    rows, failed = [], []
    for seed in range(count):
        try:
            day = random_day(seed)
            result = planned(Job("", day.course, day.conditions, day.rider, BIKE, Catalogue(()),
                                 (), 0.0, "EUR", Options(step=step)))
        except Infeasible as error:
            failed.append((seed, str(error).replace("\n", " ")))
            continue
        plan, card, rider = result.plan, result.rideable, result.day.rider
        begin = time.process_time()
        ride_in_blocks(result.day, plan, result.job.options)
        took = time.process_time() - begin
        ride = follow(card_csv(result), result_document(result))
        rows.append((
            len(card.lines), 100 * card.price / plan.finish_time,
            100 * (card.even_price - card.price) / plan.finish_time,
            100 * abs(ride.time / card.finish_time - 1), (
                ride.least_reserve - rider.reserve_floor) / 1000,
            100 * ride.effort_left / float(plan.problem.effort.allowed(ride.time)), took, seed))
    lines, price, better, off, reserve, effort, took, seeds = np.array(rows).T
    print(f"{len(rows)} of {count} random days: {np.median(lines):.0f} lines (median), most "
          f"{lines.max():.0f}; made in {np.median(took):.2f} s (median), most {took.max():.2f} s")
    print(f"price of the card: median {np.median(price):.3f} %, 95th percentile "
          f"{np.percentile(price, 95):.3f} %, most {price.max():.3f} % (seed "
          f"{seeds[price.argmax()]:.0f}); over one even power it wins from {np.nanmin(better):.3f} "
          f"to {np.nanmax(better):.2f} %")
    print(f"literal rider: off the stated time by {np.median(off):.3f} % (median), most "
          f"{off.max():.3f} % (seed {seeds[off.argmax()]:.0f}), {np.sum(off > 0.1)} over 0.1 %; "
          f"reserve above its floor by {reserve.min():.2f} kJ at least (seed "
          f"{seeds[reserve.argmin()]:.0f}), below it on {np.sum(reserve < 0)}; effort left "
          f"{effort.min():.2f} % at least")
    for seed, words in failed:
        print(f"failed: seed {seed}: {words}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
