"""Random-effects pooling against a reference library and a published data set."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.evidence.pool import pool

# Colditz et al. 1994, J. Am. Med. Assoc. 271:698: thirteen trials of the BCG vaccine; cases and
# others among the treated, cases and others among the controls. From memory.
BCG = np.array([
    [4, 119, 11, 128], [6, 300, 29, 274], [3, 228, 11, 209], [62, 13536, 248, 12619],
    [33, 5036, 47, 5761], [180, 1361, 372, 1079], [8, 2537, 10, 619], [505, 87886, 499, 87892],
    [29, 7470, 45, 7232], [17, 1699, 65, 1600], [186, 50448, 141, 27197], [5, 2493, 3, 2338],
    [27, 16886, 29, 17825]], dtype=float)


def log_risk_ratios():
    a, b, c, d = BCG.T
    return np.log(a / (a + b) / (c / (c + d))), 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)


def test_vaccine_trials():
    # Results by DerSimonian and Laird as widely reprinted for these data, from memory:
    # mean -0.7141, standard error 0.1787, tau² 0.3088, Q 152.23 on 12, I² 92.12 %.
    pooled = pool(*log_risk_ratios())
    assert pooled.mean[0] == pytest.approx(-0.7141, abs=1e-4)
    assert pooled.covariance[0, 0] ** 0.5 == pytest.approx(0.1787, abs=1e-4)
    assert pooled.between == pytest.approx(0.3088, abs=1e-4)
    assert pooled.q == pytest.approx(152.233, abs=1e-3)
    assert pooled.freedom == 12
    assert pooled.disagreement == pytest.approx(0.9212, abs=1e-4)


@pytest.mark.parametrize("seed", range(6))
def test_against_statsmodels(seed):
    from scipy.stats import chi2
    from statsmodels.stats.meta_analysis import combine_effects

    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 12))
    variances = rng.uniform(0.2, 3.0, n) ** 2 * 1e-6
    values = -0.003 + rng.normal(0, 1, n) * np.sqrt(variances + rng.choice([0.0, 4e-6]))
    with np.errstate(invalid="ignore"):  # it does not cut the between-source variance at zero
        theirs = combine_effects(values, variances, method_re="dl")
    ours = pool(values, variances)
    mean, sd = ((theirs.mean_effect_re, theirs.sd_eff_w_re) if theirs.tau2 > 0
                else (theirs.mean_effect_fe, theirs.sd_eff_w_fe))
    assert ours.mean[0] == pytest.approx(mean, rel=1e-9)
    assert ours.covariance[0, 0] ** 0.5 == pytest.approx(sd, rel=1e-9)
    assert ours.between == pytest.approx(max(theirs.tau2, 0.0), rel=1e-9, abs=1e-18)
    assert ours.q == pytest.approx(theirs.q, rel=1e-9)
    assert ours.disagreement == pytest.approx(max(theirs.i2, 0.0), rel=1e-9, abs=1e-12)
    assert ours.p_value == pytest.approx(chi2.sf(theirs.q, n - 1), rel=1e-9)


def test_regression_without_scatter_is_weighted_least_squares():
    from statsmodels.regression.linear_model import WLS

    rng = np.random.default_rng(3)
    x = np.linspace(0, 1, 8)
    design = np.column_stack([1 - x, x])
    variances = rng.uniform(0.5, 2.0, 8)
    values = design @ [1.0, 3.0] + 0.05 * rng.normal(size=8)  # far less scatter than stated
    fit = WLS(values, design, weights=1 / variances).fit(cov_type="fixed scale")
    ours = pool(values, variances, design)
    assert ours.between == 0.0
    assert ours.mean == pytest.approx(fit.params, rel=1e-9)
    assert ours.covariance == pytest.approx(fit.cov_params(), rel=1e-9)


def test_regression_finds_the_scatter_that_was_put_in():
    # The moment estimator is unbiased: its mean over many draws is the variance between sources
    # (before it is cut at zero, which does not happen with this much scatter).
    rng = np.random.default_rng(11)
    x = rng.uniform(size=40)
    design = np.column_stack([1 - x, x])
    variances = rng.uniform(0.5, 2.0, 40)
    found = [pool(design @ [1.0, 3.0] + rng.normal(0, np.sqrt(variances + 9.0)), variances,
                  design).between for _ in range(300)]
    assert np.mean(found) == pytest.approx(9.0, abs=3 * np.std(found) / 300**0.5)
    assert min(found) > 0
