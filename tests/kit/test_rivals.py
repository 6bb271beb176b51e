"""How kits stand to the chosen one on common days; what the last money buys."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from optimizer.kit import Catalogue, Item, KitSet
from optimizer.kit.response import Response
from optimizer.kit.rivals import equal_rival, likely_rival, rivals_of
from optimizer.kit.terms import tabulate
from tests.kit.invented import BASELINE

DRAWS = norm.ppf((np.arange(4000) + 0.5) / 4000)  # a normal sample without luck
TERMS = tabulate(BASELINE, Catalogue((Item("wheel", "wheels", 300.0),
                                      Item("helmet", "helmet", 100.0))), ())
CHOSEN = KitSet(("helmet", "wheel"), 400.0, BASELINE, 1000.0, 1000.0)
PLAIN = KitSet(("helmet",), 100.0, BASELINE, 1012.0, 1012.0)


def stands(gain: float, sd: float):
    """Rival without a wheel that saves `gain` with an uncertainty [s]."""
    item = np.column_stack([-gain + sd * DRAWS, np.zeros(len(DRAWS))])
    still = Response(np.array([1010.0]), np.array([[-gain, 0.0]]), np.zeros((1, 0)), np.zeros(2))
    answer = Response(np.full(len(DRAWS), 1010.0), item, np.zeros((len(DRAWS), 0)), np.zeros(2),
                      still)
    plain = KitSet(PLAIN.items, PLAIN.spend, BASELINE, 1000.0 + gain, 1000.0)
    (rival,) = rivals_of(CHOSEN, [CHOSEN, plain], answer, TERMS)
    return rival


@pytest.mark.parametrize(("share", "clear"), [(0.97, True), (1.03, False)])
def test_clear_is_a_gain_nine_times_in_ten(share, clear):
    """A gain g with standard error s is one nine times in ten where g > 1.2816 s.

    The 90 % point of the standard normal: tables, e.g. Abramowitz and Stegun 1964, table 26.5.
    """
    rival = stands(12.0, share * 12.0 / 1.2816)
    assert rival.clear is clear
    assert (likely_rival(CHOSEN, [rival]) is None) is clear
    assert rival.chance == pytest.approx(norm.cdf(1.2816 / share), abs=1e-3)
    assert rival.behind == pytest.approx(
        12.0 + share * 12.0 / 1.2816 * np.array([-1.6449, 0.0, 1.6449]), abs=0.05)


def test_what_may_as_well_be_faster_is_equal():
    assert equal_rival(CHOSEN, [stands(12.0, 50.0)], 0.5) is not None
    assert equal_rival(CHOSEN, [stands(0.4, 0.1)], 0.5) is not None  # sure, and not worth money
    assert equal_rival(CHOSEN, [stands(12.0, 10.0)], 0.5) is None


def test_only_cheaper_kits_say_what_the_last_money_buys():
    rival = stands(12.0, 50.0)
    assert equal_rival(PLAIN, [rival], 0.5) is None
    assert likely_rival(PLAIN, [rival]) is None
