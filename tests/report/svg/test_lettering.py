"""Labels that keep apart, and how wide words may get."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.report.svg import levels, shortened, spread, width_of

places = st.lists(st.tuples(st.floats(0, 1000), st.floats(1, 60)), min_size=1, max_size=14)


@given(places)
def test_labels_keep_apart_and_in_order(labels):
    wanted, widths = np.transpose(labels)
    centres = spread(wanted, widths, 0.0, 1000.0)
    order = np.argsort(wanted, kind="stable")
    gaps = np.diff(centres[order]) - 0.5 * (widths[order][1:] + widths[order][:-1])
    assert gaps.min(initial=0.0) > -1e-6
    assert (centres - widths / 2).min() > -1e-6
    assert (centres + widths / 2).max() < 1000.0 + 1e-6


@given(places)
def test_labels_move_as_little_as_the_least_squares_allow(labels):
    # The same small quadratic program by SciPy's SLSQP: another way to the same answer.
    from scipy.optimize import minimize

    wanted, widths = np.transpose(labels[:5])
    order = np.argsort(wanted, kind="stable")
    wanted, widths = wanted[order], widths[order]
    gaps = 0.5 * (widths[1:] + widths[:-1])
    low, high = -5000.0, 5000.0  # free of the ends
    ours = spread(wanted, widths, low, high)
    start = wanted[0] + np.concatenate([[0.0], np.cumsum(np.maximum(np.diff(wanted), gaps))])
    found = minimize(lambda x: float(np.sum((x - wanted) ** 2)), start, method="SLSQP",
                     constraints=[{"type": "ineq", "fun": lambda x: np.diff(x) - gaps}]
                     if len(wanted) > 1 else [], options={"ftol": 1e-12, "maxiter": 400})
    assert np.sum((ours - wanted) ** 2) <= found.fun + 1e-3 * (1 + found.fun)


@given(places, st.integers(1, 4))
def test_lines_of_labels_hold_them_without_an_overlap(labels, most):
    wanted, widths = np.transpose(labels)
    found = levels(wanted, widths, 0.0, 1000.0, 30.0, most)
    if found is None:
        return
    line, centre = found
    assert line.max() < most
    for k in range(most):
        own = np.flatnonzero(line == k)
        own = own[np.argsort(centre[own])]
        ends = centre[own] + widths[own] / 2
        assert np.all(centre[own][1:] - widths[own][1:] / 2 >= ends[:-1] - 1e-6)
        assert ends.max(initial=0.0) <= 1000.1


def test_too_many_labels_for_the_lines_are_told():
    assert levels([500.0] * 30, [60.0] * 30, 0.0, 1000.0, 2000.0, 1) is None
    assert levels([500.0] * 30, [60.0] * 30, 0.0, 1000.0, 2000.0, 2) is not None


@given(st.text(max_size=40), st.floats(8, 20), st.floats(0, 300))
def test_shortened_words_fit(words, size, room):
    short = shortened(words, size, room)
    assert width_of(short, size) <= room or short == ""
    assert short in {words, ""} or short.endswith("…")


@pytest.mark.parametrize("wide", ["WWWW", "0123", "日本語"])
def test_wide_letters_count_as_wide(wide):
    assert width_of(wide, 10.0) > width_of("l" * len(wide), 10.0)
