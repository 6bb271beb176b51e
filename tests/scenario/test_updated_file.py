"""What rides taught, written beside the old files and pooled with what is there."""

from __future__ import annotations

import tomllib
from types import SimpleNamespace

import numpy as np
import pytest

from optimizer.errors import InputError
from optimizer.ride.season import EXPONENTS, Learned
from optimizer.scenario.rider_file import read_rider, read_season
from optimizer.scenario.starter import write_starter
from optimizer.scenario.updated_file import taught_by, write_update


@pytest.fixture
def race(tmp_path):
    write_starter(tmp_path / "race")
    return tmp_path / "race" / "scenario.toml"


def _ride(name, area, cp=None, rolling=0.0):
    sd = np.array([0.012, 0.0008])
    covariance = np.outer(sd, sd) * np.array([[1.0, -0.9], [-0.9, 1.0]])
    needed = () if cp is None else (cp,) * len(EXPONENTS)
    return Learned(name, np.array([area, rolling]), covariance, 0.0, 0.0, needed, cp is not None)


def _rider_of(scenario):
    return scenario.parent / tomllib.loads(scenario.read_text(encoding="utf-8"))["rider"]


def _update(scenario, target, ride, planned_power):
    taught = taught_by(scenario, ride, rolling_worth=8.0, planned_power=planned_power)
    new, rider = write_update(scenario, scenario.with_name(target), taught)
    return SimpleNamespace(scenario=new, rider=rider, season=taught.season, pooled=taught.pooled)


def _chain(race, rides):
    cp = read_rider(_rider_of(race)).critical_power
    out = []
    for k, ride in enumerate(rides):
        done = _update(race, f"next{k}.toml", ride, cp)
        race, cp = done.scenario, read_rider(done.rider).critical_power
        out.append(done)
    return out


def test_a_chain_of_updates_pools_and_each_ride_counts_once(race):
    """Three rides that each say 0.020 m² more than before the season, whatever was planned."""
    first = read_rider(_rider_of(race))
    applied, done, scenario = 0.0, [], race
    for k in range(3):
        # against its own plan, which carries what was learned by then
        done.append(_update(scenario, f"n{k}.toml", _ride(f"r{k}", 0.020 - applied),
                            first.critical_power))
        scenario = done[-1].scenario
        applied = done[-1].season.drag_area_change
    assert [float(ride.drag[0]) for ride in done[-1].season.rides] == pytest.approx(
        [0.020] * 3, abs=1e-5)
    last = read_rider(done[-1].rider)
    assert last.positions[0].drag_area - first.positions[0].drag_area == pytest.approx(
        applied, abs=2e-4)
    assert 0.0 < applied < 0.020  # between what was known before and what the rides say
    sds = [read_rider(d.rider).drag_area_sd for d in done]
    assert sds[2] < sds[1] < sds[0]


def test_what_was_known_before_each_ride_is_stated(race):
    done = _chain(race, [_ride("a", 0.01, 300.0), _ride("b", 0.0, 310.0)])
    table = tomllib.loads(done[1].rider.read_text(encoding="utf-8"))["season"]
    stated = [ride["planned_critical_power_w"] for ride in table["rides"]]
    assert stated[0] == pytest.approx(read_rider(_rider_of(race)).critical_power, abs=0.01)
    assert stated[1] == pytest.approx(read_rider(done[0].rider).critical_power, abs=0.01)
    again = read_season(done[1].rider)
    assert again.before == read_season(done[0].rider).before
    np.testing.assert_allclose(again.rides[0].covariance, done[0].season.rides[0].covariance,
                               rtol=1e-2, atol=1e-10)


def test_comments_stay_and_critical_power_and_exponent_are_written(race):
    done = _chain(race, [_ride("a", 0.01, 300.0)])[0]
    text, old = done.rider.read_text(encoding="utf-8"), _rider_of(race).read_text(encoding="utf-8")
    comments = [line for line in old.splitlines() if line.startswith("#")]
    assert len(comments) > 5
    assert all(line in text for line in comments)
    rider = read_rider(done.rider)
    assert rider.critical_power == pytest.approx(done.pooled.power, abs=0.06)
    assert rider.effort_exponent == pytest.approx(done.pooled.exponent, abs=0.006)


def test_no_tyre_is_written_that_cannot_be(race):
    done = _chain(race, [_ride("a", 0.0, rolling=-0.004), _ride("b", 0.0, rolling=-0.004),
                         _ride("c", 0.0, rolling=-0.004)])
    bike = tomllib.loads(done[-1].scenario.read_text(encoding="utf-8"))["bike"]
    assert bike["rolling_resistance"] >= 0.0015


def test_an_update_is_never_in_place(race):
    with pytest.raises(InputError, match="exists already"):
        _update(race, race.name, _ride("a", 0.0), 250.0)
