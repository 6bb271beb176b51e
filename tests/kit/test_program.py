"""The integer program where it has to stop, and where there is nothing to choose."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.kit.labels import Offer
from optimizer.kit.minorant import Minorant
from optimizer.kit.program import Program, UndecidedError
from optimizer.kit.terms import tabulate
from tests.kit.invented import BASELINE, as_sets, catalogue, sets_of

ANY = (-1e3, 1e3)


def case(seed):
    rng = np.random.default_rng(seed)
    wanted, effects = catalogue(rng, (2, 3, 2, 2, 2), crossed=0.6)
    terms = tabulate(BASELINE, wanted, effects)
    rules = terms.combinations
    affine = Minorant(3.0, rng.normal(-5, 5, rules.count), rng.normal(1, 1, len(rules.overlaps)),
                      0.0, 0.0, 0.0)
    chosen = sets_of(wanted, terms)
    return (affine, Offer(rules, np.ones(rules.count, dtype=bool), terms.cost), chosen,
            chosen @ terms.cost, affine.of(chosen, rules.overlapping(chosen)))


def nothing(rules):
    return Minorant(0.0, np.zeros(rules.count), np.zeros(len(rules.overlaps)), 0.0, 0.0, 0.0)


@pytest.mark.parametrize("seed", range(5))
def test_the_first_proposal_is_the_best_set(seed):
    affine, offer, chosen, cost, value = case(seed)
    budget = float(np.quantile(cost, 0.6))
    best = value[cost <= budget].min()
    along = nothing(offer.combinations)
    found = Program(offer, affine, budget, along, ANY).propose(best + 2.0)
    assert value[(chosen == offer.combinations.flags([found])).all(axis=1)] <= best + 0.011
    assert Program(offer, affine, budget, along, ANY).propose(best - 0.02) is None
    usable = ~offer.combinations.flags([found])[0]
    other = Program(Offer(offer.combinations, usable, offer.cost), affine, budget, along, ANY)
    assert not set(other.propose(1e3)) & set(found)


@pytest.mark.parametrize("seed", range(3))
def test_only_sets_within_the_span_are_proposed(seed):
    affine, offer, chosen, cost, _ = case(seed)
    ones = Minorant(0.0, np.ones(offer.combinations.count),
                    np.zeros(len(offer.combinations.overlaps)), 0.1, 0.0, 0.0)
    program = Program(offer, affine, 1e6, ones, (2.0, 2.0))
    seen = []
    while (found := program.propose(1e3)) is not None:
        seen.append(found)
        program.exclude(found)
    assert {*seen} == as_sets(chosen[chosen.sum(axis=1) == 2])
    assert len(cost) > len(seen)


def test_at_its_limit_of_nodes_it_claims_nothing():
    rng = np.random.default_rng(1)
    wanted, effects = catalogue(rng, (4,) * 12, crossed=0.8)
    terms = tabulate(BASELINE, wanted, effects)
    rules = terms.combinations
    price = rng.uniform(20.0, 100.0, rules.count)  # a sum to be met to a millionth
    offer = Offer(rules, np.ones(rules.count, dtype=bool), price)
    affine = Minorant(0.0, -price, np.zeros(len(rules.overlaps)), 0.0, 0.0, 0.0)
    with pytest.raises(UndecidedError):
        Program(offer, affine, 500.0, nothing(rules), ANY, nodes=2).propose(-499.999999)
