"""The sweep over all budgets against plain enumeration, on planes without a road."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.kit.ledger import ledger
from optimizer.kit.sweep import Plane, best_by_cost, candidates, gather, least_by_cost
from optimizer.kit.terms import tabulate
from tests.kit.invented import BASELINE, RIDER, catalogue, every_set


def case(seed, crossed=0.5):
    rng = np.random.default_rng(seed)
    wanted, effects = catalogue(rng, (2, 3, 2, 2, 1, 2), crossed=crossed)
    terms = tabulate(BASELINE, wanted, effects)
    book = ledger(terms, wanted, BASELINE, RIDER.mass)
    plane = Plane(3.0, rng.normal(-5, 5, len(terms.names)),
                  rng.normal(1, 1, len(terms.overlaps)), 0.0)
    groups = gather(wanted, book, np.ones(len(terms.names), dtype=bool))
    names = every_set(wanted)
    chosen = np.zeros((len(names), len(terms.names)), dtype=bool)
    for row, picked in zip(chosen, names, strict=True):
        row[terms.rows(picked)] = True
    value = plane.start + chosen @ plane.item + book.overlapping(chosen) @ plane.overlap
    return groups, plane, chosen, chosen @ terms.cost, value


def as_sets(chosen):
    return {tuple(np.flatnonzero(row)) for row in chosen}


@pytest.mark.parametrize("seed", range(8))
def test_groups_hold_every_feasible_set_once(seed):
    groups, _, chosen, _, _ = case(seed)
    assert np.prod([len(group.cost) for group in groups]) == len(chosen)
    assert not any(group.across.any() for group in groups)


@pytest.mark.parametrize("seed", range(8))
def test_best_by_cost_is_the_frontier(seed):
    groups, plane, chosen, cost, value = case(seed)
    found = best_by_cost(groups, plane, 1e9)
    expected = {tuple(np.flatnonzero(row)) for k, row in enumerate(chosen)
                if not np.any((cost <= cost[k]) & (value < value[k] - 1e-9))}
    assert as_sets(found) <= expected
    spends = sorted({cost[k] for k in range(len(chosen))
                     if value[k] < np.min(value[cost < cost[k]], initial=np.inf) - 1e-9})
    assert len(found) == len(spends)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("window", [0.0, 0.5, 4.0])
def test_candidates_are_exactly_the_sets_below_the_ceilings(seed, window):
    groups, plane, chosen, cost, value = case(seed)
    edges = np.quantile(cost, [0.2, 0.4, 0.6, 0.8])
    edges = np.append(np.unique(edges), cost.max() + 1)
    best = np.array([value[cost < top].min() for top in edges[1:]])
    ceilings = best + window
    found = candidates(groups, plane, edges, ceilings)
    at = np.searchsorted(edges, cost + 1e-9, side="right") - 1
    wanted = (at >= 0) & (value <= ceilings[np.maximum(at, 0)])
    assert as_sets(found) == as_sets(chosen[wanted])
    assert least_by_cost(groups, plane, edges[1:]) == pytest.approx(best)


def test_nothing_below_the_ceilings_is_found_at_once():
    groups, plane, _, cost, value = case(3)
    found = candidates(groups, plane, np.array([0.0, cost.max() + 1]),
                       np.array([value.min() - 0.1]))
    assert len(found) == 0


@pytest.mark.parametrize("seed", range(4))
def test_what_reaches_across_small_groups_is_relaxed_and_nothing_is_lost(seed, monkeypatch):
    from optimizer.kit import sweep

    monkeypatch.setattr(sweep, "_LARGEST_GROUP", 4)
    rng = np.random.default_rng(seed)
    wanted, effects = catalogue(rng, (2, 3, 2, 2), crossed=0.8)
    terms = tabulate(BASELINE, wanted, effects)
    book = ledger(terms, wanted, BASELINE, RIDER.mass)
    plane = Plane(0.0, rng.normal(-5, 5, len(terms.names)),
                  rng.normal(1, 1, len(terms.overlaps)), 0.0)
    groups = gather(wanted, book, np.ones(len(terms.names), dtype=bool))
    assert len(groups) > 1
    names = every_set(wanted)
    chosen = np.zeros((len(names), len(terms.names)), dtype=bool)
    for row, picked in zip(chosen, names, strict=True):
        row[terms.rows(picked)] = True
    value = chosen @ plane.item + book.overlapping(chosen) @ plane.overlap
    ceiling = np.quantile(value, 0.2)
    found = candidates(groups, plane, np.array([0.0, terms.cost.sum() + 1]), np.array([ceiling]))
    assert as_sets(chosen[value <= ceiling]) <= as_sets(found)
