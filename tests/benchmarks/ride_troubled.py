"""Rides with pauses, gaps, late fixes and drift: does the interval of CdA hold the truth?

python -m tests.benchmarks.ride_troubled [rides] [debriefs]

Prints how often the 95 % interval holds the true CdA, the bias as a part of the interval, how
well the time stood still is found; then, for plans ridden with trouble, whether the parts of a
debrief add up and what its stops miss. These rides stop and go on at full speed in an instant,
which their simulation cannot: what stays unexplained is that.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np

from tests.ride.troubled import debriefed, judged, read_back, troubled


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    debriefs = int(sys.argv[2]) if len(sys.argv) > 2 else count
    with tempfile.TemporaryDirectory() as folder:
        found = []
        for seed in range(count):
            trouble = troubled(seed)
            found.append(judged(trouble, read_back(Path(folder), trouble.ride)))
    held, miss, share, stood = map(np.array, zip(*found, strict=True))
    print(f"{count} rides: covered {100 * np.mean(held):.1f} %, misses {np.mean(miss):+.2f} ± "
          f"{np.std(miss):.2f} deviations, bias {100 * np.mean(share):+.1f} % of the interval, "
          f"stops off by {np.mean(stood):+.1f} s on average, {np.abs(stood).max():.1f} s at most, "
          f"within 5 s in {100 * np.mean(np.abs(stood) < 5):.0f} %", flush=True)
    if debriefs:
        _debriefs(debriefs)


def _debriefs(count):
    from optimizer.ride.debrief import debrief
    from tests.ride.test_debrief import made_plan

    intended = made_plan()
    sums, stops, rest = [], [], []
    for seed in range(count):
        stop, ride = debriefed(seed, intended)
        d = debrief(ride, intended)
        sums.append(abs(sum(d.parts.values()) - d.difference))
        stops.append(d.passage.standing.sum() - stop)
        rest.append(d.parts["rest"])
    print(f"{count} debriefs: parts add up within {max(sums):.2g} s, stops off by "
          f"{np.mean(stops):+.1f} s on average, {np.abs(stops).max():.1f} s at most, unexplained "
          f"{np.mean(rest):+.1f} ± {np.std(rest):.1f} s")


if __name__ == "__main__":
    main()
