"""The mixed-integer program against plain enumeration of what its bounds say."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.day import RaceDay
from optimizer.kit.bound import coordinates
from optimizer.kit.judge import pacing_judge
from optimizer.kit.ledger import ledger
from optimizer.kit.master import Master
from optimizer.kit.terms import tabulate
from tests.kit.invented import BASELINE, RIDER, catalogue, every_set, road, wind


def case(seed):
    rng = np.random.default_rng(seed)
    wanted, effects = catalogue(rng, (2, 2, 2, 2, 1), crossed=0.5)
    judge = pacing_judge(RaceDay(road(rng, length=10_000.0), wind(3.0, 1.0), RIDER, step=400.0),
                         BASELINE)
    terms = tabulate(BASELINE, wanted, effects)
    book = ledger(terms, wanted, BASELINE, RIDER.mass)
    bounds = [judge.bound(terms.setup(BASELINE, rows), book.reach())
              for rows in ([], [int(place[0]) for place in book.places[::2]])]
    names = every_set(wanted)
    chosen = np.zeros((len(names), len(terms.names)), dtype=bool)
    for row, picked in zip(chosen, names, strict=True):
        row[terms.rows(picked)] = True
    forms = []
    for bound in bounds:
        delta = book.coordinates(chosen) - bound.point
        forms.append(bound.value + delta @ bound.slope
                     - 0.5 * np.einsum("si,ij,sj->s", delta, bound.bend, delta)
                     + bound.corner_price * (bound.cornering**2 - book.corners(chosen)**2))
    return wanted, terms, book, bounds, chosen, np.max(forms, axis=0)


@pytest.mark.parametrize("seed", range(5))
def test_it_proposes_exactly_while_a_bound_leaves_something(seed):
    wanted, terms, book, bounds, chosen, form = case(seed)
    cost = chosen @ terms.cost
    budget = float(np.quantile(cost, 0.6))
    inside = cost <= budget
    near = coordinates(terms.setup(BASELINE, []), RIDER.mass)
    master = Master(wanted, book, [True] * len(terms.names), bounds[0], 0.01)
    for bound in bounds:
        master.add(bound)
    least = float(form[inside].min())
    assert master.propose(budget, least - 0.3, near) is None
    found = master.propose(budget, least + 1.0, near)
    assert found is not None
    row = np.zeros(len(terms.names), dtype=bool)
    row[list(found)] = True
    at = np.flatnonzero((chosen == row).all(axis=1))
    assert len(at) == 1  # a set that is allowed
    assert cost[at[0]] <= budget + 1e-6
    # The chords may lie below the form, by no more than what they may lose.
    assert form[at[0]] <= least + 1.0 + 0.3


@pytest.mark.parametrize("seed", range(2))
def test_excluded_sets_do_not_come_back(seed):
    wanted, terms, book, bounds, chosen, form = case(seed)
    near = coordinates(terms.setup(BASELINE, []), RIDER.mass)
    master = Master(wanted, book, [True] * len(terms.names), bounds[0], 0.01)
    for bound in bounds:
        master.add(bound)
    target = float(np.sort(form)[4]) + 1e-3
    seen = []
    while (found := master.propose(1e6, target, near)) is not None:
        assert found not in seen
        seen.append(found)
        master.exclude(found)
        assert len(seen) <= len(chosen)
    must = {tuple(np.flatnonzero(chosen[k])) for k in np.argsort(form)[:4]}
    assert must <= set(seen)
