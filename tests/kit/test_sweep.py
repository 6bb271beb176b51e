"""The sweep over all budgets against plain enumeration, on planes without a road."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from optimizer.kit.groups import combination, gather, heights, plane_over
from optimizer.kit.ledger import ledger
from optimizer.kit.sweep import best_by_cost, candidates, least_by_cost
from optimizer.kit.terms import tabulate
from tests.kit.invented import BASELINE, RIDER, catalogue, every_set


def case(seed, crossed=0.5):
    rng = np.random.default_rng(seed)
    wanted, effects = catalogue(rng, (2, 3, 2, 2, 1, 2), crossed=crossed)
    terms = tabulate(BASELINE, wanted, effects)
    book = ledger(terms, wanted, BASELINE, RIDER.mass)
    plane = plane_over(book, 3.0, rng.normal(-5, 5, len(terms.names)),
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
    assert not any((group.due != group.paid).nnz for group in groups)


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


def apart(seed, monkeypatch, crossed=0.8):
    """A case whose groups are so small that much reaches from one to another."""
    from optimizer.kit import groups as module

    monkeypatch.setattr(module, "_LARGEST_GROUP", 4)
    rng = np.random.default_rng(seed)
    wanted, effects = catalogue(rng, (2, 3, 2, 2, 2), crossed=crossed)
    terms = tabulate(BASELINE, wanted, effects)
    book = ledger(terms, wanted, BASELINE, RIDER.mass)
    plane = plane_over(book, 0.0, rng.normal(-5, 5, len(terms.names)),
                       rng.normal(1, 1, len(terms.overlaps)), 0.0)
    groups = gather(wanted, book, np.ones(len(terms.names), dtype=bool))
    assert len(groups) > 1
    names = every_set(wanted)
    chosen = np.zeros((len(names), len(terms.names)), dtype=bool)
    for row, picked in zip(chosen, names, strict=True):
        row[terms.rows(picked)] = True
    rows = np.array([[combination(group, one) for group in groups] for one in chosen])
    value = chosen @ plane.item + book.overlapping(chosen) @ plane.overlap
    return rng, terms, groups, plane, chosen, rows, value


def relaxed(groups, plane, rows):
    return plane.ground + sum(plane.values(group)[rows[:, g]] for g, group in enumerate(groups))


@pytest.mark.parametrize("seed", range(8))
def test_what_reaches_across_small_groups_is_relaxed_and_nothing_is_lost(seed, monkeypatch):
    rng, terms, groups, plane, chosen, _, value = apart(seed, monkeypatch)
    ceiling = np.quantile(value, 0.2)
    found = candidates(groups, plane.at(rng.uniform(0, 2, len(terms.regions))),
                       np.array([0.0, terms.cost.sum() + 1]), np.array([ceiling]))
    assert as_sets(chosen[value <= ceiling]) <= as_sets(found)


@pytest.mark.parametrize("seed", range(8))
def test_at_any_height_tolls_are_not_more_than_sets_pay(seed, monkeypatch):
    rng, terms, groups, plane, _, rows, value = apart(seed, monkeypatch)
    for most in (0.0, 0.3, 1.0, 3.0, 10.0):
        here = plane.at(rng.uniform(0, most, len(terms.regions)))
        assert np.all(relaxed(groups, here, rows) <= value + 1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_heights_that_fit_a_set_give_it_its_tolls(seed, monkeypatch):
    """All of them, where each item of a region pays the same to whatever comes before it."""
    _, terms, groups, plane, _, rows, _ = apart(seed, monkeypatch, crossed=0.0)
    toll = np.zeros((len(terms.names), len(terms.names)))
    price = np.linspace(3.0, 0.5, len(terms.names))
    for region in terms.regions:
        for rank, row in enumerate(region):
            toll[row, list(region[:rank])] = price[rank]
    plane = dataclasses.replace(plane, toll=toll)
    fits = heights(groups, plane, rows)
    firsts = np.array([[group.top[at] for group, at in zip(groups, one, strict=True)]
                       for one in rows])  # by set, group and region
    for fit, one, tops in zip(fits, rows, firsts, strict=True):
        paid = np.array([sum(sorted(price[region.index(row)] for row in tops[:, r] if row >= 0)
                             [:-1]) for r, region in enumerate(terms.regions)])
        for height in (fit[:, 0], np.minimum(fit[:, 1], 9.0)):
            here = plane.at(height)
            got = sum(np.minimum(here.top_tolls(group, one[g:g + 1]), height)[0]
                      for g, group in enumerate(groups)) - height
            assert got == pytest.approx(paid)
