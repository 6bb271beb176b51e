"""How often the 95 % interval of CdA holds the truth, on synthetic rides.

python -m tests.benchmarks.ride_coverage [rides] [laps|out-and-back]
"""

from __future__ import annotations

import sys
import time

import numpy as np

from tests.ride import synthetic
from tests.ride.trials import covered, trial

COURSES = {"laps": synthetic.loop, "out-and-back": synthetic.out_and_back}


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    course = COURSES[sys.argv[2]] if len(sys.argv) > 2 else None
    held, miss, width, left = [], [], [], []
    start = time.process_time()
    for seed in range(count):
        so, test = trial(seed, course)
        ok, z = covered(so, test)
        held.append(ok)
        miss.append(z)
        width.append(test.drag_area_high[0] - test.drag_area_low[0])
        left.append(test.share_left_out)
    print(f"{sys.argv[1:]}: covered {100 * np.mean(held):.1f} %, misses {np.mean(miss):+.2f} ± "
          f"{np.std(miss):.2f} deviations, half width {0.5 * np.mean(width):.4f} m², left out "
          f"{100 * np.mean(left):.1f} %, {(time.process_time() - start) / count:.2f} s of "
          "processor each", flush=True)


if __name__ == "__main__":
    main()
