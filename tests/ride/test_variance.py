"""Sizes of error patterns: against statsmodels, and what a projection keeps."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.ride.variance import fit_variances, free_directions

FLAT = np.full(2, 50.0)  # a prior on the logarithm so wide that it says nothing


def _random_intercepts(seed=3, groups=12, each=8):
    rng = np.random.default_rng(seed)
    group = np.repeat(np.arange(groups), each)
    x = rng.normal(size=len(group))
    y = 1.0 + 0.7 * x + 0.8 * rng.normal(size=groups)[group] + 0.5 * rng.normal(size=len(group))
    return group, np.column_stack([np.ones(len(group)), x]), y


def test_restricted_likelihood_as_in_statsmodels():
    """MixedLM of statsmodels (Seabold and Perktold 2010), random intercepts by REML."""
    statsmodels = pytest.importorskip("statsmodels.regression.mixed_linear_model")
    group, design, y = _random_intercepts()
    free = free_directions(design)
    same = (group[:, None] == group[None, :]).astype(float)
    fit = fit_variances(free.T @ y, np.zeros((free.shape[1],) * 2),
                        [np.eye(free.shape[1]), free.T @ same @ free], np.ones(2), np.ones(2), FLAT)
    theirs = statsmodels.MixedLM(y, design, groups=group).fit(reml=True)
    assert fit.size[0] == pytest.approx(theirs.scale, rel=2e-3)
    assert fit.size[1] == pytest.approx(float(theirs.cov_re[0, 0]), rel=5e-3)


def test_generalised_least_squares_as_in_statsmodels():
    """GLS of statsmodels with the covariance that our fit found: same coefficients and errors."""
    api = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(5)
    n = 160
    time = np.arange(n)
    decay = np.exp(-np.abs(time[:, None] - time[None, :]) / 4.0)
    design = np.column_stack([np.ones(n), np.sin(time / 9.0), time / n])
    noise = np.linalg.cholesky(0.6 * decay + 0.2 * np.eye(n)) @ rng.normal(size=n)
    y = design @ np.array([2.0, 1.0, -1.0]) + noise
    free = free_directions(design)
    fit = fit_variances(free.T @ y, np.zeros((free.shape[1],) * 2),
                        [np.eye(free.shape[1]), free.T @ decay @ free], np.ones(2), np.ones(2),
                        FLAT)
    covariance = fit.size[0] * np.eye(n) + fit.size[1] * decay
    ours = np.linalg.inv(design.T @ np.linalg.solve(covariance, design))
    theirs = api.GLS(y, design, sigma=covariance).fit(cov_type="fixed scale")
    best = ours @ design.T @ np.linalg.solve(covariance, y)
    assert np.allclose(best, theirs.params, rtol=1e-8)
    assert np.allclose(np.sqrt(np.diag(ours)), theirs.bse, rtol=1e-8)


def test_autocorrelated_errors_as_in_statsmodels():
    """GLSAR of statsmodels, AR(1): our fit gives the same slope and about its error."""
    api = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(7)
    n, rho = 400, 0.7
    e = np.zeros(n)
    for k in range(1, n):
        e[k] = rho * e[k - 1] + rng.normal()
    x = np.cumsum(rng.normal(size=n)) / 5.0
    design = np.column_stack([np.ones(n), x])
    y = design @ np.array([1.0, 0.5]) + e
    theirs = api.GLSAR(y, design, rho=1)
    result = theirs.iterative_fit(maxiter=30)
    time = np.arange(n)
    decay = rho ** np.abs(time[:, None] - time[None, :])
    free = free_directions(design)
    fit = fit_variances(free.T @ y, 1e-9 * np.eye(free.shape[1]), [free.T @ decay @ free],
                        np.ones(1), np.ones(1), np.full(1, 50.0))
    covariance = fit.size[0] * decay
    ours = np.linalg.inv(design.T @ np.linalg.solve(covariance, design))
    best = ours @ design.T @ np.linalg.solve(covariance, y)
    assert best[1] == pytest.approx(result.params[1], abs=0.15 * result.bse[1])
    assert np.sqrt(ours[1, 1]) == pytest.approx(result.bse[1], rel=0.15)
    naive = api.OLS(y, design).fit().bse[1]
    assert np.sqrt(ours[1, 1]) > 1.5 * naive  # what ignoring the autocorrelation would claim


def test_free_directions_know_nothing_of_the_design():
    design = np.random.default_rng(1).normal(size=(30, 6))
    design = np.column_stack([design, design[:, 0] + design[:, 1]])  # of rank 6
    free = free_directions(design)
    assert free.shape == (30, 24)
    assert np.abs(free.T @ design).max() < 1e-12
    assert np.allclose(free.T @ free, np.eye(24))
    assert free_directions(np.zeros((5, 0))).shape == (5, 5)
