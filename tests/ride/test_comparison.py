"""Differences between setups: against ordinary regression, and what the prior adds."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.errors import InputError
from optimizer.ride.comparison import difference

RUNS = np.array([0.2712, 0.2641, 0.2633, 0.2721, 0.2655, 0.2702, 0.2718, 0.2648])
SECOND = np.array([False, True, True, False, True, False, False, True])
HOURS = np.array([0.0, 0.4, 0.9, 1.3, 1.8, 2.2, 2.7, 3.1])


def test_without_prior_it_is_students_t_of_ordinary_regression():
    """OLS of statsmodels with a drift: estimate, error and 95 % limits."""
    api = pytest.importorskip("statsmodels.api")
    design = np.column_stack([np.ones(8), SECOND, HOURS - HOURS.mean()])
    theirs = api.OLS(RUNS, design).fit()
    ours = difference(RUNS, np.zeros((8, 8)), SECOND, HOURS, repeat_runs=0.0,
                      drift_sd=float("inf"))
    low, high = theirs.conf_int()[1]
    assert ours.weight @ ours.mean == pytest.approx(theirs.params[1], abs=1e-9)
    assert ours.quantile(0.025) == pytest.approx(low, abs=2e-5)
    assert ours.quantile(0.975) == pytest.approx(high, abs=2e-5)
    assert ours.drift == pytest.approx(theirs.params[2], abs=1e-9)


def test_an_error_common_to_all_runs_drops_out():
    common = 0.01**2 * np.ones((8, 8))
    alone = difference(RUNS, np.zeros((8, 8)), SECOND, HOURS)
    shared = difference(RUNS, common, SECOND, HOURS)
    for q in (0.025, 0.5, 0.975):
        assert shared.quantile(q) == pytest.approx(alone.quantile(q), abs=2e-6)


def test_errors_of_the_runs_widen_the_limits():
    def width(error):
        found = difference(RUNS, error**2 * np.eye(8), SECOND, HOURS)
        return found.quantile(0.975) - found.quantile(0.025)

    assert width(0.0) < width(0.003) < width(0.01)


def test_four_runs_in_balanced_order_take_out_a_drift():
    drift, change = 0.003, -0.006
    hours = np.array([0.0, 0.5, 1.0, 1.5])
    for second, hits in ((np.array([0, 1, 1, 0], bool), True), (np.array([0, 0, 1, 1], bool),
                                                               False)):
        runs = 0.27 + drift * hours + change * second
        found = difference(runs, 0.001**2 * np.eye(4), second, hours)
        miss = abs(float(found.weight @ found.mean) - change)
        assert (miss < 1e-9) is hits


def test_one_run_each_has_an_answer_as_wide_as_what_is_known_of_repeating():
    found = difference(np.array([0.27, 0.26]), np.zeros((2, 2)), np.array([False, True]),
                       np.array([0.0, 0.5]))
    assert found.quantile(0.975) - found.quantile(0.025) > 2 * 1.96 * np.sqrt(2) * 0.0025
    assert np.isfinite(found.below(0.0))


def test_a_setup_that_was_not_ridden_is_refused():
    from optimizer.ride.comparison import compare

    class Nothing:
        class spec:  # noqa: N801
            setups = ("a", "b")

    with pytest.raises(InputError, match="was not ridden"):
        compare(Nothing(), "a", "c")


def test_more_runs_that_would_settle_it_against_simulated_tests():
    """The stated number of runs shows a change of that size in 8 of 10 simulated tests."""
    from scipy.stats import t

    from optimizer.ride.comparison import _more_runs, power_to_see

    more = _more_runs(0.006, 0.004, 4, 8.0)
    assert more is not None
    runs, sigma = 4 + more, 0.004 * np.sqrt(4) / 2.0  # sd of one run's CdA, half with each setup
    rng = np.random.default_rng(1)
    half = runs // 2
    seen = 0
    for _ in range(2000):
        a, b = rng.normal(0.0, sigma, half), rng.normal(0.006, sigma, half)
        error = np.sqrt((a.var(ddof=1) + b.var(ddof=1)) / half)
        seen += abs(b.mean() - a.mean()) > t.ppf(0.95, runs - 2) * error
    assert 0.72 < seen / 2000 < 0.95
    assert _more_runs(1e-5, 0.004, 4, 8.0) is None
    assert power_to_see(0.006, 0.004, 8.0) < 0.8


def test_the_page_says_how_many_more_runs():
    from optimizer.report.fieldtest_page import comparison_sentences
    from optimizer.ride.comparison import Comparison

    made = Comparison("A", "B", -0.002, 0.003, -0.008, 0.004, 0.75, 0.01, 0.0, 0.001, 0.0025, 0.0,
                      -0.8, -3.2, 1.6, 12)
    assert "12 more runs" in " ".join(comparison_sentences(made))
