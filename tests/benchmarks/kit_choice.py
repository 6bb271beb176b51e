"""Time of the kit choice: the best set, the whole frontier, draws, and growth with the catalogue.

Run with `python -m tests.benchmarks.kit_choice` from the root of the repository; `--sizes` adds
the growth with the catalogue, which takes a few minutes.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from optimizer.day import RaceDay
from optimizer.kit.choose import search_for
from optimizer.kit.compare import compare_sets
from optimizer.kit.evaluator import pacing_evaluator
from tests.kit.invented import BASELINE, RIDER, catalogue, road, wind

FORTY = (4, 3, 4, 3, 3, 4, 3, 3, 4, 3, 3, 3)
BUDGET = 1500.0


def case(per_place, seed: int = 1):
    rng = np.random.default_rng(seed)
    course, weather = road(rng, length=40_000.0, turns=3), wind(3.5, 1.0)
    wanted, effects = catalogue(rng, per_place)
    return course, weather, wanted, effects


def search(per_place, seed: int = 1):
    course, weather, wanted, effects = case(per_place, seed)
    evaluator = pacing_evaluator(RaceDay(course, weather, RIDER), BASELINE)
    return search_for(RIDER, BASELINE, wanted, effects, evaluator, {})


class _Clock:
    """Seconds on the wall, and of the processor: the machine may be busy with other things."""

    def __init__(self) -> None:
        self.wall, self.own = time.perf_counter(), time.process_time()

    def __str__(self) -> str:
        return (f"{time.perf_counter() - self.wall:.2f} s "
                f"({time.process_time() - self.own:.2f} s of the processor)")


def best_and_frontier(per_place, seed: int = 1) -> None:
    """Best set at one budget, the integer program's own proof, and the frontier at all budgets."""
    import pyomo.environ  # noqa: F401 - a second to import, once for all
    import scipy.optimize  # noqa: F401

    clock = _Clock()
    one = search(per_place, seed)
    one.explore(BUDGET)
    gap = one.prove_best(BUDGET)
    print(f"{sum(per_place)} items, {len(per_place)} places: best set within {BUDGET:.0f} in "
          f"{clock}, proven to {gap:.3f} s, {len(one.known)} sets planned")
    clock = _Clock()
    gap = one.prove_by_program(BUDGET)
    print(f"  integer program: proven to {gap:.3f} s in {clock}")
    clock = _Clock()
    whole = search(per_place, seed)
    most = float(whole.terms.cost.sum())
    whole.explore(most)
    gap = whole.prove_front(most)
    print(f"  frontier of {len(whole.front())} sets in {clock}, proven to {gap:.3f} s, "
          f"{len(whole.known)} sets planned, {len(whole.bounds)} bounds")
    apart = one.fastest(BUDGET).time - whole.fastest(BUDGET).time
    print(f"  both routes agree to {abs(apart):.4f} s")


def draws() -> None:
    """A thousand common draws of three sets."""
    course, weather, wanted, effects = case(FORTY)
    evaluator = pacing_evaluator(RaceDay(course, weather, RIDER), BASELINE)
    places = [[item.name for item in wanted.items if item.place == place]
              for place in wanted.places]
    sets = [("none", ()), ("some", tuple(names[0] for names in places[:4])),
            ("more", tuple(names[-1] for names in places[4:8]))]
    clock = _Clock()
    found = compare_sets(RaceDay(course, weather, RIDER), BASELINE, wanted, effects, sets,
                         evaluator, count=1000)
    print(f"1,000 draws, three sets, paired, with plans and causes: {clock}; "
          + ", ".join(f"{d.first} {d.seconds:.1f} s ({d.low:.1f} to {d.high:.1f})"
                      for d in found.differences))


if __name__ == "__main__":
    best_and_frontier(FORTY)
    draws()
    if "--sizes" in sys.argv:
        for per_place in ((1,) * 10, (2,) * 8 + (1,) * 4, FORTY, (7,) * 8 + (6,) * 4,
                          (14,) * 4 + (13,) * 8):
            best_and_frontier(per_place)
