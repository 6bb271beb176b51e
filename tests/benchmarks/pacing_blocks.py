"""What a rideable plan costs on the demo courses, simulated as it is ridden.

    python -m tests.benchmarks.pacing_blocks
"""

from __future__ import annotations

from pathlib import Path

from optimizer.job import day_of
from optimizer.pacing import constant_power, plan_ride, recognisable_places, rideable
from optimizer.scenario import read_scenario

COURSES = Path(__file__).parents[2] / "courses"


def main() -> None:
    """Print a line for each course and number of blocks."""
    print("course         blocks   price s      %    (powers in steps of 5 W)")
    for file in sorted(COURSES.glob("*/scenario.toml")):
        job = read_scenario(file)
        plan = plan_ride(day_of(job), job.baseline, measure_grid=True)
        places = recognisable_places(job.course)
        for blocks in (6, 12, 25):
            few = rideable(plan, places, blocks=blocks)
            print(f"{file.parent.name:14s} {blocks:6d}  {few.price:8.2f}  "
                  f"{100 * few.price / plan.finish_time:5.3f}")
        even = constant_power(plan)
        print(f"{file.parent.name:14s}  even   {even.price:8.2f}  "
              f"{100 * even.price / plan.finish_time:5.3f}   plan {plan.finish_time:.1f} s, "
              f"gap {plan.gap:.4f} s, grid {plan.grid_error:.3f} s")


if __name__ == "__main__":
    main()
