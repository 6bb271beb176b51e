"""Weather as people state it."""

from __future__ import annotations

import ambiance
import numpy as np
import pytest

from optimizer.errors import InputError
from optimizer.scenario.weather import parse_wind, standard_pressure, weather


@pytest.mark.parametrize("height", [-300.0, 0.0, 500.0, 1500.0, 3000.0])
def test_standard_pressure(height):
    # ICAO standard atmosphere as the package ambiance has it (geometric height there, so that
    # 3000 m differ by 5e-4).
    assert standard_pressure(height) == pytest.approx(
        float(ambiance.Atmosphere(height).pressure[0]), rel=5e-4)


@pytest.mark.parametrize(("angle", "east", "north"), [
    (0, 0, -10), (90, -10, 0), (180, 0, 10), (270, 10, 0), (360, 0, -10)])
def test_wind_blows_away_from_where_it_comes_from(angle, east, north):
    air = weather(wind_kmh=36.0, wind_from_deg=angle)
    assert air.wind_east[0, 0] == pytest.approx(east, abs=1e-9)
    assert air.wind_north[0, 0] == pytest.approx(north, abs=1e-9)


@pytest.mark.parametrize("field", [{"wind_kmh": np.nan}, {"wind_kmh": -1.0},
                                   {"temperature_c": np.inf}, {"humidity_percent": 101.0},
                                   {"pressure_hpa": np.nan}, {"wind_from_deg": 361.0}])
def test_nonsense_is_refused(field):
    with pytest.raises(InputError, match=next(iter(field))):
        weather(**field)


@pytest.mark.parametrize(("text", "wind"), [
    ("25@225", (25.0, 225.0)), (" 7,5 @ 0 ", (7.5, 0.0)), ("0@360", (0.0, 360.0)),
    ("25@SW", (25.0, 225.0)), ("25 km/h @ south-west", (25.0, 225.0))])
def test_wind_of_the_command_line(text, wind):
    assert parse_wind(text) == wind


@pytest.mark.parametrize("text", ["", "25", "@", "25@", "x@1", "25@400", "-3@10", "nan@1", "1@2@3",
                                  "inf@0", "999@0"])
def test_what_is_no_wind(text):
    with pytest.raises(InputError, match="--wind"):
        parse_wind(text)
