"""Fields of the forecast by time and place, against an interpolator of a library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from optimizer.conditions import Conditions
from optimizer.conditions.grid import sample


@pytest.mark.parametrize(("times", "places"), [(1, 1), (4, 1), (1, 3), (4, 3)])
@pytest.mark.parametrize("leading", [(), (2,)])
def test_linear_between_entries_and_constant_beyond(times, places, leading):
    rng = np.random.default_rng(5)
    time, place = (np.sort(rng.uniform(0.0, 1e4, count)) for count in (times, places))
    values = rng.standard_normal((*leading, times, places))
    air = Conditions(wind_east=np.zeros((times, places)), wind_north=np.zeros((times, places)),
                     wind_time=time, wind_distance=place)
    when, where = rng.uniform(-2e3, 1.2e4, (2, 60))
    when[:times], where[:places] = time, place  # on the entries too
    found = sample(air, values, where, when)
    wide_time, wide_place = (np.concatenate([[-1e9], axis, [1e9]]) for axis in (time, place))
    padded = np.pad(values, [(0, 0)] * len(leading) + [(1, 1), (1, 1)], mode="edge")
    table = np.moveaxis(padded.reshape(-1, times + 2, places + 2), 0, -1)
    wanted = RegularGridInterpolator((wide_time, wide_place), table)(
        np.column_stack([when, where])).T.reshape(*leading, 60)
    assert found.shape == (*leading, 60)
    assert found == pytest.approx(wanted, abs=1e-9)
