"""A surface measured from synthetic rides whose Crr is known."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.errors import InputError
from optimizer.physics import Setup
from optimizer.ride.balance import Assumptions
from optimizer.ride.field_test import Runs
from optimizer.ride.surface import surface_of
from optimizer.scenario.course_file import read_features, with_surface
from optimizer.scenario.weather import weather
from tests.ride.synthetic import G, Sensors, Truth, loop, ride

LAPS = 8


def rides(seed, factor):
    """Laps of 3 km with 900 m of another surface in each: the runs, and the passes."""
    rng, truth = np.random.default_rng(seed), Truth()
    path = loop(rng, laps=LAPS)
    lap = round(len(path.s) / LAPS)
    spans = [(k * lap + 600, k * lap + 1500) for k in range(LAPS)]
    extra = (factor - 1.0) * truth.crr * truth.mass * G
    recorded = ride(path, truth, Sensors(), rng, brakes=[(*span, extra) for span in spans])
    scale = recorded.distance[-1] / path.s[-1]
    runs = Runs((recorded,), ("x",), (weather(temperature_c=20.0, pressure_hpa=1000.0),),
                Setup("b", 10.0, truth.crr), 72.0, Assumptions(rolling_resistance_sd=0.0005))
    return runs, [(0, a * scale, b * scale) for a, b in spans]


@pytest.mark.parametrize(("seed", "factor"), [(0, 2.0), (3, 1.0)])
def test_a_surface_is_found_within_its_uncertainty(seed, factor):
    """Over eight seeds with a true factor of 2: mean 1.96, standard deviation 0.27, stated 0.34."""
    found = surface_of(*rides(seed, factor))
    assert found.factor == pytest.approx(factor, abs=2.0 * found.factor_sd)
    assert found.factor_sd < 0.45
    assert found.length == pytest.approx(LAPS * 900, rel=0.02)


def test_too_little_is_refused():
    runs, passes = rides(0, 2.0)
    with pytest.raises(InputError, match="for 100 m in all"):
        surface_of(runs, [(0, 600.0, 700.0)])
    with pytest.raises(InputError, match="is not on the stretch"):
        surface_of(runs, [*passes, (0, 90_000.0, 91_000.0)])


def test_it_becomes_a_row_of_the_features(tmp_path):
    path = tmp_path / "roads.csv"
    path.write_bytes(with_surface(path, 3200.0, 4600.0, 1.87, "measured, ± 0.40"))
    path.write_text("# mine\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    path.write_bytes(with_surface(path, 6000.0, 6500.0, 1.2, "measured, ± 0.10"))
    first, second = read_features(path).stretches
    assert (first.kind, first.start, first.end, first.value) == ("surface", 3200, 4600, 1.87)
    assert second.value == 1.2
    path.write_text("what;from_km;to_km;value\nsurface;1,5;2;1,3\n")
    path.write_bytes(with_surface(path, 3000.0, 4000.0, 1.5, "x"))
    assert [s.value for s in read_features(path).stretches] == [1.3, 1.5]
    path.write_text("what,from_km\n")
    with pytest.raises(InputError, match='no column "to_km"'):
        with_surface(path, 0.0, 1.0, 1.0, "")
