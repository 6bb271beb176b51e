"""The choice against other solvers: scipy's milp on the same program, and a textbook knapsack."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from optimizer.day import RaceDay
from optimizer.evidence import Effect
from optimizer.kit import Catalogue, Item, choose_kit
from optimizer.kit.bound import Bound, coordinates
from optimizer.kit.labels import Offer
from optimizer.kit.response import Response, propose
from optimizer.kit.set_model import set_model
from optimizer.kit.terms import tabulate
from tests.kit.invented import BASELINE, RIDER, catalogue, road, wind


def program(seed: int, draws: int):
    rng = np.random.default_rng(seed)
    wanted, effects = catalogue(rng, (4, 3, 3, 3, 3, 3, 2, 2), crossed=0.5)
    terms = tabulate(BASELINE, wanted, effects)
    model = set_model(terms, BASELINE, RIDER.mass)
    n, t = len(terms.names), len(terms.combinations.overlaps)
    item = rng.normal(-8, 5, n) + rng.normal(0, 3, (draws, n))
    overlap = rng.normal(2, 1, t) + rng.normal(0, 0.3, (draws, t))
    base = 3600 + rng.normal(0, 40, draws)
    answer = Response(base, item, overlap, np.zeros(n))
    return wanted, model, answer, 0.4 * terms.cost.sum()


def by_scipy(wanted: Catalogue, model, answer: Response, budget: float, level: float) -> float:
    """The same program in matrices of its own: x items, u overlaps, then edge and excess."""
    terms = model.terms
    n, t, k = len(terms.names), len(terms.combinations.overlaps), len(answer.base)
    row = {name: i for i, name in enumerate(terms.names)}
    width = n + t + 1 + k
    rows, upper = [], []

    def add(entries, limit):
        line = np.zeros(width)
        for at, value in entries:
            line[at] += value
        rows.append(line)
        upper.append(limit)

    for place in wanted.places:
        add([(i, 1.0) for i, item in enumerate(wanted.items) if item.place == place], 1.0)
    for i, item in enumerate(wanted.items):
        for name in item.requires:
            add([(i, 1.0), (row[name], -1.0)], 0.0)
        for name in item.excludes:
            add([(i, 1.0), (row[name], 1.0)], 1.0)
    add([(i, c) for i, c in enumerate(terms.cost)], budget)
    for j, over in enumerate(terms.combinations.overlaps):
        for partner in over.partners:
            add([(over.discounted, 1.0), (partner, 1.0), (n + j, -1.0)], 1.0)
        add([(n + j, 1.0), (over.discounted, -1.0)], 0.0)
        add([(n + j, 1.0), *((partner, -1.0) for partner in over.partners)], 0.0)
    for w in range(k):
        add([*enumerate(answer.item[w]), *((n + j, c) for j, c in enumerate(answer.overlap[w])),
             (n + t, -1.0), (n + t + 1 + w, -1.0)], -answer.base[w])
    cost = np.zeros(width)
    cost[n + t] = 1.0
    cost[n + t + 1:] = 1.0 / ((1.0 - level) * k)
    low, high = np.zeros(width), np.ones(width)
    low[n + t], high[n + t:] = -np.inf, np.inf
    whole = np.zeros(width)
    whole[:n] = 1
    found = milp(cost, constraints=LinearConstraint(np.array(rows), -np.inf, np.array(upper)),
                 bounds=Bounds(low, high), integrality=whole, options={"mip_rel_gap": 1e-9})
    assert found.success
    return float(found.fun)


def cvar(model, answer: Response, rows, level: float) -> float:
    chosen = np.zeros((1, len(model.terms.names)), dtype=bool)
    chosen[0, list(rows)] = True
    times = np.sort(answer.times(chosen, model.terms.combinations.overlapping(chosen))[0])[::-1]
    count = (1.0 - level) * len(times)
    whole = int(np.floor(count + 1e-9))
    rest = (count - whole) * times[whole] if count - whole > 1e-9 else 0.0
    return float((times[:whole].sum() + rest) / count)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("level", [0.0, 0.75])
def test_scipy_finds_the_same_optimum(seed, level):
    wanted, model, answer, budget = program(seed, 24)
    rules = model.terms.combinations
    offer = Offer(rules, np.ones(rules.count, dtype=bool), model.terms.cost)
    rows = propose(offer, answer, budget, level)
    assert model.terms.cost[list(rows)].sum() <= budget + 1e-6
    assert cvar(model, answer, rows, level) == pytest.approx(
        by_scipy(wanted, model, answer, budget, level), abs=0.02)


class _Linear:
    """An evaluator whose time is linear in drag: the plain knapsack."""

    def time(self, setup):
        return 1000.0 + 1e5 * float(setup.drag_area_change[0])

    def plan_own(self, *setups):
        pass

    def own_time(self, setup, time):  # noqa: ARG002
        return time

    def bounds(self, setups, half_range, within=np.inf):
        return [self.bound(setup, half_range, within) for setup in setups]

    def bound(self, setup, half_range, within):  # noqa: ARG002
        theta = coordinates(setup, RIDER.mass)
        slope = np.zeros_like(theta)
        slope[0] = 1e5 / theta[1]  # drag comes over the effective mass, which no item changes
        nothing = np.zeros((len(theta), len(theta)))
        return Bound(self.time(setup), theta, slope, nothing, np.zeros_like(theta), 1.0,
                     nothing, 1e6, 1.0, 0.0)


def knapsack(profits, weights, capacity):
    items = tuple(Item(f"{k}", f"other: {k}", float(w)) for k, w in enumerate(weights))
    effects = tuple(Effect(f"{k}", drag_area=np.array([-p / 1e5])) for k, p in enumerate(profits))
    choice = choose_kit(RaceDay(road(np.random.default_rng(0), length=2000.0), wind(0, 0), RIDER),
                        BASELINE, Catalogue(items), effects, float(capacity), "EUR",
                        evaluator=_Linear())
    return 1000.0 - choice.best.finish_time, choice


def every(profits, weights, capacity):
    return max(sum(p for p, take in zip(profits, taken, strict=True) if take)
               for taken in itertools.product((0, 1), repeat=len(profits))
               if sum(w for w, take in zip(weights, taken, strict=True) if take) <= capacity)


@pytest.mark.parametrize(("profits", "weights", "capacity", "optimum"), [
    # Horowitz and Sahni's example as in Martello and Toth 1990, Knapsack Problems, chapter 2.
    ((70, 20, 39, 37, 7, 5, 10), (31, 10, 20, 19, 4, 3, 6), 50, 107),
    # Kreher and Stinson 1999, Combinatorial Algorithms.
    ((92, 57, 49, 68, 60, 43, 67, 84, 87, 72), (23, 31, 29, 44, 53, 38, 63, 85, 89, 82), 165, 309),
])
def test_textbook_knapsacks(profits, weights, capacity, optimum):
    """Figures from memory; that the optimum is one is counted out here."""
    assert every(profits, weights, capacity) == optimum
    found, choice = knapsack(profits, weights, capacity)
    assert found == pytest.approx(optimum, abs=1e-6)
    assert choice.best.spend <= capacity
    spends = [kit.spend for kit in choice.frontier]
    for kit in choice.frontier:  # the frontier is the optimum at every capacity
        assert 1000.0 - kit.finish_time == pytest.approx(every(profits, weights, kit.spend),
                                                         abs=0.1)
    assert spends == sorted(spends)
