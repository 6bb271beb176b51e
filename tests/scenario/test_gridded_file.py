"""Forecasts in NetCDF and GRIB2, written by the test from a weather that is known everywhere."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from optimizer.conditions import Conditions
from optimizer.errors import InputError
from optimizer.job.plans import day_of
from optimizer.pacing import Variation, plan_ride, simulate_many
from optimizer.scenario import read_scenario
from optimizer.scenario.gridded_file import is_gridded, read_gridded
from tests.conditions.one_member import member
from tests.report.made_up import made_up_course
from tests.scenario.weather_maker import (
    HOURS,
    LATITUDE,
    LONGITUDE,
    csv,
    grib,
    netcdf,
    weather,
)

xarray = pytest.importorskip("xarray")
pytest.importorskip("netCDF4")
NINE = datetime(2030, 6, 16, 9, tzinfo=UTC)
COURSES = Path(__file__).parents[2] / "courses"


def course():
    bare = made_up_course()
    s = bare.distance / bare.length
    return replace(bare, latitude=46.0 + 0.3 * s, longitude=6.6 + 0.5 * s**2,
                   elevation=np.full(len(s), 400.0))


def expected(found, members=3):
    """The known weather where the conditions were sampled."""
    road = course()
    where = [np.interp(found.wind_distance, road.distance, axis)
             for axis in (road.latitude, road.longitude)]
    return weather(*where, 9.0 + found.wind_time / 3600, members)


def check(found, *, tolerance=1e-6, members=3):
    known = expected(found, members)
    for k in range(members):
        one = member(found, np.eye(members)[k]) if members > 1 else found
        assert one.wind_east == pytest.approx(known["east"][k], abs=tolerance)
        assert one.wind_north == pytest.approx(known["north"][k], abs=tolerance)
        assert one.gust == pytest.approx(known["gust"][k], abs=tolerance)
        assert one.temperature + one.temperature_change == pytest.approx(
            known["temperature"][k], abs=tolerance)
    start = 3  # nine o'clock
    assert found.humidity == pytest.approx(known["humidity"][:, start, 0].mean(), abs=tolerance)


BEFORE = Conditions(reference_elevation=400.0)


def test_netcdf(tmp_path):
    path = netcdf(tmp_path / "a.nc")
    assert is_gridded(path)
    found, notes = read_gridded([path], NINE, BEFORE, course())
    check(found)
    assert found.start_time == NINE
    assert found.wind_time.tolist() == (3600.0 * (HOURS - 9)).tolist()
    assert any("3 members" in words for words in notes)
    assert not any("no gusts" in words for words in notes)
    # 400 m take away about 47 hPa (12 Pa a metre at sea level, ISO 2533).
    assert found.pressure == pytest.approx(101_600 - 4700, abs=60)


def test_grib(tmp_path):
    pytest.importorskip("cfgrib")
    path = grib(tmp_path / "a.grib2")
    assert is_gridded(path)
    found, _ = read_gridded([path], NINE, BEFORE, course())
    check(found, tolerance=2e-5)  # 24 bits a value


def test_one_member_is_a_single_forecast(tmp_path):
    pytest.importorskip("cfgrib")
    for path in (netcdf(tmp_path / "a.nc", members=1), grib(tmp_path / "a.grib2", members=1)):
        found, _ = read_gridded([path], NINE, BEFORE, course())
        assert found.members is None
        check(found, tolerance=2e-5, members=1)


def test_axes_in_any_order_and_longitudes_to_360(tmp_path):
    east_of_greenwich = netcdf(tmp_path / "a.nc", latitude=LATITUDE[::-1],
                               longitude=LONGITUDE + 360.0,
                               change=lambda d: d.transpose("longitude", "time", "latitude",
                                                            "realization"))
    check(read_gridded([east_of_greenwich], NINE, BEFORE, course())[0])


def test_other_units_and_names(tmp_path):
    def change(data):
        data = data.rename({"realization": "number", "u10": "U"})
        data["v10"] = data.v10 * 3.6
        data["v10"].attrs = {"standard_name": "northward_wind", "units": "km/h"}
        data["t2m"] = data.t2m - 273.15
        data["t2m"].attrs = {"units": "degC"}
        data["r2"] = data.r2 * 100
        data["r2"].attrs = {"units": "%"}
        return data

    check(read_gridded([netcdf(tmp_path / "a.nc", change=change)], NINE, BEFORE, course())[0])


def test_dew_point_gives_humidity(tmp_path):
    """20 °C with a dew point of 9.3 °C is 50 % (handbook tables of moist air, from memory)."""
    def change(data):
        data["t2m"][:] = 293.15
        data["d2m"] = data.t2m - 10.7
        data["d2m"].attrs = {"units": "K", "standard_name": "dew_point_temperature"}
        return data.drop_vars("r2")

    found, _ = read_gridded([netcdf(tmp_path / "a.nc", change=change)], NINE, BEFORE, course())
    assert found.humidity == pytest.approx(0.50, abs=0.005)


def test_a_grid_of_a_map_projection_with_winds_along_it(tmp_path):
    """Lambert conformal, winds along x and y; the angle to north is PROJ's meridian convergence."""
    pyproj = pytest.importorskip("pyproj")
    zone = pyproj.Proj("+proj=lcc +lat_1=44 +lat_2=49 +lat_0=46 +lon_0=2 +ellps=WGS84")
    x0, y0 = zone(7.0, 46.1)
    x, y = np.meshgrid(x0 + 4000.0 * np.arange(-20, 21), y0 + 4000.0 * np.arange(-14, 15))
    longitude, latitude = zone(x, y, inverse=True)
    fields = weather(latitude, longitude, HOURS)
    angle = np.radians(zone.get_factors(longitude, latitude).meridian_convergence)
    # Convergence is the angle from true to grid north, clockwise positive; the grid's x axis then
    # lies that much clockwise from east.
    east, north = fields["east"], fields["north"]
    dims = ("realization", "time", "y", "x")
    data = xarray.Dataset(
        {"u": (dims, east * np.cos(angle) - north * np.sin(angle),
               {"standard_name": "x_wind", "units": "m/s"}),
         "v": (dims, east * np.sin(angle) + north * np.cos(angle),
               {"standard_name": "y_wind", "units": "m/s"})},
        coords={"time": np.datetime64("2030-06-16") + HOURS * np.timedelta64(1, "h"),
                "lat": (("y", "x"), latitude), "lon": (("y", "x"), longitude)})
    data.to_netcdf(tmp_path / "lcc.nc", engine="netcdf4")
    found, notes = read_gridded([tmp_path / "lcc.nc"], NINE, BEFORE, course())
    known = expected(found)
    for k in range(3):
        one = member(found, np.eye(3)[k])
        assert one.wind_east == pytest.approx(known["east"][k], abs=0.01)
        assert one.wind_north == pytest.approx(known["north"][k], abs=0.01)
    assert abs(np.degrees(angle)).min() > 2.0
    for words in ("no gusts", "no temperature", "no humidity", "no pressure"):
        assert any(words in note for note in notes)


