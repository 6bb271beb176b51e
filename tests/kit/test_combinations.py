"""What may be together, by rows and by words, against every set counted out."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from optimizer.kit import Catalogue, Item
from optimizer.kit.combinations import distinct
from optimizer.kit.terms import tabulate
from tests.kit.invented import BASELINE, as_sets, catalogue, every_set, sets_of


def everything(rules):
    return rules.flags([[k for k in picked if k >= 0] for picked in itertools.product(
        *([-1, *map(int, rows)] for rows in rules.places))])


@pytest.mark.parametrize("seed", range(6))
def test_feasible_sets_are_those_that_the_words_allow(seed):
    wanted, effects = catalogue(np.random.default_rng(seed), (2, 3, 2, 2, 1), crossed=0.7)
    terms = tabulate(BASELINE, wanted, effects)
    rules = terms.combinations
    every = everything(rules)
    assert as_sets(every[rules.feasible(every)]) == as_sets(sets_of(wanted, terms))
    both = rules.flags([rules.places[1][:2]])
    assert not rules.feasible(both)[0]  # two of one place


@pytest.mark.parametrize("items", [1, 7, 8, 40, 64, 131])
def test_distinct_sets_against_the_library(items):
    rng = np.random.default_rng(items)
    tables = [rng.random((count, items)) < 0.04 for count in (30, 0, 50)]
    assert np.array_equal(distinct(tables), np.unique(np.concatenate(tables), axis=0))


@pytest.mark.parametrize("seed", range(6))
def test_rows_hold_for_feasible_sets_and_make_overlaps_count(seed):
    wanted, effects = catalogue(np.random.default_rng(seed), (2, 3, 2, 2), crossed=0.7)
    terms = tabulate(BASELINE, wanted, effects)
    rules = terms.combinations
    every = everything(rules)
    counts = rules.overlapping(every)
    held = (rules.matrix @ np.hstack([every, counts]).T <= rules.limit[:, None]).all(axis=0)
    assert np.array_equal(held, rules.feasible(every))
    # No other value of an overlap keeps to the rows.
    for t in range(len(rules.overlaps)):
        other = counts.copy()
        other[:, t] = 1.0 - other[:, t]
        wrong = (rules.matrix @ np.hstack([every, other]).T <= rules.limit[:, None]).all(axis=0)
        assert not wrong.any()
    for one, count in zip(every, counts, strict=True):
        assert len(rules.counted(np.flatnonzero(one))) == count.sum()


@pytest.mark.parametrize("seed", range(6))
def test_closings_decide_every_row_and_overlap_once_and_in_time(seed):
    wanted, effects = catalogue(np.random.default_rng(seed), (2, 3, 2, 2, 1, 2), crossed=0.7)
    rules = tabulate(BASELINE, wanted, effects).combinations
    assert sorted(rules.order) == list(range(len(rules.places)))
    rows = [int(r) for closing in rules.closings for r in closing.rows]
    assert sorted(rows) == list(range(len(rules.places), len(rules.limit)))
    assert sorted(t for closing in rules.closings for t in closing.overlaps) == list(
        range(len(rules.overlaps)))
    decided = set()
    for place, closing in zip(rules.order, rules.closings, strict=True):
        decided |= {int(k) for k in rules.places[place]}
        assert {int(k) for k in np.flatnonzero(closing.items.any(axis=1))} <= decided
        for t in closing.needed:
            assert {rules.overlaps[t].discounted, *rules.overlaps[t].partners} <= decided


def chain():
    """Item a needs b, b needs c; d excludes c."""
    return Catalogue((Item("a", "wheels", 10.0, requires=("b",)),
                      Item("b", "helmet", 10.0, requires=("c",)),
                      Item("c", "cables", 10.0), Item("d", "shoes", 10.0, excludes=("c",))))


def test_sets_are_repaired_along_chains_of_requirements():
    wanted = chain()
    rules = tabulate(BASELINE, wanted, ()).combinations
    sets = np.array(list(itertools.product((False, True), repeat=4)))
    repaired = rules.repair(sets)
    allowed = {tuple("abcd".index(name) for name in names) for names in every_set(wanted)}
    for before, after in zip(sets, repaired, strict=True):
        assert not np.any(after & ~before)  # things are taken out, not in
        assert tuple(np.flatnonzero(after)) in allowed
        if tuple(np.flatnonzero(before)) in allowed:
            assert np.array_equal(before, after)
    assert rules.feasible(sets).tolist() == [tuple(np.flatnonzero(row)) in allowed for row in sets]


def test_what_is_needed_is_followed_to_its_end():
    rules = tabulate(BASELINE, chain(), ()).combinations
    assert sorted(rules.needed(0)) == [0, 1, 2]
    assert rules.needed(2) == [2]
