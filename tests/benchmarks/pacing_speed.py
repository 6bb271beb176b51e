"""How fast plans and simulations are, as ratios within one run.

    python -m tests.benchmarks.pacing_speed

Processor time of a solve with its bound against CasADi + IPOPT on the same arrays (its build
included), without and with an effort limit, and 1,000 rides of 1,600 steps side by side.
"""

from __future__ import annotations

import time
from itertools import product

import numpy as np

from optimizer.pacing import Variation, simulate_many, solve
from tests.oracles.general_solver import general_solution
from tests.pacing.random_problems import random_problem

CASES = ((1600, 40e3), (7200, 120e3))
LAWS = ((None, "no limit"), (0.9, "limit"))  # of the fourth-power mean of P/CP
SEEDS = (3, 7, 12)


def timed(call, times=1):
    """Best processor time of a few calls, with the last result; others may use the machine."""
    best, out = np.inf, None
    for _ in range(times):
        start = time.process_time()
        out = call()
        best = min(best, time.process_time() - start)
    return best, out


def main() -> None:
    """Print the tables."""
    print("effort    steps  seed   ours s  general s  ratio   difference s")
    for (rate, effort), (steps, length), seed in product(LAWS, CASES, SEEDS):
        problem = random_problem(seed, steps=steps, length=length, yaw=False, wind=4.0,
                                 effort_rate=rate)
        ours, plan = timed(lambda p=problem: solve(p), 3)
        other, found = timed(lambda p=problem: general_solution(p))
        print(f"{effort:8}  {steps:5d}  {seed:4d}  {ours:7.3f}  {other:9.2f}  "
              f"{other / ours:5.1f}  {plan.finish_time - found.finish_time:13.5f}"
              f"{'' if found.settled else '  (general solver did not settle)'}")
    problem = random_problem(5, steps=1600, length=40e3)
    plan = solve(problem)
    for name, yaw in (("CdA by yaw", True), ("one CdA", False)):
        problem = random_problem(5, steps=1600, length=40e3, yaw=yaw)
        rng = np.random.default_rng(0)
        draws = Variation(headwind=problem.headwind[:, None] + rng.normal(0, 1, 1000),
                          crosswind=problem.crosswind[:, None] + rng.normal(0, 1, 1000),
                          drag_factor=rng.normal(1.0, 0.02, 1000))
        power = plan.power[:, None]
        took, _ = timed(lambda p=problem, d=draws, w=power: simulate_many(p, w, d), 3)
        print(f"1,000 rides of 1,600 steps, {name}: {took:.2f} s")


if __name__ == "__main__":
    main()
