"""Branch and bound over cells against plain enumeration: what a bound leaves is never lost."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from optimizer.day import RaceDay
from optimizer.kit import boxes
from optimizer.kit.boxes import Boxes
from optimizer.kit.evaluator import pacing_evaluator
from optimizer.kit.labels import Offer
from optimizer.kit.minorant import directions
from optimizer.kit.program import Program
from optimizer.kit.set_model import set_model
from optimizer.kit.terms import tabulate
from tests.kit.invented import BASELINE, RIDER, as_sets, catalogue, road, sets_of, wind
from tests.later import later

BUDGETS = (0.0, 200.0, 400.0, 600.0, 900.0)


class Case:
    """Bounds of three sets on a small catalogue; two of them say nothing on what is far away."""

    def __init__(self, seed, part=0.3):
        rng = np.random.default_rng(seed)
        wanted, effects = catalogue(rng, (3, 3, 2, 3, 2, 2), crossed=0.4)
        self.terms = terms = tabulate(BASELINE, wanted, effects)
        self.rules = terms.combinations
        self.model = model = set_model(terms, BASELINE, RIDER.mass)
        evaluator = pacing_evaluator(RaceDay(road(rng, length=15_000.0), wind(3.0, 1.0), RIDER,
                                             step=300.0), BASELINE)
        self.chosen = sets_of(wanted, terms)
        self.cost = self.chosen @ terms.cost
        at = np.argsort(self.cost)[[0, len(self.cost) // 2, -1]]
        keys = [tuple(int(k) for k in np.flatnonzero(self.chosen[k])) for k in at]
        assert keys[0] == ()
        within = [np.inf, *[part * float(model.half_range()[0])] * 2]
        self.bounds = {key: evaluator.bound(terms.setup(BASELINE, key), model.half_range(), here)
                       for key, here in zip(keys, within, strict=True)}
        theta, corners = model.coordinates(self.chosen), model.corners(self.chosen)
        self.lower = np.max([bound.at(theta, corners) for bound in self.bounds.values()], axis=0)
        first = self.bounds[()]
        basis = directions(first.curvature, model.half_range())
        along = np.linalg.pinv(basis)[:, 0] @ first.slope
        basis[0] *= np.sign(along)
        self.boxes = Boxes(model, self.bounds, Offer(self.rules, np.ones(self.rules.count, bool),
                                                     terms.cost), basis, 4.0 / abs(along))
        self.edges = np.array([*BUDGETS, self.cost.max() + 1.0])
        self.best = np.array([self.lower[self.cost <= budget].min() for budget in BUDGETS])

    def below(self, times):
        bracket = np.searchsorted(self.edges, self.cost + 1e-7, side="right") - 1
        return self.lower < times[bracket] - 1e-6


@pytest.mark.parametrize(("seed", "ahead", "part"), [
    *itertools.product((0, 2), (0.1, 3.0), (0.3, np.inf)),
    *later(*itertools.product((1, 3), (0.1, 3.0), (0.3, np.inf)))])
def test_nothing_that_may_be_faster_is_lost(seed, ahead, part):
    case = Case(seed, part)
    times = case.best + ahead
    found, gap = case.boxes.sets_below(case.edges, times)
    assert gap == 0.0
    assert as_sets(case.chosen[case.below(times)]) <= as_sets(found)


@pytest.mark.parametrize("seed", range(4))
def test_most_of_what_cannot_be_faster_is_dropped(seed):
    case = Case(seed)
    found, _ = case.boxes.sets_below(case.edges, case.best + 0.01)
    assert case.rules.feasible(found).all()
    assert len(found) < 0.05 * len(case.chosen) + 1.5 * case.below(case.best + 0.01).sum()


@pytest.mark.parametrize(("seed", "most"), [(1, 140), (2, 140)])
def test_cells_are_halved_until_they_can_be_gone_through(seed, most, monkeypatch):
    case = Case(seed)
    times = case.best + 1.0
    wanted = as_sets(case.chosen[case.below(times)])
    monkeypatch.setattr(boxes, "_MOST_LABELS", most)
    halves, gap = case.boxes.sets_below(case.edges, times)
    assert gap == 0.0
    assert wanted <= as_sets(halves)
    monkeypatch.setattr(boxes, "_HALVINGS", 0)
    whole, gap = case.boxes.sets_below(case.edges, times)
    missing = wanted - as_sets(whole)
    assert missing  # too much to go through: said as a gap
    bracket = np.searchsorted(case.edges, case.cost + 1e-7, side="right") - 1
    lost = [k for k, one in enumerate(case.chosen) if tuple(np.flatnonzero(one)) in missing]
    assert gap >= max(times[bracket[k]] - case.lower[k] for k in lost) - 1e-6


class Priced(Case):
    """The same with prices in seconds on things, so that another set is the best one."""

    def __init__(self, seed, part, size):
        super().__init__(seed, part)
        rng = np.random.default_rng(100 + seed)
        hurdle = size * rng.uniform(0.0, 1.0, len(self.terms.cost))
        overlap = 0.3 * size * rng.uniform(-1.0, 0.0, len(self.rules.overlaps))
        self.priced = replace(self.model, hurdle=hurdle, overlap_hurdle=overlap)
        self.counts = self.rules.overlapping(self.chosen)
        self.value = self.lower + self.priced.hurdles(self.chosen)
        self.boxes = Boxes(self.priced, self.bounds, self.boxes.offer, self.boxes.basis,
                           self.boxes.width)


@pytest.mark.parametrize(("seed", "part", "size"), [
    *itertools.product((0, 2), (0.3, np.inf), (0.5, 5.0)),
    *later(*itertools.product((1, 3), (0.3, np.inf), (0.5, 5.0)))])
def test_no_set_lies_below_a_floor_but_those_that_come_with_it(seed, part, size):
    case = Priced(seed, part, size)
    k = int(case.value.argmin())
    rows = tuple(int(row) for row in np.flatnonzero(case.chosen[k]))
    for target, most in ((case.value[k] - 0.002, 40), (case.value[k] + 1.0, 40),
                         (case.value[k] + 1.0, 1)):
        least, others = case.boxes.floor(rows, target, most)
        assert least <= target
        beside = [tuple(np.flatnonzero(one)) not in as_sets(others) for one in case.chosen]
        assert least <= case.value[beside].min(initial=np.inf) + 1e-9
        assert case.rules.feasible(others).all()
    # Whatever is below its value is found or ruled out: the floor is as high as the best set.
    least, others = case.boxes.floor(rows, case.value[k] - 0.002, 40)
    assert least == case.value[k] - 0.002
    least, others = case.boxes.floor(rows, case.value[k] + 1.0, 40)
    below = as_sets(case.chosen[case.value < least - 1e-6])
    assert below <= as_sets(others)
    assert rows in as_sets(others) or least <= case.value[k]


@pytest.mark.parametrize(("seed", "part", "size"), [
    *itertools.product((0, 2), (0.3, np.inf), (0.5, 5.0)),
    *later(*itertools.product((1, 3), (0.3, np.inf), (0.5, 5.0)))])
def test_a_chord_lies_below_every_set_of_its_span_and_touches_the_set_it_is_made_at(
        seed, part, size):
    case = Priced(seed, part, size)
    along = case.boxes.along().of(case.chosen, case.counts)
    for k in (int(case.value.argmin()), 0, len(case.value) // 2):
        rows = tuple(int(row) for row in np.flatnonzero(case.chosen[k]))
        lost = []
        for reach, ahead in ((np.inf, np.inf), (np.inf, 4.0), (1.0, 4.0), (0.1, 4.0)):
            span = along[k] - reach, along[k] + reach
            slowest = min(float(case.value[k]) + ahead, float(case.value.max()) + 1.0)
            plane = case.boxes.chord(rows, slowest, span)
            assert plane.slack == plane.spread == 0.0
            held = (case.value <= slowest) & (np.abs(along - along[k]) <= reach)
            least = plane.value + plane.of(case.chosen, case.counts)
            assert held[k]
            assert np.all(least[held] <= case.value[held] + 1e-9)
            lost.append(case.value[k] - least[k])
        # The shorter the span, the closer; about the origin of a bound nothing is lost.
        assert np.all(np.diff(lost[1:]) <= 1e-9)
        assert lost[-1] < (0.01 if rows == () else 0.6)


@pytest.mark.parametrize(("seed", "part"), list(itertools.product(range(4), (0.3, np.inf))))
def test_every_set_is_in_a_cell_in_which_its_bound_is_good(seed, part):
    case = Case(seed, part)
    model, inside_some = case.model, np.zeros(len(case.chosen), dtype=bool)
    theta = model.coordinates(case.chosen)
    value = case.boxes.along().of(case.chosen, case.rules.overlapping(case.chosen))
    slack = case.boxes.along().slack + 1e-9
    for origin, box in case.boxes:
        bound = case.bounds[origin]
        along = (theta - bound.point) @ case.boxes.basis.T
        inside = np.all((along >= box[:, 0] - 1e-9) & (along <= box[:, 1] + 1e-9), axis=1)
        assert np.isfinite(bound.at(theta[inside])).all()
        low, high = case.boxes.interval(origin, box)
        assert np.all((value[inside] >= low - slack) & (value[inside] <= high + slack))
        for d in range(len(box)):
            left, right = boxes._halves(box, d)
            assert left[d, 0] == box[d, 0] <= left[d, 1] == right[d, 0] <= right[d, 1] == box[d, 1]
            others = np.arange(len(box)) != d
            assert np.array_equal(left[others], box[others])
            assert np.array_equal(right[others], box[others])
        inside_some |= inside
    assert inside_some.all()


@pytest.mark.parametrize("seed", range(3))
def test_the_program_finds_the_sets_of_a_cell_one_by_one(seed):
    """All of those in the cell below the ceiling, each once, and then says that there is none."""
    from optimizer.kit.minorant import minorant

    case = Case(seed)
    counts, along, budget = (case.rules.overlapping(case.chosen), case.boxes.along(), 500.0)
    coordinate, best = along.of(case.chosen, counts), np.zeros(0, dtype=int)
    for cell in case.boxes:
        low, high = case.boxes.interval(*cell)
        here = np.flatnonzero((coordinate >= low - along.slack) & (case.cost <= budget)
                              & (coordinate <= high + along.slack))
        if len(here) > len(best):
            (origin, box), best, interval = cell, here, (low, high)
    inside = best
    assert 8 < len(inside) < len(case.chosen)
    affine = minorant(case.bounds[origin], case.model, case.boxes.basis, box)
    value = affine.of(case.chosen, counts)
    ceiling = float(np.mean(np.sort(value[inside])[7:9]))
    program = Program(case.boxes.offer, affine, budget, along, interval)
    seen = []
    while (found := program.propose(ceiling)) is not None:
        assert found not in seen
        seen.append(found)
        program.exclude(found)
    assert {*seen} == as_sets(case.chosen[inside[value[inside] <= ceiling]])
