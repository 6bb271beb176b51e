"""What the card costs on the demo courses, and what a literal rider makes of it.

    python -m tests.benchmarks.pacing_blocks

Price against the ideal plan of the card of at most eight lines and of one even power, each in round
watts; then the same card, as CSV, ridden by `tests.literal_rider`, which knows nothing of kitpace.
"""

from __future__ import annotations

import time
from pathlib import Path

from optimizer.job.plans import ride_in_blocks
from optimizer.report.card import card_csv
from optimizer.report.result_json import result_document
from optimizer.scenario import read_scenario
from tests.job.test_literal_rider import planned
from tests.literal_rider import follow

COURSES = Path(__file__).parents[2] / "courses"


def main() -> None:
    """Print a line for each course."""
    print("course        plan s   gap s   lines  card s  price %  even %  card made in | literal "
          "rider: off %  reserve kJ (card)")
    for file in sorted(COURSES.glob("*/scenario.toml")):
        result = planned(read_scenario(file))
        plan, card = result.plan, result.rideable
        begin = time.perf_counter()
        ride_in_blocks(result.day, plan, result.job.options)
        took = time.perf_counter() - begin
        ride = follow(card_csv(result), result_document(result))
        share = 100.0 / plan.finish_time
        print(f"{file.parent.name:13s} {plan.finish_time:7.1f}  {plan.gap:5.2f}  "
              f"{len(card.lines):5d}  {card.finish_time:7.1f}  {share * card.price:6.3f}  "
              f"{share * card.even_price:6.3f}  {took:8.2f} s    | "
              f"{100 * (ride.time / card.finish_time - 1):14.3f}  "
              f"{ride.least_reserve / 1000:8.2f} ({card.reserve.min() / 1000:.2f})")


if __name__ == "__main__":
    main()
