"""The chosen set against brute force: every set of a random catalogue, solved on its own."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.day import RaceDay
from optimizer.kit import choose_kit, setup_of
from optimizer.kit.evaluator import pacing_evaluator
from optimizer.pacing import plan_ride
from tests.kit.invented import BASELINE, RIDER, catalogue, every_set, road, wind
from tests.later import later

STEP = 400.0


def case(seed: int, largest: int):
    rng = np.random.default_rng(seed)
    course = road(rng, length=float(rng.uniform(8_000, 30_000)), turns=int(rng.integers(0, 3)))
    weather = wind(float(rng.uniform(0, 5)), float(rng.uniform(0, 6.28)))
    per_place = []
    while np.prod([k + 1 for k in per_place]) < largest / 5:
        per_place.append(int(rng.integers(1, 5)))
    wanted, effects = catalogue(rng, tuple(per_place[:12]))
    total = sum(item.cost for item in wanted.items)
    return course, weather, wanted, effects, float(rng.uniform(0.1, 0.7)) * total


def check(seed: int, largest: int) -> float:
    """Seconds by which the choice misses the best of all sets; also checks the frontier."""
    course, weather, wanted, effects, budget = case(seed, largest)
    choice = choose_kit(RaceDay(course, weather, RIDER, step=STEP), BASELINE, wanted, effects,
                        budget, "EUR")
    evaluator = pacing_evaluator(RaceDay(course, weather, RIDER, step=STEP), BASELINE)
    sets = every_set(wanted)
    assert len(sets) <= 4096
    times, spends = [], []
    for names in sets:
        times.append(evaluator.plan(setup_of(BASELINE, wanted, effects, names)).finish_time)
        spends.append(sum(wanted[name].cost for name in names))
    own: dict[tuple[str, ...], float] = {}

    def own_time_of_the_best(rivals):
        """A frontier gives the time of a set's own plan, with the effort that its own duration
        allows; that moves all sets by some milliseconds, and alike those that are close."""
        least = min(time for time, _ in rivals)
        near = [tuple(names) for time, names in rivals if time <= least + 0.02]
        for names in near:
            if names not in own:
                own[names] = plan_ride(RaceDay(course, weather, RIDER, step=STEP), setup_of(
                    BASELINE, wanted, effects, names), bounded=False).finish_time
        return min(own[names] for names in near)

    affordable = [(time, names) for time, spend, names in zip(times, spends, sets, strict=True)
                  if spend <= budget]
    best = min(time for time, _ in affordable)
    mine = evaluator.plan(choice.best.setup).finish_time
    assert choice.best.spend <= budget
    assert choice.best.lower_bound <= own_time_of_the_best(affordable) + 0.002
    assert choice.proven_gap <= 0.02
    for kit in choice.frontier:
        rival = own_time_of_the_best([
            (time, names) for time, spend, names in zip(times, spends, sets, strict=True)
            if spend <= kit.spend + 1e-9])
        assert kit.finish_time <= rival + choice.frontier_gap + 0.002
        assert kit.finish_time >= rival - 0.002
    return mine - best


@pytest.mark.parametrize("seed", [0, *later(1, 2, 3)])
def test_small_catalogues(seed):
    assert check(seed, 120) <= 0.01


@pytest.mark.long
@pytest.mark.parametrize("seed", range(100))
def test_a_hundred_catalogues(seed):
    assert check(1000 + seed, 4096 if seed % 10 == 0 else 700) <= 0.01
