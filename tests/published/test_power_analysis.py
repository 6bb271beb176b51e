"""Power of tests against statsmodels, which follows Cohen 1988 (Statistical Power Analysis)."""

from __future__ import annotations

import math

import pytest

from optimizer.ride.comparison import freedom_of, power_to_see, smallest_to_see

power = pytest.importorskip("statsmodels.stats.power")


@pytest.mark.parametrize("runs", [2, 4, 8, 20])
@pytest.mark.parametrize("effect", [0.3, 0.8, 1.5, 3.0])
def test_two_groups_of_runs_as_in_statsmodels(runs, effect):
    """TTestIndPower: difference of means over the deviation of one run, n runs each."""
    theirs = power.TTestIndPower().power(effect, runs, 0.05)
    ours = power_to_see(effect, math.sqrt(2.0 / runs), 2 * runs - 2, level=0.05)
    assert ours == pytest.approx(theirs, abs=1e-6)


@pytest.mark.parametrize("effect", [0.5, 1.0, 2.8])
def test_a_known_error_as_in_statsmodels(effect):
    """NormalIndPower with one observation in each group has the error sqrt 2."""
    theirs = power.NormalIndPower().power(effect, 1, 0.05)
    assert power_to_see(effect, math.sqrt(2.0), level=0.05) == pytest.approx(theirs, abs=1e-6)


@pytest.mark.parametrize("runs", [3, 5, 12])
def test_the_smallest_change_as_in_statsmodels(runs):
    """TTestIndPower.solve_power for the effect size at 80 %."""
    theirs = power.TTestIndPower().solve_power(nobs1=runs, alpha=0.05, power=0.8)
    ours = smallest_to_see(math.sqrt(2.0 / runs), 2 * runs - 2, level=0.05)
    assert ours == pytest.approx(theirs, rel=1e-5)


@pytest.mark.parametrize("freedom", [1.0, 1.7, 3.0])
def test_few_degrees_of_freedom_as_in_scipy(freedom):
    """The noncentral t distribution of scipy, where statsmodels takes whole numbers of runs."""
    from scipy.stats import nct, t

    edge = t.ppf(0.975, freedom)
    for shift in (0.5, 3.0, 6.0):  # where scipy gives a number for each freedom
        theirs = nct.sf(edge, freedom, shift) + nct.cdf(-edge, freedom, shift)
        assert power_to_see(shift, 1.0, freedom, level=0.05) == pytest.approx(theirs, abs=2e-4)


def test_the_smallest_change_at_a_known_error():
    # Normal quantiles, at the usual level and at that of a 90 % range, which is ours.
    assert smallest_to_see(1.0, level=0.05) == pytest.approx(1.960 + 0.8416, abs=1e-3)
    assert smallest_to_see(1.0) == pytest.approx(1.6449 + 0.8416, abs=1e-3)


def test_degrees_of_freedom_where_only_a_part_is_estimated():
    """Satterthwaite 1946: v1 + v2 with f1 and no end of degrees: f = (v1 + v2)^2 / (v1^2 / f1)."""
    whole, known, f = 2.0, 1.0, 6.0
    estimated = whole**2 - known**2
    assert freedom_of(whole, known, f) == pytest.approx(whole**4 / (estimated**2 / f))
    assert math.isinf(freedom_of(1.0, 1.0, f))