def test_the_ground_of_the_model_brings_the_air_to_the_course(tmp_path):
    """2 m temperature of a model whose ground lies 500 m higher: 3.25 K colder (ISO 2533)."""
    def change(data):
        data["sp"] = xarray.full_like(data.t2m, 90_000.0)
        data["sp"].attrs = {"standard_name": "surface_air_pressure", "units": "Pa"}
        data["orog"] = (("latitude", "longitude"), np.full((len(LATITUDE), len(LONGITUDE)), 900.0),
                        {"standard_name": "surface_altitude", "units": "m"})
        return data

    found, notes = read_gridded([netcdf(tmp_path / "a.nc", change=change)], NINE, BEFORE, course())
    known = expected(found)["temperature"].mean(axis=0)
    assert found.temperature + found.temperature_change == pytest.approx(known + 3.25)
    assert found.pressure == pytest.approx(90_000 * 1.061, rel=0.002)
    assert not any("height of its ground" in words for words in notes)


def test_members_and_quantities_from_several_files(tmp_path):
    wind = netcdf(tmp_path / "wind.nc", leave_out=("temperature", "gust"))
    air = netcdf(tmp_path / "air.nc", leave_out=("east", "north", "humidity",
                                                 "sea_level_pressure"))
    check(read_gridded([wind, air], NINE, BEFORE, course())[0])
    first, rest = (netcdf(tmp_path / f"{k}.nc", change=lambda d, k=k: d.isel(
        realization=slice(*k))) for k in ((0, 1), (1, 3)))
    check(read_gridded([first, rest], NINE, BEFORE, course())[0])


