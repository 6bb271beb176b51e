from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.course.smoothing import smooth


def dense(where, data, nodes, penalty, weight):
    """The same minimiser by dense matrices."""
    B = np.zeros((len(where), nodes))
    left = np.clip(where.astype(int), 0, nodes - 2)
    B[np.arange(len(where)), left] = 1 - (where - left)
    B[np.arange(len(where)), left + 1] = where - left
    D = np.diff(np.eye(nodes), 2, axis=0)
    return np.linalg.solve(B.T @ np.diag(weight) @ B + penalty * D.T @ D,
                           B.T @ np.diag(weight) @ data)


@given(st.integers(0, 10**6), st.floats(1e-2, 1e5))
@settings(max_examples=40, deadline=None)
def test_it_minimises_what_it_says(seed, penalty):
    rng = np.random.default_rng(seed)
    nodes = int(rng.integers(5, 40))
    where = np.sort(rng.uniform(0, nodes - 1, 3 * nodes))
    data, weight = rng.normal(500, 30, 3 * nodes), rng.uniform(0.1, 3, 3 * nodes)
    ours = smooth(where, data, nodes, penalty=penalty, weight=weight).values
    assert ours == pytest.approx(dense(where, data, nodes, penalty, weight), abs=1e-5)


def test_a_line_stays_a_line_at_any_penalty():
    where = np.linspace(0, 99, 300)
    for penalty in (1e-3, 1.0, 1e6):
        fit = smooth(where, 3.0 + 0.5 * where, 100, penalty=penalty)
        assert fit.values == pytest.approx(3.0 + 0.5 * np.arange(100), abs=1e-4)


@pytest.mark.parametrize("sd", [0.3, 1.0, 3.0])
def test_the_noise_is_found_and_taken_out(sd):
    rng = np.random.default_rng(1)
    x = np.arange(4000) / 2
    truth = 40 * np.sin(x / 60) + 10 * np.sin(x / 23)
    fit = smooth(x, truth + sd * rng.standard_normal(len(x)), 2000)
    assert fit.noise_sd == pytest.approx(sd, rel=0.05)
    assert np.std(fit.values - np.interp(np.arange(2000), x, truth)) < 0.45 * sd


def test_the_penalty_is_that_of_statsmodels_for_a_smooth_trend():
    """Same λ as the maximum likelihood of the same model (integrated random walk and noise).

    The smoothest-trend model of Harvey 1989, whose smoother is the penalised one, fitted by
    statsmodels through a Kalman filter: another route to the same restricted likelihood.
    """
    import warnings

    from statsmodels.tsa.statespace.structural import UnobservedComponents

    rng = np.random.default_rng(3)
    n = 400
    trend = np.cumsum(np.cumsum(0.05 * rng.standard_normal(n)))
    data = trend + rng.standard_normal(n)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = UnobservedComponents(data, "smooth trend", use_exact_diffuse=True)
        result = model.fit(disp=False)
    theirs = result.params[0] / result.params[1]
    ours = smooth(np.arange(n, dtype=float), data, n)
    assert ours.penalty == pytest.approx(theirs, rel=0.1)
    assert ours.noise_sd == pytest.approx(np.sqrt(result.params[0]), rel=0.02)
    assert ours.values == pytest.approx(result.smoothed_state[0], abs=0.05)


def test_curves_share_a_penalty():
    rng = np.random.default_rng(2)
    x = np.arange(500.0)
    data = np.stack([np.sin(x / 30), np.cos(x / 40)], axis=1) + 0.2 * rng.standard_normal((500, 2))
    both = smooth(x, data, 500)
    for k in range(2):
        assert both.values[:, k] == pytest.approx(
            smooth(x, data[:, k], 500, penalty=both.penalty).values, abs=1e-6)


def test_nodes_without_data_are_bridged():
    where = np.concatenate([np.arange(0, 20.0), np.arange(80, 100.0)])
    fit = smooth(where, 2.0 * where, 100)
    assert fit.values == pytest.approx(2.0 * np.arange(100), abs=0.1)


def test_of_very_many_data_the_middle_chooses(monkeypatch):
    rng = np.random.default_rng(7)
    x = np.arange(3000) / 3
    data = 20 * np.sin(x / 50) + rng.standard_normal(3000)
    whole = smooth(x, data, 1000)
    monkeypatch.setattr("optimizer.course.smoothing._MOST_ASKED", 2000)
    part = smooth(x, data, 1000)
    assert part.penalty == pytest.approx(whole.penalty, rel=0.4)
    assert part.penalty != whole.penalty
    assert part.values == pytest.approx(whole.values, abs=0.3)
