"""Recordings of dead sensors and impossible rides: a refusal in words, never a result."""

from __future__ import annotations

import re

import numpy as np
import pytest

from optimizer.conditions import Conditions
from optimizer.errors import InputError
from optimizer.physics import Setup
from optimizer.ride import Ride, field_test
from optimizer.ride.field_test import Runs
from optimizer.ride.plausible import check_result, dead_power
from optimizer.scenario.ride_file import read_ride
from tests.hardening.corpus import kitpace
from tests.later import later

TIME = np.arange(900.0)
SPEED = 10.0 + np.sin(TIME / 50.0)
WAY = np.concatenate([[0.0], np.cumsum(0.5 * (SPEED[1:] + SPEED[:-1]))])


def columns(samples=900, **other):
    """A ride of some minutes over small hills, with what is to be wrong in it."""
    table = {"elapsed_s": TIME, "distance_m": WAY, "speed_mps": SPEED,
             "power_w": 200.0 + 30.0 * np.sin(TIME / 50.0),
             "elevation_m": 100.0 + 5.0 * np.sin(2 * np.pi * WAY / 3000.0)}
    return {name: values[:samples] for name, values in {**table, **other}.items()
            if values is not None}


def file_of(path, table):
    np.savetxt(path, np.column_stack(list(table.values())), "%.6g", ",",
               header=",".join(table), comments="")
    return path


NOTHING, FULL = np.zeros(900), np.full(900, 900.0)
IMPOSSIBLE = {
    "no way and no speed": ({"distance_m": NOTHING, "speed_mps": NOTHING}, "neither distance"),
    "a power meter that is dead": ({"power_w": NOTHING}, "has no power"),
    "the same without heights": ({"power_w": NOTHING, "elevation_m": None}, "has no power"),
    "5 W at 36 km/h": ({"power_w": NOTHING + 5.0}, "which no rider has"),
    "900 W at 36 km/h": ({"power_w": FULL}, "which no rider has"),
    "40 km in a minute": ({"elapsed_s": 0.01 * TIME}, "faster than anybody rides"),
}


@pytest.mark.parametrize("what", IMPOSSIBLE)
def test_a_field_test_of_what_cannot_be_is_refused(tmp_path, what):
    changed, says = IMPOSSIBLE[what]
    bad = file_of(tmp_path / "bad.csv", columns(**changed))
    code, said = kitpace("fieldtest", bad, "--mass", 80, "--out", tmp_path / "page.html")
    assert code == 2
    assert says in said
    assert [path.name for path in tmp_path.iterdir()] == ["bad.csv"]


@pytest.mark.parametrize(("power", "says", "heights"), [
    (0.0, "has no power", "flat"), (1.0, "which no rider has", "none"),
    (200.0, "not clearly different", "hills"),
    (900.0, "which no rider has|not clearly different", "none"),
    *later((0.0, "has no power", "hills"), (0.0, "has no power", "none"),
           (1.0, "which no rider has", "flat"), (1.0, "which no rider has", "hills"),
           (200.0, "not clearly different", "flat"), (200.0, "not clearly different", "none"),
           (900.0, "which no rider has|not clearly different", "flat"),
           (900.0, "which no rider has|not clearly different", "hills"))])
def test_power_that_never_changes_is_no_traceback(tmp_path, power, says, heights):
    height = {"flat": NOTHING, "none": None}
    a, b = (file_of(tmp_path / name, columns(
        samples, power_w=NOTHING + power, latitude_deg=47.0 + 0.004 * np.cos(WAY / 500.0),
        longitude_deg=8.0 + 0.006 * np.sin(WAY / 500.0),
        **({"elevation_m": height[heights]} if heights in height else {})))
        for name, samples in (("a.csv", 300), ("b.csv", 299)))  # twice the same is refused
    code, said = kitpace("fieldtest", a, b, "--mass", 80, "--setups", "a,b", "--out",
                         tmp_path / "page.html")
    assert re.search(says, said)
    assert code == (0 if "not clearly different" in said else 2)
    if "has no power" in says and code == 2:
        assert "a.csv" in said  # the file, as a person named it


