"""Air density and the standard atmosphere against reference implementations."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.conditions import Conditions
from optimizer.conditions.air import air_density, air_density_along


@pytest.mark.parametrize("celsius", [0.0, 10.0, 20.0, 35.0])
@pytest.mark.parametrize("pressure", [70_000.0, 90_000.0, 101_325.0])
@pytest.mark.parametrize("humidity", [0.0, 0.5, 1.0])
def test_moist_air_against_coolprop(celsius, pressure, humidity):
    """HumidAirProp of CoolProp (Bell et al. 2014, Ind. Eng. Chem. Res. 53:2498).

    CIPM-2007 holds to 22e-6 near room conditions; the two are independent formulations
    (virial expansion by Herrmann, Kretzschmar and Gatley 2009 on that side), hence 3e-4.
    """
    from CoolProp.HumidAirProp import HAPropsSI

    theirs = 1.0 / HAPropsSI("Vha", "T", celsius + 273.15, "P", pressure, "R", humidity)
    assert float(air_density(celsius + 273.15, pressure, humidity)) == pytest.approx(
        theirs, rel=3e-4)


@pytest.mark.parametrize(("height", "density"), [
    (0, 1.2250), (1000, 1.1117), (2000, 1.0066), (3000, 0.90925)])
def test_the_standard_atmosphere(height, density):
    """ISO 2533:1975 (ICAO standard atmosphere): density by geopotential height; from memory."""
    weather = Conditions(temperature=288.15, pressure=101_325.0, humidity=0.0)
    assert air_density_along(weather, np.array([float(height)]))[0] == pytest.approx(
        density, rel=1e-3)


def test_the_standard_atmosphere_against_ambiance():
    """The package ambiance, which implements the ICAO standard atmosphere of 1993."""
    from ambiance import Atmosphere

    heights = np.linspace(0.0, 3000.0, 13)
    weather = Conditions(temperature=288.15, pressure=101_325.0, humidity=0.0)
    # They take geometric heights; the difference to geopotential ones is 0.05 % at 3 km.
    assert air_density_along(weather, heights) == pytest.approx(Atmosphere(heights).density,
                                                                rel=8e-4)
