"""A thousand random problems: solved, verified, how many iterations, how far from the bound.

    python -m tests.benchmarks.pacing_random [count] [wind in m/s]

Nothing is left out: problems whose steps are too long for their slopes are counted, cut into
four and solved again; plans that needed a polish or a fallback are counted by their notes.
"""

from __future__ import annotations

import sys
import time
from collections import Counter

import numpy as np

from optimizer.errors import Infeasible
from optimizer.pacing import simulate, solve
from optimizer.pacing.problem import split_steps
from optimizer.pacing.solver import StepTooLong
from tests.pacing.random_problems import random_problem


def main(count: int = 1000, wind: float = 10.0) -> None:
    """Print the figures."""
    iterations, gaps, notes, failed, wrong = [], [], Counter(), [], 0
    start = time.process_time()
    for seed in range(count):
        problem = random_problem(seed, wind=wind)
        try:
            try:
                plan = solve(problem)
            except StepTooLong:
                notes["a step is too long for the slope: cut into four"] += 1
                plan = solve(split_steps(problem, np.full(problem.steps, 4)))
        except Infeasible as error:
            failed.append((seed, str(error).replace("\n", " ")))
            continue
        ride = simulate(plan.problem, plan.power)
        wrong += (abs(float(ride.finish_time) - plan.finish_time) > 1e-4
                  or ride.reserve.min() < -1e-5 * problem.w_prime)
        iterations.append(plan.iterations)
        gaps.append(100 * plan.gap / plan.finish_time)
        notes.update(plan.notes)
    print(f"{len(gaps)} of {count} solved at winds to {wind:g} m/s, "
          f"{len(gaps) - wrong} verified by riding from scratch, "
          f"{time.process_time() - start:.0f} s of processor")
    print(f"iterations: median {np.median(iterations):.0f}, 95th percentile "
          f"{np.percentile(iterations, 95):.0f}, most {max(iterations)}")
    print(f"gap in % of the time: median {np.median(gaps):.5f}, 95th percentile "
          f"{np.percentile(gaps, 95):.4f}, most {max(gaps):.3f}")
    for note, times in notes.most_common():
        print(f"{times:4d}  {note}")
    for seed, words in failed:
        print(f"failed: seed {seed}: {words}")


if __name__ == "__main__":
    main(*(kind(word) for kind, word in zip((int, float), sys.argv[1:], strict=False)))
