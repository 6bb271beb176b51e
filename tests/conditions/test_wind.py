from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.conditions import (
    Conditions,
    draw_wind,
    spread_wind,
    starting_at,
)
from optimizer.conditions.wind import height_factor, wind_along

ONE = np.ones(1)


def blowing(speed, from_deg, **more):
    angle = np.radians(from_deg)
    return Conditions(wind_east=np.array([[-speed * np.sin(angle)]]),
                      wind_north=np.array([[-speed * np.cos(angle)]]), **more)


@pytest.mark.parametrize(("wind_from", "heading", "head", "cross"), [
    (0, 0, 1, 0), (180, 0, -1, 0), (270, 0, 0, 1), (90, 0, 0, -1), (90, 90, 1, 0),
    (225, 225, 1, 0), (45, 0, np.sqrt(0.5), -np.sqrt(0.5))])
def test_signs(wind_from, heading, head, cross):
    """Head wind is positive into the face, cross wind positive from the left."""
    h, c = wind_along(blowing(5.0, wind_from), 0 * ONE, 0 * ONE, np.radians(heading) * ONE,
                      0.03 * ONE, ONE)
    factor = 5.0 * height_factor(0.03)
    assert (h[0], c[0]) == (pytest.approx(factor * head, abs=1e-9),
                            pytest.approx(factor * cross, abs=1e-9))


def test_shelter_and_terrain_slow_the_wind():
    weather = blowing(6.0, 0)
    h, _ = wind_along(weather, np.zeros(4), np.zeros(4), np.zeros(4),
                      np.array([0.0002, 0.03, 0.25, 2.0]), np.array([1.0, 0.5, 1.0, 1.0]))
    assert h == pytest.approx(6.0 * np.array([
        height_factor(0.0002), 0.5 * height_factor(0.03), height_factor(0.25),
        height_factor(0.5)]))
    assert (np.diff(h / np.array([1.0, 0.5, 1.0, 1.0])) < 0).all()


def test_wind_by_time_and_place_is_interpolated_and_held_beyond():
    weather = Conditions(
        wind_time=np.array([0.0, 3600.0]), wind_distance=np.array([0.0, 10_000.0]),
        wind_east=np.zeros((2, 2)), wind_north=-np.array([[0.0, 4.0], [2.0, 6.0]]))
    h, _ = wind_along(weather, np.array([0.0, 10_000, 5000, -50, 5000]),
                      np.array([0.0, 0, 1800, -100, 99_999]), np.zeros(5), np.full(5, 0.03),
                      np.ones(5))
    assert h / height_factor(0.03) == pytest.approx([0.0, 4.0, 3.0, 0.0, 4.0])


@pytest.mark.parametrize("shape", [(3, 1), (1, 3)])
def test_wind_by_time_or_by_place_alone(shape):
    weather = Conditions(
        wind_time=np.arange(shape[0]) * 100.0, wind_distance=np.arange(shape[1]) * 100.0,
        wind_east=np.zeros(shape), wind_north=-np.array([1.0, 2.0, 3.0]).reshape(shape))
    at = np.array([0.0, 50.0, 200.0])
    h, _ = wind_along(weather, at, at, np.zeros(3), np.full(3, 0.03), np.ones(3))
    assert h / height_factor(0.03) == pytest.approx([1.0, 1.5, 3.0])


# --- draws ------------------------------------------------------------------------------


@given(st.floats(0, 20), st.floats(0, 360), st.floats(0, 6.28))
def test_draws_of_the_road_are_those_of_the_weather(speed, angle, heading):
    weather = blowing(speed, angle)
    where = (np.zeros(3), np.zeros(3), heading + np.array([0.0, 1.0, 2.0]), np.full(3, 0.03),
             np.ones(3))
    draws = draw_wind(weather, np.random.default_rng(5), 4)
    spread = spread_wind(*wind_along(weather, *where), draws)
    each = []
    for factor, turn in zip(draws.speed_factor, draws.turn, strict=True):
        blown = factor * np.exp(-1j * turn) * (weather.wind_east + 1j * weather.wind_north)
        each.append(wind_along(replace(weather, wind_east=blown.real, wind_north=blown.imag),
                               *where))
    for k in range(2):
        assert spread[k] == pytest.approx(np.array([one[k] for one in each]), abs=1e-9)


def test_draws_have_the_stated_spread_and_the_forecast_as_their_mean():
    weather = blowing(5.0, 0, speed_sd=0.3, direction_sd=0.2)
    draws = draw_wind(weather, np.random.default_rng(0), 200_000)
    assert draws.speed_factor.mean() == pytest.approx(1.0, abs=0.003)
    assert draws.speed_factor.std() == pytest.approx(0.3, abs=0.003)
    assert draws.speed_factor.min() > 0
    assert draws.turn.std() == pytest.approx(0.2, abs=0.002)
    assert draws.turn.mean() == pytest.approx(0.0, abs=0.002)


def test_the_same_seed_draws_the_same_wind():
    weather = blowing(5.0, 0)
    a, b = (draw_wind(weather, np.random.default_rng(3), 10) for _ in range(2))
    assert a.turn.tolist() == b.turn.tolist()


# --- start ------------------------------------------------------------------------------


def hourly(start):
    return Conditions(
        temperature=285.0, start_time=start, wind_time=np.array([0.0, 3600.0, 7200.0]),
        wind_east=np.zeros((3, 1)), wind_north=-np.array([[1.0], [3.0], [5.0]]),
        temperature_change=np.array([[0.0], [4.0], [6.0]]))


def test_another_start_meets_the_weather_of_its_own_hour():
    nine = datetime(2030, 6, 16, 9, tzinfo=UTC)
    ten = starting_at(hourly(nine), nine + timedelta(hours=1))
    assert ten.start_time == nine + timedelta(hours=1)
    assert ten.temperature == pytest.approx(289.0)
    assert ten.temperature_change[:, 0].tolist() == [-4.0, 0.0, 2.0]
    h, _ = wind_along(ten, 0 * ONE, 0 * ONE, 0 * ONE, 0.03 * ONE, ONE)
    assert h[0] == pytest.approx(3.0 * height_factor(0.03))
    back = starting_at(ten, nine)
    assert back.temperature == pytest.approx(285.0)
    assert back.wind_time.tolist() == [0.0, 3600.0, 7200.0]


def test_a_start_without_weather_by_the_hour_moves_nothing():
    nine = datetime(2030, 6, 16, 9, tzinfo=UTC)
    weather = starting_at(blowing(5.0, 0), nine)
    assert weather.start_time == nine
    assert starting_at(weather, nine + timedelta(hours=3)).wind_time.tolist() == [0.0]


def test_zones_do_not_mix():
    with pytest.raises(ValueError, match="zone"):
        starting_at(hourly(datetime(2030, 6, 16, 9, tzinfo=UTC)),
                    datetime(2030, 6, 16, 10))  # noqa: DTZ001