def test_a_setup_of_which_nothing_is_left_has_no_result(tmp_path):
    slow = {"speed_mps": 0.1 * SPEED, "distance_m": 0.1 * WAY}
    rides = [file_of(tmp_path / f"{k}.csv", columns(900 - k, **more))
             for k, more in enumerate((slow, {}, {}, slow))]
    code, said = kitpace("fieldtest", *rides, "--mass", 80, "--setups", "a,b,b,a", "--out",
                         tmp_path / "page.html")
    assert code == 2
    assert '0 stretches that show the drag with "a"' in said


def test_a_sensor_of_zeros_was_not_there(tmp_path):
    whole = read_ride(file_of(tmp_path / "a.csv", columns()))
    for name in ("distance_m", "speed_mps"):
        ride = read_ride(file_of(tmp_path / "b.csv", columns(**{name: NOTHING})))
        assert ride.length == pytest.approx(whole.length, rel=1e-3)
        assert np.allclose(ride.speed, whole.speed, atol=0.05)
        assert any(f"{name} of 0 throughout" in c.what for c in ride.corrections)


def test_zeros_of_a_rider_who_coasts_are_kept_and_those_of_a_dead_meter_are_not():
    # 10 m/s down a road of 3 % needs no power; the same speed on the flat does.
    n = 300
    time, way, speed, power = np.arange(n), 10.0 * np.arange(n), np.full(n, 10.0), np.zeros(n)
    assert not dead_power(time, way, speed, power, 500.0 - 0.03 * way).any()
    assert dead_power(time, way, speed, power, np.zeros(n)).all()
    # Half a minute without pedalling is common anywhere, and so is rolling out on the flat.
    power[:270] = 200.0
    assert not dead_power(time, way, speed, power, np.zeros(n)).any()
    rolling = np.linspace(12.0, 4.0, n)
    assert not dead_power(time, np.cumsum(rolling), rolling, np.zeros(n), np.zeros(n)).any()


def test_a_result_is_judged_by_both_figures_together():
    spread = np.array([[0.02**2, -0.9 * 0.02 * 0.002], [-0.9 * 0.02 * 0.002, 0.002**2]])
    check_result("x", ["a"], np.array([0.25, 0.004]), spread)
    check_result("x", ["a"], np.array([0.30, -0.003]), spread)  # along the ridge, within reach
    for mean in ([0.11, -0.003], [-0.027, 0.004], [1.3, 0.004], [0.25, 0.06]):
        with pytest.raises(InputError, match="no rider has"):
            check_result("x", ["a"], np.array(mean), spread)


@pytest.mark.ci
def test_a_debrief_of_900_w_says_that_the_meter_or_the_rider_is_wrong(tmp_path):
    assert kitpace("new", tmp_path / "race")[0] == 0
    from optimizer.course import read_course

    course = read_course(tmp_path / "race" / "course.gpx")
    ride = file_of(tmp_path / "ride.csv", columns(300, power_w=FULL, distance_m=None, **{
        f"{name}_deg": np.interp(WAY, course.distance, getattr(course, name))
        for name in ("latitude", "longitude")}))
    code, said = kitpace("debrief", tmp_path / "race" / "scenario.toml", ride, "--budget", 0,
                         "--out", tmp_path / "page.html")
    assert code == 2
    assert "times the planned critical power" in said


def test_the_work_of_a_field_test_does_not_grow_with_its_length(monkeypatch):
    class FoundError(Exception):
        pass

    def rows(hours):
        n = int(3600 * hours)
        time = np.arange(n)
        way = 10.0 * time
        unknown = np.full(n, np.nan)
        ride = Ride("x", time, way, np.full(n, 10.0), np.full(n, 200.0),
                    5.0 * np.sin(way / 1000.0), unknown, unknown)

        def stop(balance, *_):
            raise FoundError(len(balance.kept))

        monkeypatch.setattr(field_test, "posterior_of", stop)
        with pytest.raises(FoundError) as found:
            field_test.field_test(Runs((ride,), ("x",), (Conditions(),), Setup("x", 9.0, 0.004),
                                       70.0))
        return found.value.args[0]

    # Everything after the rows is cubed in their number.
    assert rows(1.0) <= rows(8.0) <= 230
