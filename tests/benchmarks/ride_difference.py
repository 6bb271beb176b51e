"""How often a field test sees a change of CdA of 2.5 %, against the chance that it states.

python -m tests.benchmarks.ride_difference [tests] [order]

Synthetic rides in calm air, out and back, with meter, wheel and altimeter as they err and a rider
who does not repeat the position exactly. The chance is the one that `kitpace testplan` gives for
the same intention before any ride.
"""

from __future__ import annotations

import sys

import numpy as np

from optimizer.ride.comparison import compare
from optimizer.ride.design import Intention, plan_test
from optimizer.ride.field_test import field_test
from tests.ride.trials import compared

SHARE = 0.025


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    order = sys.argv[2] if len(sys.argv) > 2 else "ABBABAAB"
    seen, held, miss, stated = 0, 0, [], []
    for seed in range(count):
        gain = SHARE * 0.26
        runs = compared(seed, gain, order)
        found = compare(field_test(runs, each_ride=True), "A", "B")
        seen += found.high < 0
        held += found.low <= -gain <= found.high
        miss.append(found.change + gain)
        stated.append(found.sd)
    ride = runs.rides[0]
    plan = plan_test(Intention(
        gain, float(ride.distance[-1] / ride.duration), float(ride.distance[-1]), leg=3000.0,
        drag_area=0.26, mass=82.0, gust_sd=0.2, turning_sd=0.15))
    option = next(option for option in plan.options if option.order == order)
    print(f"{order}, change {gain:.4f} m² ({plan.watts:.1f} W): seen in {100 * seen / count:.0f} % "
          f"of {count} tests; stated chance {100 * option.chance:.0f} %; 95 % interval holds the "
          f"truth in {100 * held / count:.0f} %; error {np.std(miss):.4f} m², stated "
          f"{np.mean(stated):.4f}, planned {option.sd:.4f}")


if __name__ == "__main__":
    main()
