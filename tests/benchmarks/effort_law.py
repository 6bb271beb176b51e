"""Can it be ridden? Plans of the effort law on random courses of 4 to 300 minutes; studies; risk.

    python -m tests.benchmarks.effort_law [courses] [scenarios of risk]

For each course: the fourth-power mean of 30 s power, and the best mean power of any stretch, over
what the rider can hold evenly for that time; time at the power limit and coasting; the gap.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from optimizer.errors import Infeasible
from optimizer.pacing import plan_ride, realism
from optimizer.rider.effort import capacity
from optimizer.uncertainty import chance_as_printed, day_within_risk, draw_days
from tests.pacing.random_days import BIKE, random_day


def smoothed(at, elapsed, power, width=30.0):
    """Mean power over the `width` seconds that end at each of `at`; nothing is ridden before 0."""
    work = np.concatenate([[0.0], np.cumsum(power * np.diff(elapsed))])
    begin = np.maximum(at - width, 0.0)
    return (np.interp(at, elapsed, work) - np.interp(begin, elapsed, work)) / width


def plans(count):
    """Print how the plans of `count` random days are ridden."""
    rows, failed = [], []
    start = time.process_time()
    for seed in range(count):
        try:
            day = random_day(seed)
            plan = plan_ride(day, BIKE)
        except Infeasible as error:
            failed.append((seed, str(error).replace("\n", " ")))
            continue
        rider, elapsed, p = day.rider, np.diff(plan.time), plan.problem
        T = plan.finish_time
        at = np.arange(1.0, T, 1.0)
        fourth = np.mean(smoothed(at, plan.time, plan.power) ** 4) ** 0.25
        free = plan.speed[1:] < p.speed_limit[1:] * 0.995
        before_brake = plan.seconds_per_joule < 1e-3 * np.median(plan.seconds_per_joule)
        coast = ((plan.power < 5.0) & free & ~before_brake
                 & (plan.speed[1:] < 0.995 * p.pedalling_speed))
        rows.append((T, fourth / float(capacity(rider, T)),
                     realism(plan, rider).stretch,
                     elapsed[coast].sum() / T,
                     elapsed[plan.power > 0.99 * rider.max_power].sum() / T,
                     100 * plan.gap / T, plan.mean_power / float(capacity(rider, T)),
                     np.sqrt(np.average((plan.power - plan.mean_power) ** 2, weights=elapsed))
                     / plan.mean_power))
    T, fourth, stretch, coast, limit, gap, mean, vary = np.array(rows).T
    print(f"{len(rows)} of {count} planned, {T.min() / 60:.0f} to {T.max() / 60:.0f} min, "
          f"{time.process_time() - start:.0f} s of processor")
    print(f"fourth-power mean of 30 s power over even capacity: median {np.median(fourth):.3f}, "
          f"most {fourth.max():.3f}")
    print(f"best stretch over capacity for its length: median {np.median(stretch):.3f}, 95th "
          f"percentile {np.percentile(stretch, 95):.3f}, most {stretch.max():.3f} "
          f"(seed {int(np.argmax(stretch))})")
    print(f"coasting outside brakes and below the pedalling speed: most {100 * coast.max():.2f} % "
          f"of the time, on {np.mean(coast > 1e-3):.0%} of courses more than a thousandth")
    print(f"at the power limit: median {100 * np.median(limit):.2f} %, most "
          f"{100 * limit.max():.1f} % of the time")
    print(f"variation of power: median {np.median(vary):.2f}, most {vary.max():.2f}; mean over "
          f"capacity: median {np.median(mean):.3f}, least {mean.min():.3f}")
    print(f"gap in % of the time: median {np.median(gap):.5f}, 95th percentile "
          f"{np.percentile(gap, 95):.4f}, most {gap.max():.3f}")
    for seed, words in failed:
        print(f"failed: seed {seed}: {words}")


def risk(count, asked=0.1, fresh=2000):
    """Print how often plans with a margin run out on days that they have not seen."""
    seen, before, price = [], [], []
    for seed in range(1000, 1000 + count):
        try:
            day = random_day(seed)
            draws = draw_days(day, BIKE, (), 400, 1)
            kept = day_within_risk(day, BIKE, draws, asked)
        except Infeasible:
            continue
        other = draw_days(day, BIKE, (), fresh, 77)
        free = plan_ride(day, BIKE, bounded=False)
        before.append(chance_as_printed(free, day, draws))
        seen.append(chance_as_printed(kept.plan, kept.day, other))
        price.append(kept.plan.finish_time / free.finish_time - 1.0)
    print(f"chance to run out as printed, {len(seen)} scenarios, {fresh} fresh days, risk "
          f"{asked:.0%}: {min(seen):.3f} to {max(seen):.3f}, mean {np.mean(seen):.3f}; without a "
          f"margin {min(before):.2f} to {max(before):.2f}; price {100 * np.median(price):.2f} % "
          "of the time")


def studies():
    """Print what the law says of the courses that studies took; theirs beside it."""
    from optimizer.pacing import constant_power, solve
    from optimizer.rider.effort import EffortLimit
    from tests.published.uniform_course import stretches

    def gain(power, lengths, **fields):
        """Seconds of the best plan on even power at the same fourth-power mean, and the times."""
        problem = stretches(lengths, step=25.0, power=power, effort=EffortLimit(4.0, 1.0),
                            efficiency=0.976, inertia=82.0, start_speed=6.0, **fields)
        plan = solve(problem)
        even = constant_power(plan)
        return even.finish_time - plan.finish_time, even.finish_time

    atkinson = {"mass": 80.0, "area": 0.2565, "rolling": 0.0032, "density": 1.2234}
    hills = gain(289.0, [1000.0] * 10, grades=[0.1, -0.1] * 5, **atkinson)
    wind = gain(289.0, [5000.0] * 8, winds=[4.4, -4.4] * 4, **atkinson)
    print(f"Atkinson et al. 2007, 10 km of +-10 % grades, 289 W: 126 s of 1677 with +-10 % of "
          f"power that is not compensated (reproduced in tests/published); at the same "
          f"fourth-power mean the best plan wins {hills[0]:.1f} s of {hills[1]:.0f}")
    print(f"the same, 40 km of +-4.4 m/s: 51 s of 3592; here {wind[0]:.1f} s of {wind[1]:.0f}")
    for grade in (0.03, 0.05):
        rolling = gain(255.0, [500.0] * 8, grades=[grade, -grade] * 4,
                       **(atkinson | {"area": 0.32}))
        print(f"Cangley et al. 2011, 4 km undulating (course not published), 255 W: 2.9 %; here, "
              f"half kilometres of +-{100 * grade:.0f} %: {100 * rolling[0] / rolling[1]:.1f} %")


if __name__ == "__main__":
    counts = [int(word) for word in sys.argv[1:]]
    studies()
    plans(counts[0] if counts else 300)
    risk(counts[1] if len(counts) > 1 else 100)
