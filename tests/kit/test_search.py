"""The search on evaluators without a road, and what it says where it has to stop."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from optimizer.day import RaceDay
from optimizer.evidence import Effect
from optimizer.kit import Catalogue, Item, boxes, choose_kit, search
from optimizer.kit.bound import Bound, coordinates
from optimizer.kit.choose import search_for
from tests.kit.invented import BASELINE, RIDER, road, wind
from tests.later import later

GAINS = (70, 20, 39, 37, 7, 5, 10)
PRICES = (31, 10, 20, 19, 4, 3, 6)
COURSE = road(np.random.default_rng(5), length=10_000.0)


class Linear:
    """Time linear in drag, in seconds.

    `rough`: seconds too much until a set has its own bound. `bent`: share of a second by which
    bounds fall short ten seconds from their origin.
    """

    def __init__(self, rough=0.0, bent=0.0):
        self.rough, self.bent, self.sure = rough, bent, set()

    def time(self, setup):
        exact = 1000.0 + 1e5 * float(setup.drag_area_change[0])
        return exact + (0.0 if setup.name in self.sure else self.rough)

    def plan_own(self, *setups):
        pass

    def own_time(self, setup, time):  # noqa: ARG002
        return time

    def bounds(self, setups, half_range, within=np.inf):
        return [self.bound(setup, half_range, within) for setup in setups]

    def bound(self, setup, half_range, within):  # noqa: ARG002
        self.sure.add(setup.name)
        theta = coordinates(setup, RIDER.mass)
        slope = np.zeros_like(theta)
        slope[0] = 1e5 / theta[1]
        curvature = self.bent * np.outer(slope, slope) / 50.0
        return Bound(self.time(setup), theta, slope, curvature, np.zeros_like(theta), 1e12,
                     curvature, 1e6, 1.0, 0.0)


def knapsack(evaluator, budget=50.0, **options):
    items = tuple(Item(f"{k}", f"other: {k}", float(w)) for k, w in enumerate(PRICES))
    effects = tuple(Effect(f"{k}", drag_area=np.array([-p / 1e5])) for k, p in enumerate(GAINS))
    return choose_kit(RaceDay(COURSE, wind(0, 0), RIDER), BASELINE, Catalogue(items), effects,
                      budget, "EUR", evaluator=evaluator, **options)


def best(budget):
    return max(sum(itertools.compress(GAINS, taken))
               for taken in itertools.product((0, 1), repeat=len(GAINS))
               if sum(itertools.compress(PRICES, taken)) <= budget)


@pytest.mark.parametrize("budget", [0.0, 50.0, *later(13.0, 93.0)])
def test_a_rough_evaluator_is_asked_again_until_time_and_bound_agree(budget):
    choice = knapsack(Linear(rough=0.3), budget)
    assert 1000.0 - choice.best.finish_time == pytest.approx(best(budget), abs=0.01)
    assert choice.best.finish_time - choice.best.lower_bound <= 0.01 + 1e-9
    for kit in choice.frontier:
        assert 1000.0 - kit.finish_time >= best(kit.spend) - choice.frontier_gap - 1e-9
    assert choice.proven_gap <= 0.01 + 1e-9


def begun(evaluator):
    """A search that knows nothing yet but the bare bike."""
    items = tuple(Item(f"{k}", f"other: {k}", float(w)) for k, w in enumerate(PRICES))
    effects = tuple(Effect(f"{k}", drag_area=np.array([-p / 1e5])) for k, p in enumerate(GAINS))
    return search_for(RIDER, BASELINE, Catalogue(items), effects, evaluator, {})


@pytest.mark.parametrize("prove", ["prove_best", "prove_by_program"])
@pytest.mark.parametrize("budget", [0.0, 13.0, 50.0, 93.0])
@pytest.mark.parametrize(("rough", "bent"), [(0.0, 0.0), (0.3, 0.0), (0.0, 1.0)])
def test_each_proof_finds_the_best_set_without_help(budget, rough, bent, prove):
    found = begun(Linear(rough, bent))
    gap = getattr(found, prove)(budget)
    fastest = found.fastest(budget)
    assert fastest.spend <= budget
    assert 1000.0 - fastest.time == pytest.approx(best(budget), abs=0.011)
    assert 0.0 < gap <= 0.01 + 1e-9
    assert len(found.known) < 60  # of 128


def test_neither_proof_needs_the_other(monkeypatch):
    """Label setting that finds nothing is caught by the program, and knows nothing of it."""
    none = (np.zeros((0, len(PRICES)), dtype=bool), 0.0)
    blind = begun(Linear(bent=1.0))
    monkeypatch.setattr(boxes, "sets_below", lambda *_: none)
    monkeypatch.setattr(boxes, "relax", None)
    monkeypatch.setattr(boxes, "best_by_cost", None)
    monkeypatch.setattr(search, "relax", None)
    monkeypatch.setattr(search, "sets_below", None)
    assert blind.prove_by_program(50.0) <= 0.01 + 1e-9
    assert 1000.0 - blind.fastest(50.0).time == pytest.approx(best(50.0), abs=0.011)


@pytest.mark.parametrize("prove", ["prove_best", "prove_by_program"])
def test_where_nothing_may_be_used_the_bike_as_it_is_is_proven(prove):
    wanted, effects = chain()
    found = search_for(RIDER, BASELINE, wanted, effects, Linear(),
                       dict.fromkeys("abcd", "not allowed"))
    assert getattr(found, prove)(100.0) <= 0.01 + 1e-9
    assert found.fastest(100.0).rows == ()


@pytest.mark.parametrize("bent", [0.0, 1.0])
def test_the_frontier_is_found_without_help(bent):
    found = begun(Linear(bent=bent))
    gap = found.prove_front(sum(PRICES))
    front = found.front()
    assert [known.spend for known in front] == sorted(known.spend for known in front)
    for budget in range(0, sum(PRICES) + 1, 3):
        here = min(known.time for known in front if known.spend <= budget)
        assert 0.0 <= here - (1000.0 - best(budget)) + 1e-9 <= gap + 1e-6


def test_what_known_bounds_leave_open_is_said():
    found = begun(Linear(rough=0.3))
    for rows in ((0,), (4,)):
        known = found.evaluate(rows)
        assert known.time - found.lower_of(known) == pytest.approx(0.3)
    assert found._left_open(0.0) == pytest.approx(0.01)  # the bare bike has its bound
    assert found.evaluate((0,)).time == pytest.approx(930.3)
    assert found._left_open(50.0) == pytest.approx(0.01)
    assert found.known[(0,)].time == pytest.approx(930.0)  # by a plan of its own


def test_slower_is_more_along_the_first_direction():
    found = begun(Linear(bent=1.0))
    first = float(np.linalg.pinv(found.basis)[:, 0] @ found.bounds[()].slope)
    assert found.per_second == pytest.approx(1.0 / first)


def test_a_program_that_reaches_its_limits_claims_nothing(monkeypatch):
    monkeypatch.setattr(search, "_MOST_PROPOSALS", -1)
    assert begun(Linear(bent=1.0)).prove_by_program(50.0) == np.inf
    monkeypatch.setattr(search, "_PROGRAM_ITEMS", 6)
    choice = knapsack(Linear(), twice=True)
    assert choice.program_gap == np.inf
    assert choice.proven_gap <= 0.01 + 1e-9


@pytest.mark.parametrize("most", [2, 8, 400])
def test_too_many_partial_sets_are_said_as_a_gap(monkeypatch, most):
    monkeypatch.setattr(search, "_ROUNDS", 1)
    full = knapsack(Linear(bent=1.0))
    monkeypatch.setattr(boxes, "_MOST_LABELS", most)
    monkeypatch.setattr(boxes, "_HALVINGS", 1)
    hurried = knapsack(Linear(bent=1.0), twice=True)
    missed = max(best(kit.spend) - (1000.0 - kit.finish_time) for kit in hurried.frontier)
    assert missed <= hurried.frontier_gap
    if most == 2:
        assert hurried.frontier_gap > full.frontier_gap + 0.1
    if most == 400:
        assert hurried.frontier_gap == full.frontier_gap
    # The integer program does not depend on it.
    assert 1000.0 - hurried.best.finish_time == pytest.approx(best(50.0), abs=0.02)
    assert hurried.program_gap <= 0.01 + 1e-9


def chain():
    """Item a needs b, b needs c; d excludes c."""
    items = (Item("a", "wheels", 10.0, requires=("b",)), Item("b", "helmet", 10.0, requires=("c",)),
             Item("c", "cables", 10.0), Item("d", "shoes", 10.0, excludes=("c",)))
    return Catalogue(items), tuple(Effect(i.name, drag_area=np.array([-0.002])) for i in items)


def test_what_needs_a_ruled_out_thing_is_in_no_set():
    wanted, effects = chain()
    found = search_for(RIDER, BASELINE, wanted, effects, Linear(), {"c": "not allowed"})
    found.explore(100.0)
    near = found.fastest(100.0)
    assert near.rows == (3,)
    assert found.best_where(0, held=True, budget=100.0, near=near) is None
    assert found.best_where(3, held=True, budget=5.0, near=near) is None  # too dear
    assert found.best_where(3, held=False, budget=100.0, near=near).rows == ()


@pytest.mark.parametrize("budget", [13.0, 50.0])
@pytest.mark.parametrize("row", range(len(PRICES)))
def test_the_best_set_with_an_item_and_without_it(row, budget):
    found = begun(Linear())
    found.explore(sum(PRICES))
    near = found.fastest(budget)
    only = found.best_where(row, held=True, budget=PRICES[row], near=near)  # the last coin
    assert row in only.rows
    assert only.spend == PRICES[row]
    for held in (True, False):
        known = found.best_where(row, held=held, budget=budget, near=near)
        some = [sum(itertools.compress(GAINS, taken))
                for taken in itertools.product((0, 1), repeat=len(GAINS))
                if taken[row] == held and sum(itertools.compress(PRICES, taken)) <= budget]
        if some:
            assert 1000.0 - known.time == pytest.approx(max(some), abs=0.01)
        else:
            assert known is None
    usable, cost = np.arange(len(PRICES)) != row, np.where(np.arange(len(PRICES)) % 2, PRICES, 0.0)
    known = found.best_among(usable, cost, budget, near)
    assert 1000.0 - known.time == pytest.approx(max(
        sum(itertools.compress(GAINS, taken))
        for taken in itertools.product((0, 1), repeat=len(GAINS))
        if not taken[row] and sum(itertools.compress(cost, taken)) <= budget), abs=0.01)