def test_the_same_wind_gives_the_same_plan_from_table_netcdf_and_grib(tmp_path):
    """To a hundredth of a second, and so does its range."""
    pytest.importorskip("cfgrib")
    text = (COURSES / "quern-pass" / "scenario.toml").read_text(encoding="utf-8")
    for name in ("course.gpx", "rider.toml", "kit.csv", "evidence.csv"):
        (tmp_path / name).write_bytes((COURSES / "quern-pass" / name).read_bytes())
    lines = [line for line in text.splitlines() if not line.startswith(("wind", "start_time"))]
    head = lines.index("[conditions]")
    read = {}

    def job(kind, forecast):
        lines[head] = (f'[conditions]\nstart_time = 2030-06-16T11:30:00+02:00\n'
                       f'forecast = "{forecast.name}"')
        (tmp_path / "scenario.toml").write_text("\n".join(lines), encoding="utf-8")
        read[kind] = read_scenario(tmp_path / "scenario.toml")

    track = read_scenario(COURSES / "quern-pass" / "scenario.toml").course
    # In quarters of a degree, which GRIB writes without rounding.
    centre = tuple(float(round(4 * np.mean(axis)) / 4) for axis in (
        track.latitude, track.longitude))
    job("netcdf", netcdf(tmp_path / "f.nc", latitude=LATITUDE + centre[0] - 46.0,
                         longitude=LONGITUDE + centre[1] - 7.0, centre=centre))
    job("grib", grib(tmp_path / "f.grib2", centre=centre))
    at = read["netcdf"].conditions.wind_distance
    job("table", csv(tmp_path / "f.csv", at, *(np.interp(at, track.distance, axis) for axis in (
        track.latitude, track.longitude)), centre=centre))
    plans = {kind: plan_ride(day_of(replace(task, options=replace(task.options, step=100.0))),
                             task.baseline) for kind, task in read.items()}
    times = {kind: plan.finish_time for kind, plan in plans.items()}
    assert times["netcdf"] == pytest.approx(times["table"], abs=0.01)
    assert times["grib"] == pytest.approx(times["table"], abs=0.01)
    ends = []
    for plan in plans.values():
        p = plan.problem
        ends.append(simulate_many(p, plan.power[:, None], Variation(
            headwind=(p.headwind + p.departures.headwind).T,
            crosswind=(p.crosswind + p.departures.crosswind).T)).finish_time)
    assert ends[1] == pytest.approx(ends[0], abs=0.01)
    assert ends[2] == pytest.approx(ends[0], abs=0.01)
    assert np.ptp(ends[0]) > 5.0
    assert any("3 members" in words for words in read["grib"].assumptions)


# --- refusals ---------------------------------------------------------------------------


def test_a_race_outside_the_file_is_refused_in_words(tmp_path):
    path = netcdf(tmp_path / "a.nc")
    far = replace(course(), latitude=course().latitude + 5.0)
    with pytest.raises(InputError, match=r"the course lies at 51\.00 to 51\.30"):
        read_gridded([path], NINE, BEFORE, far)
    with pytest.raises(InputError, match="is not in it"):
        read_gridded([path], NINE.replace(day=20), BEFORE, course())
    with pytest.raises(InputError, match="names no zone"):
        read_gridded([path], NINE.replace(tzinfo=None), BEFORE, course())
    with pytest.raises(InputError, match="no positions"):
        read_gridded([path], NINE, BEFORE, made_up_course()
                     if not made_up_course().latitude.any() else replace(
                         course(), latitude=np.zeros(len(course().latitude)),
                         longitude=np.zeros(len(course().latitude))))


@pytest.mark.parametrize(("change", "words"), [
    (lambda d: d.drop_vars("v10"), "no wind towards the north"),
    (lambda d: d.assign(u10=d.u10.assign_attrs(units="furlongs")), "has the unit"),
    (lambda d: d.isel(latitude=0, longitude=0), "no latitudes|not all of it"),
    (lambda d: d.where(d.latitude > 46.1), "not all of it"),
    (lambda d: d.expand_dims(isle=2), "not known"),
    (lambda d: d.drop_vars(list(d.data_vars)), "none of the quantities"),
    (lambda d: d.rename(time="when").drop_vars("when"), "has no times")])
def test_files_that_lack_something(tmp_path, change, words):
    with pytest.raises(InputError, match=words):
        read_gridded([netcdf(tmp_path / "a.nc", change=change)], NINE, BEFORE, course())


def test_files_that_are_none_or_cut_short(tmp_path):
    pytest.importorskip("cfgrib")
    (tmp_path / "text.nc").write_text("hello, I am text")
    assert not is_gridded(tmp_path / "text.nc")
    with pytest.raises(InputError, match="neither NetCDF nor GRIB"):
        read_gridded([tmp_path / "text.nc"], NINE, BEFORE, course())
    for path in (netcdf(tmp_path / "a.nc"), grib(tmp_path / "a.grib2", members=1)):
        whole = path.read_bytes()
        path.write_bytes(whole[:len(whole) // 3])
        with pytest.raises(InputError):
            read_gridded([path], NINE, BEFORE, course())
