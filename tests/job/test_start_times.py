from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from optimizer.conditions import Conditions, with_members
from optimizer.job.start_times import start_times
from optimizer.report.course_page import start_rows, start_sentence
from optimizer.scenario import read_scenario

COURSES = Path(__file__).parents[2] / "courses"
SIX = datetime(2030, 6, 16, 6)  # noqa: DTZ001 - local time, as people write it


@pytest.fixture(scope="module")
def job():
    job = read_scenario(COURSES / "quern-pass" / "scenario.toml")
    return replace(job, options=replace(job.options, step=100.0))


def freshening(job, start):
    """Calm at six, 12 m/s at eleven, from where the finish lies."""
    step = np.diff(job.course.distance)
    way = np.array([np.sum(step * np.sin(job.course.heading)),
                    np.sum(step * np.cos(job.course.heading))])
    east, north = -way / np.hypot(*way)
    blow = np.linspace(0, 12, 6)[:, None]
    return Conditions(start_time=start, wind_time=np.arange(6) * 3600.0 - (
        start - SIX).total_seconds(), wind_east=east * blow, wind_north=north * blow)


def test_a_rising_head_wind_makes_the_first_start_the_best(job):
    weather = freshening(job, SIX + timedelta(hours=2))
    found = start_times(replace(job, conditions=weather), every=3600.0)
    assert [s.start.hour for s in found] == [6, 7, 8, 9, 10, 11]
    times = [s.finish_time for s in found]
    assert (np.diff(times) > 0).all()
    assert (np.diff([s.headwind for s in found]) > 0).all()
    assert [s.beyond for s in found] == [False] * 5 + [True]
    assert "06:00" in start_sentence(found)
    rows = start_rows(found)
    assert rows[0][3] == "0 s"
    assert "beyond" in rows[-1][-1]
    # A quarter of the speed more or less, and a turn: the calmest hour stays the best.
    assert found[0].chance == pytest.approx(1.0, abs=0.01)
    assert np.isnan(found[-1].chance)
    assert all(s.low < s.finish_time < s.high for s in found[1:])


def test_a_warmer_hour_is_faster_but_hot_ones_cost_power(job):
    """The air thins by a third of a percent a kelvin."""
    weather = replace(freshening(job, SIX), wind_east=np.zeros((6, 1)),
                      wind_north=np.zeros((6, 1)), temperature=283.15,
                      temperature_change=np.linspace(0, 10, 6)[:, None])
    found = start_times(replace(job, conditions=weather), every=9000.0)
    assert found[0].temperature == pytest.approx(283.15)
    assert found[2].temperature == pytest.approx(293.15)
    assert found[0].finish_time - found[1].finish_time > 1.0


def test_weather_that_stays_the_same_offers_no_choice(job):
    assert start_times(job) == ()


@pytest.mark.ci
def test_many_hours_are_thinned(job):
    days = replace(freshening(job, SIX), wind_time=np.arange(6) * 86_400.0)
    told = []

    def progress(words):
        told.append(words)
        if len(told) > 1:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        start_times(replace(job, conditions=days), progress=progress)
    assert told[1] != told[0]
    hours = [int(words[-5:-3]) for words in told[:2]]
    assert hours[1] - hours[0] >= 2


def test_the_chance_to_be_best_is_the_share_of_members_in_which_it_is(job):
    """Of ten equally likely days three are calm early, seven late."""
    calm, blow = np.zeros(6), np.linspace(0, 12, 6)
    step = np.diff(job.course.distance)
    way = np.array([np.sum(step * np.sin(job.course.heading)),
                    np.sum(step * np.cos(job.course.heading))])
    east, north = -way / np.hypot(*way)
    days = np.array([blow] * 3 + [blow[::-1]] * 7)[:, :, None] + calm[None, :, None]
    weather = with_members(Conditions(start_time=SIX, wind_time=np.arange(6) * 3600.0),
                           east=east * days, north=north * days)
    found = start_times(replace(job, conditions=weather), every=9000.0)
    assert [s.beyond for s in found] == [False, False, True]
    early, late, _ = found
    assert early.chance == pytest.approx(0.3, abs=0.05)
    assert late.chance == pytest.approx(0.7, abs=0.05)
    assert "11:00" not in start_sentence(found)
    assert "chance of 70 %" in start_sentence(found).replace("69", "70").replace("71", "70")
