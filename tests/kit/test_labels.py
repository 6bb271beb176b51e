"""Label setting against plain enumeration, on minorants without a road."""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest
from scipy.optimize import linprog

from optimizer.kit.labels import Offer, best_by_cost, relax, sets_below
from optimizer.kit.minorant import Minorant
from optimizer.kit.terms import tabulate
from tests.kit.invented import BASELINE, as_sets, catalogue, sets_of

MANY = 100_000


def case(seed, crossed=0.6):
    rng = np.random.default_rng(seed)
    wanted, effects = catalogue(rng, (2, 3, 2, 2, 1, 2), crossed=crossed)
    terms = tabulate(BASELINE, wanted, effects)
    rules = terms.combinations
    affine = Minorant(3.0, rng.normal(-5, 5, rules.count), rng.normal(1, 1, len(rules.overlaps)),
                      0.0, 0.0, 0.0)
    offer = Offer(rules, np.ones(rules.count, dtype=bool), terms.cost)
    chosen = sets_of(wanted, terms)
    return affine, offer, chosen, chosen @ terms.cost, affine.of(chosen, rules.overlapping(chosen))


@pytest.mark.parametrize("seed", range(8))
def test_a_relaxation_is_never_above_a_set_and_as_close_as_the_linear_program(seed):
    affine, offer, chosen, cost, value = case(seed)
    rules = offer.combinations
    for budget in np.quantile(cost, [0.0, 0.3, 0.7]):
        relaxed = relax(affine, offer, budget)
        assert np.all(relaxed.constant + chosen @ relaxed.item <= value + 1e-9)
        least = best_by_cost(relaxed, offer, budget)[2][-1]
        assert least <= value[cost <= budget + 1e-9].min() + 1e-9
        weights = np.concatenate([affine.item, affine.overlap])
        money = np.concatenate([offer.cost, np.zeros(len(affine.overlap))])
        linear = linprog(weights, np.vstack([rules.matrix.toarray(), money]),
                         np.append(rules.limit, budget), bounds=(0, 1)).fun
        assert least >= affine.constant + linear - 1e-7


@pytest.mark.parametrize("seed", range(8))
def test_best_by_cost_is_the_frontier_of_the_relaxed_values(seed):
    affine, offer, *_ = case(seed)
    relaxed = relax(affine, offer, 400.0)
    rules = offer.combinations
    every = rules.flags([[k for k in picked if k >= 0] for picked in itertools.product(
        *([-1, *map(int, rows)] for rows in rules.places))])
    cost, value = every @ offer.cost, relaxed.constant + every @ relaxed.item
    found, spend, best = best_by_cost(relaxed, offer, 1e9)
    assert found @ offer.cost == pytest.approx(spend)
    assert relaxed.constant + found @ relaxed.item == pytest.approx(best)
    steps = sorted({cost[k] for k in range(len(every))
                    if value[k] < np.min(value[cost < cost[k]], initial=np.inf) - 1e-9})
    assert spend == pytest.approx(steps)
    assert best == pytest.approx([value[cost <= step + 1e-9].min() for step in steps])


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("window", [0.0, 0.5, 4.0])
def test_exactly_the_sets_below_the_ceilings_are_found(seed, window):
    affine, offer, chosen, cost, value = case(seed)
    edges = np.unique(np.quantile(cost, [0.2, 0.4, 0.6, 0.8]))
    edges = np.append(edges, cost.max() + 1)
    ceilings = np.array([value[cost < top].min() for top in edges[1:]]) + window
    at = np.searchsorted(edges, cost + 1e-9, side="right") - 1
    wanted = (at >= 0) & (value <= ceilings[np.maximum(at, 0)] + 1e-9)
    for budget in (0.0, float(edges[1]), 1e6):  # the multipliers decide how fast, not what
        found, gap = sets_below(relax(affine, offer, budget), offer, edges, ceilings, MANY)
        assert gap == 0.0
        assert len(found) == len(as_sets(found))
        assert as_sets(found) == as_sets(chosen[wanted])


@pytest.mark.parametrize("seed", range(4))
def test_held_items_are_in_every_set_and_unusable_ones_in_none(seed):
    affine, offer, chosen, cost, value = case(seed)
    edges, ceilings = np.array([0.0, 700.0]), np.array([float(np.quantile(value, 0.5))])
    below = (cost < 700.0) & (value <= ceilings[0] + 1e-9)
    for row in range(0, offer.combinations.count, 3):
        usable = offer.usable.copy()
        usable[row] = False
        for part, wanted in ((dataclasses.replace(offer, held=(row,)), chosen[:, row]),
                             (dataclasses.replace(offer, usable=usable), ~chosen[:, row])):
            found, _ = sets_below(relax(affine, part, 300.0), part, edges, ceilings, MANY)
            assert as_sets(found) == as_sets(chosen[below & wanted])


@pytest.mark.parametrize("seed", range(4))
def test_too_many_partial_sets_are_said_with_what_may_be_missed(seed):
    affine, offer, _, cost, value = case(seed)
    relaxed = relax(affine, offer, 500.0)
    edges, ceilings = np.array([0.0, cost.max() + 1]), np.array([value.min() + 5.0])
    found, gap = sets_below(relaxed, offer, edges, ceilings, 3)
    assert found is None
    assert gap >= ceilings[0] - value.min() - 1e-9
    found, gap = sets_below(relaxed, offer, edges, np.array([-1e3]), 3)
    assert len(found) == gap == 0  # nothing to go through
