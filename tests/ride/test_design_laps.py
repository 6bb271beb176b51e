"""More runs never show less, on short laps either."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.ride.design import Intention, plan_test


@pytest.mark.parametrize("leg", [250.0, 400.0])
def test_more_runs_show_no_less_on_short_laps(leg):
    """Laps of 400 m once showed 11 W with 8 runs and 45 W with 16."""
    plan = plan_test(Intention(0.005, 40 / 3.6, 10_000.0, course="laps", leg=leg))
    smallest = [option.smallest for option in plan.options]
    assert np.all(np.diff(smallest) < 0.0)
    assert plan.least_watts == pytest.approx(plan.watts / 0.005 * min(smallest))
