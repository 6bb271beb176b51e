"""The sieve against plain enumeration: what a bound leaves is never sieved out."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from optimizer.day import RaceDay
from optimizer.kit import groups as module
from optimizer.kit import sieve
from optimizer.kit.groups import gather, heights
from optimizer.kit.judge import pacing_judge
from optimizer.kit.ledger import ledger
from optimizer.kit.master import directions
from optimizer.kit.sieve import Sieve
from optimizer.kit.terms import tabulate
from tests.kit.invented import BASELINE, RIDER, catalogue, every_set, road, wind

BUDGETS = (0.0, 200.0, 400.0, 600.0, 900.0)


class Case:
    """Bounds of three sets on a small catalogue in groups that reach into each other."""

    def __init__(self, seed, *, whole):
        rng = np.random.default_rng(seed)
        wanted, effects = catalogue(rng, (3, 3, 2, 3, 2, 2), crossed=0.4)
        self.terms = tabulate(BASELINE, wanted, effects)
        self.book = book = ledger(self.terms, wanted, BASELINE, RIDER.mass)
        judge = pacing_judge(RaceDay(road(rng, length=15_000.0), wind(3.0, 1.0), RIDER, step=300.0),
                             BASELINE)
        names = every_set(wanted)
        self.chosen = np.zeros((len(names), len(self.terms.names)), dtype=bool)
        for row, picked in zip(self.chosen, names, strict=True):
            row[self.terms.rows(picked)] = True
        self.cost = self.chosen @ self.terms.cost
        at = np.argsort(self.cost)[[0, len(names) // 2, -1]]
        keys = [tuple(int(k) for k in np.flatnonzero(self.chosen[k])) for k in at]
        bounds = {key: judge.bound(self.terms.setup(BASELINE, key), book.reach()) for key in keys}
        theta, corners = book.coordinates(self.chosen), book.corners(self.chosen)
        self.lower = np.max([bound.at(theta, corners) for bound in bounds.values()], axis=0)
        basis = directions(bounds[keys[0]].bend, book.reach())
        first = np.linalg.pinv(basis)[:, 0] @ bounds[keys[0]].slope
        basis[0] *= np.sign(first)
        groups = gather(wanted, book, np.ones(len(self.terms.names), dtype=bool))
        assert whole or len(groups) > 2
        self.sieve = Sieve(book, bounds, groups, basis, 4.0 / abs(first))
        # The best of each budget, by the bounds, and what may be up to `ahead` slower.
        self.edges = np.array([*BUDGETS, self.cost.max() + 1.0])
        least = [np.flatnonzero(self.cost <= budget) for budget in BUDGETS]
        best = [rows[np.argmin(self.lower[rows])] for rows in least]
        self.fronts = [tuple(int(k) for k in np.flatnonzero(self.chosen[k])) for k in best]
        self.best = self.lower[best]

    def below(self, times):
        bracket = np.searchsorted(self.edges, self.cost + 1e-7, side="right") - 1
        return self.lower < times[bracket] - 1e-6


def as_sets(chosen):
    return {tuple(np.flatnonzero(row)) for row in chosen}


@pytest.mark.parametrize(("seed", "ahead", "most"), list(itertools.product(
    range(4), (0.1, 3.0), (30_000, 20))))
def test_nothing_that_may_be_faster_is_lost(seed, ahead, most, monkeypatch):
    monkeypatch.setattr(module, "_LARGEST_GROUP", 10)
    case = Case(seed, whole=False)
    times = case.best + ahead
    wanted = case.below(times)
    monkeypatch.setattr(sieve, "_MOST_CANDIDATES", most)
    found, gap = case.sieve.below(case.fronts, case.edges, times)
    missing = as_sets(case.chosen[wanted]) - as_sets(found)
    if most > 20:
        assert not missing
        assert gap == 0.0
    elif missing:  # too much to go through: said as a gap
        bracket = np.searchsorted(case.edges, case.cost + 1e-7, side="right") - 1
        lost = [k for k in np.flatnonzero(wanted)
                if tuple(np.flatnonzero(case.chosen[k])) in missing]
        assert gap >= max(times[bracket[k]] - case.lower[k] for k in lost) - 1e-6
    used = case.sieve.of_use(case.edges[1:], times)
    assert not np.any(case.chosen[wanted].any(axis=0) & ~used)


@pytest.mark.parametrize("seed", range(4))
def test_most_of_what_cannot_be_faster_is_sieved_out(seed):
    case = Case(seed, whole=True)
    found, gap = case.sieve.below(case.fronts, case.edges, case.best + 0.01)
    assert gap == 0.0
    assert len(found) < 0.1 * len(case.chosen) + 1.5 * case.below(case.best + 0.01).sum()
    used = case.sieve.of_use(np.array([BUDGETS[2]]), case.best[2:3] + 0.01)
    assert 0 < used.sum() < len(used)


def test_cutting_finds_in_halves_what_is_too_much_for_the_whole(monkeypatch):
    case = Case(0, whole=True)
    times = case.best + 5.0
    whole, _ = case.sieve.below(case.fronts, case.edges, times)
    monkeypatch.setattr(sieve, "_MOST_CANDIDATES", len(whole) // 3)
    halves, gap = case.sieve.below(case.fronts, case.edges, times)
    monkeypatch.setattr(sieve, "_MOST_CUTS", 0)
    uncut, wide = case.sieve.below(case.fronts, case.edges, times)
    assert gap <= wide
    assert len(uncut) <= len(halves)


@pytest.mark.parametrize("seed", range(4))
def test_every_set_is_in_a_cell_and_its_halves(seed):
    case = Case(seed, whole=True)
    book, found = case.book, np.zeros(len(case.chosen), dtype=bool)
    theta = book.coordinates(case.chosen)
    for origin, nearer, cell in case.sieve._cells():
        along = (theta - case.sieve.bounds[origin].point) @ case.sieve.basis.T
        inside = np.all((along >= cell[:, 0] - 1e-9) & (along <= cell[:, 1] + 1e-9), axis=1)
        slower = (nearer.start + case.chosen @ nearer.item
                  + book.overlapping(case.chosen) @ nearer.overlap)
        assert np.all(slower[inside] <= 1e-9)
        for d in range(len(cell)):
            low, high = sieve._halves(cell, d)
            assert low[d, 0] == cell[d, 0] < low[d, 1] == high[d, 0] < high[d, 1] == cell[d, 1]
            others = np.arange(len(cell)) != d
            assert np.array_equal(low[others], cell[others])
            assert np.array_equal(high[others], cell[others])
        found |= inside
    assert found.all()


@pytest.mark.parametrize("seed", range(6))
def test_runs_share_heights_that_fit_all_their_sets(seed, monkeypatch):
    monkeypatch.setattr(module, "_LARGEST_GROUP", 10)
    case = Case(seed, whole=False)
    origin = next(iter(case.sieve.bounds))
    tangent = case.sieve.tangent(origin)
    for mine in (np.arange(len(case.fronts)), np.array([0, 1, 3, 4])):
        runs = list(case.sieve._runs(case.fronts, mine, origin))
        covered = [k for begin, end, _ in runs for k in range(begin, end)]
        assert covered == list(mine)
        for begin, end, height in runs:
            fits = heights(case.sieve.groups, tangent,
                           case.sieve._combinations(case.fronts[begin:end]))
            assert np.all(fits[:, :, 0] <= height + 1e-12)
            assert np.all(height <= fits[:, :, 1] + 1e-12)
        for one, other in itertools.pairwise(runs):  # no shorter than they have to be
            if one[1] == other[0]:
                fits = heights(case.sieve.groups, tangent, case.sieve._combinations(
                    case.fronts[one[0]:other[0] + 1]))
                assert np.any(fits[:, :, 0].max(axis=0) > fits[:, :, 1].min(axis=0))
