"""An ensemble forecast: what its draws are, and that the range is the forecast's own."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest
from scipy import stats

from optimizer.conditions import (
    AirDepartures,
    Conditions,
    draw_wind,
    spread_density,
    spread_wind,
    starting_at,
    with_members,
)
from optimizer.conditions.air import air_density, density_departures
from optimizer.conditions.wind import departures_along, wind_along
from tests.conditions.one_member import member
from tests.later import later

NINE = datetime(2030, 6, 16, 9)  # noqa: DTZ001 - local time, as people write it
AXES = Conditions(wind_time=np.array([0.0, 3600.0, 7200.0]),
                  wind_distance=np.array([0.0, 20_000.0]), start_time=NINE)
ROAD = (np.array([0.0, 5000.0, 20_000.0]), np.array([0.0, 900.0, 4000.0]),
        np.array([0.3, 2.0, 4.0]), np.array([0.03, 0.1, 0.25]), np.array([1.0, 0.7, 1.0]))


def some(seed=1, members=6, **more):
    rng = np.random.default_rng(seed)
    shape = (members, 3, 2)
    return with_members(
        AXES, east=4 + rng.standard_normal(shape), north=-2 + rng.standard_normal(shape),
        temperature=290 + rng.standard_normal(shape), gust=9 + rng.random(shape),
        pressure=1e5 + 300 * rng.standard_normal(members),
        humidity=0.5 + 0.05 * rng.standard_normal(members), **more)


def laid(weather):
    return AirDepartures(*departures_along(weather, *ROAD), density_departures(
        weather, *ROAD[:2]))


def test_the_middle_is_the_mean_and_a_member_is_what_went_in():
    rng = np.random.default_rng(0)
    east, north, warm = (rng.standard_normal((4, 3, 2)) for _ in range(3))
    weather = with_members(AXES, east=east, north=north, temperature=285 + warm)
    assert weather.wind_east == pytest.approx(east.mean(axis=0))
    for k, one in enumerate(np.eye(4)):
        alone = member(weather, one)
        assert alone.members is None
        assert alone.wind_east == pytest.approx(east[k])
        assert alone.wind_north == pytest.approx(north[k])
        assert alone.temperature + alone.temperature_change == pytest.approx(285 + warm[k])
        assert alone.temperature_change[0, 0] == pytest.approx(0.0, abs=1e-9)


def test_draws_of_the_road_are_those_of_the_weather():
    weather = some()
    draws = draw_wind(weather, np.random.default_rng(5), 9)
    spread = spread_wind(*wind_along(weather, *ROAD), draws, laid(weather))
    each = [wind_along(member(weather, weight), *ROAD) for weight in draws.weights]
    for k in range(2):
        assert spread[k] == pytest.approx(np.array([one[k] for one in each]), abs=1e-9)


def test_density_follows_each_member():
    weather = some()
    factor = spread_density(replace(draw_wind(weather, np.random.default_rng(5), 6),
                                    weights=np.eye(6)), laid(weather))
    for k, one in enumerate(np.eye(6)):
        alone = member(weather, one)
        usual, other = (air_density(w.temperature + np.mean(
            [np.interp(t, AXES.wind_time, w.temperature_change @ [1 - d / 2e4, d / 2e4])
             for d, t in zip(*ROAD[:2], strict=True)]), w.pressure, w.humidity)
            for w in (weather, alone))
        assert factor[k] == pytest.approx(other / usual, abs=1e-6)


def test_every_member_is_drawn_as_often_as_any_other():
    weights = draw_wind(some(), np.random.default_rng(2), 60).weights
    assert np.bincount(weights.argmax(axis=1)).tolist() == [10] * 6


@pytest.mark.parametrize("members", [5, 12, 50])
def test_draws_of_normal_members_are_the_predictive_distribution(members):
    """Student's t with m - 1 degrees of freedom and scale s √(1 + 1/m): Gelman et al. 2013,
    Bayesian Data Analysis, section 3.2; its quantiles from SciPy."""
    # An ideal sample: the quantiles of a normal, so that the shape is not left to chance.
    one = stats.norm.ppf((np.arange(members) + 0.5) / members)
    still = np.zeros((members, 1, 1))
    weather = with_members(Conditions(), east=one[:, None, None], north=still)
    draws = draw_wind(weather, np.random.default_rng(0), 100_000)
    found = draws.weights @ weather.members.east[:, 0, 0]
    scale = one.std(ddof=1) * np.sqrt(1 + 1 / members)
    for share in (0.05, 0.25, 0.75, 0.95):
        assert np.quantile(found, share) == pytest.approx(
            scale * stats.t.ppf(share, members - 1), abs=0.12 * scale)


@pytest.mark.parametrize("members", [8, 20, *later(50)])
def test_the_range_holds_nine_days_in_ten(members):
    """2000 days out of the very distribution that the members come from."""
    rng = np.random.default_rng(members)
    inside = 0
    for _ in range(2000):
        days = rng.normal(3.0, 2.0, members + 1)
        weather = with_members(Conditions(), east=days[:-1, None, None],
                               north=np.zeros((members, 1, 1)))
        weights = draw_wind(weather, rng, 200).weights
        low, high = np.percentile(weather.wind_east[0, 0]
                                  + weights @ weather.members.east[:, 0, 0], [5, 95])
        inside += low <= days[-1] <= high
    assert 0.875 <= inside / 2000 <= 0.925  # 0.9 within three and a half standard errors


def test_two_clouds_of_members_stay_two():
    """A front that passes before or after: no draw is a wind that no member has."""
    east = np.where(np.arange(40) % 2, 6.0, -6.0)[:, None, None]
    weather = with_members(Conditions(), east=east, north=np.zeros((40, 1, 1)))
    weights = draw_wind(weather, np.random.default_rng(1), 4000).weights
    assert np.mean(np.abs(weights @ weather.members.east[:, 0, 0]) < 2.0) < 0.01


def test_spreads_in_short():
    rng = np.random.default_rng(3)
    angle, speed = rng.normal(0.4, 0.3, 4000), rng.normal(6.0, 0.9, 4000)
    weather = with_members(Conditions(), east=(speed * np.sin(angle))[:, None, None],
                           north=(speed * np.cos(angle))[:, None, None])
    assert weather.speed_sd == pytest.approx(0.15, rel=0.05)
    assert weather.direction_sd == pytest.approx(stats.circstd(angle), rel=0.03)


def test_two_members_make_no_storm():
    weather = with_members(Conditions(), east=np.array([2.0, 5.0])[:, None, None],
                           north=np.zeros((2, 1, 1)))
    weights = draw_wind(weather, np.random.default_rng(0), 10_000).weights
    assert np.abs(weights @ weather.members.east[:, 0, 0]).max() < 20.0


def test_one_member_is_no_ensemble():
    alone = with_members(Conditions(), east=np.ones((1, 1, 1)), north=np.zeros((1, 1, 1)))
    assert (alone.members, alone.speed_sd) == (None, Conditions().speed_sd)
    assert alone.wind_east == 1.0
    for needs in (lambda: departures_along(AXES, *ROAD),
                  lambda: density_departures(AXES, *ROAD[:2])):
        with pytest.raises(ValueError, match="no members"):
            needs()


def test_another_start_takes_the_members_along():
    weather = some()
    later = starting_at(weather, NINE + timedelta(hours=1))
    for one in np.eye(6):
        a, b = member(weather, one), member(later, one)
        h, c = wind_along(a, ROAD[0], ROAD[1] + 3600.0, *ROAD[2:])
        assert wind_along(b, *ROAD) == (pytest.approx(h), pytest.approx(c))
        assert b.temperature == pytest.approx(a.temperature + a.temperature_change[1, 0])


def test_without_departures_the_spread_is_a_factor_and_a_turn():
    weather = some()
    draws = draw_wind(weather, np.random.default_rng(0), 20_000)
    head, _ = spread_wind(np.array([5.0]), np.zeros(1), draws)
    assert head.std() == pytest.approx(
        5 * np.hypot(weather.speed_sd, weather.direction_sd**2 / np.sqrt(2)), rel=0.15)
