"""Speed answers the wind: the closed forms against brute force, and the bias that they remove."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.ride.feedback import following


@pytest.mark.parametrize("time", [2.0, 6.0, 60.0, 1200.0])
def test_the_closed_integral_is_that_of_a_fine_grid(time):
    """Against sums over a grid of a quarter of a second."""
    step, each, segments, rate = 0.25, 48, 30, 1 / 15
    n = each * segments
    at = np.arange(n) * step
    answer = np.tril(np.exp(-rate * (at[:, None] - at[None, :])))
    np.fill_diagonal(answer, 0.5)
    mean = np.kron(np.eye(segments), np.ones((1, each)) / each)
    forgets = np.exp(-np.abs(at[:, None] - at[None, :]) / time)
    brute = mean @ (answer * step) @ forgets @ mean.T
    duration = np.full(segments, each * step)
    ours = following((np.arange(segments) + 0.5) * each * step, duration,
                     np.full(segments, rate), time)
    inner = slice(18, 26)  # far enough from the start, where nothing has built up yet
    scale = brute[inner, inner].max()
    assert np.abs(ours - brute)[inner, inner].max() < 0.02 * scale
