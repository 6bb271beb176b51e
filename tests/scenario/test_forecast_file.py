from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from optimizer.conditions import Conditions
from optimizer.errors import InputError
from optimizer.scenario.forecast_file import read_forecast

NINE = datetime(2030, 6, 16, 9)  # noqa: DTZ001 - local time, as people write it


def table(tmp_path, *rows, head="time,place_km,wind_kmh,wind_from_deg"):
    path = tmp_path / "forecast.csv"
    path.write_text("\n".join([head, *rows]), encoding="utf-8")
    return path


def test_a_table_by_hour_and_place(tmp_path):
    path = table(tmp_path, "09:00,0,36,270", "10:00,0,18,180", "09:00,20,0,0", "10:00,20,36,90")
    weather = read_forecast(path, NINE, Conditions(temperature=280.0))
    assert weather.wind_time.tolist() == [0.0, 3600.0]
    assert weather.wind_distance.tolist() == [0.0, 20_000.0]
    assert weather.wind_east == pytest.approx(np.array([[10.0, 0.0], [0.0, -10.0]]), abs=1e-9)
    assert weather.wind_north == pytest.approx(np.array([[0.0, 0.0], [5.0, 0.0]]), abs=1e-9)
    assert weather.temperature == 280.0
    assert weather.start_time == NINE


def test_one_row_is_a_constant_wind(tmp_path):
    path = table(tmp_path, "2030-06-16T09:00,5,NNE", head="time,wind_mps,wind_from_deg")
    weather = read_forecast(path, None, Conditions())
    assert weather.wind_speed.tolist() == [[pytest.approx(5.0)]]
    assert np.degrees(np.arctan2(-weather.wind_east, -weather.wind_north))[0, 0] == pytest.approx(
        22.5)
    assert weather.start_time == NINE


def test_a_forecast_without_a_known_speed_names_the_heading_that_it_has(tmp_path):
    path = table(tmp_path, "09:00,20,250", head="time,wind_speed_kmh,wind_from_deg")
    with pytest.raises(InputError) as caught:
        read_forecast(path, NINE, Conditions(), [])
    assert caught.value.problem == ("there is no column wind_kmh or wind_mps; not used: the column "
                                    "wind_speed_kmh")


def test_spreadsheet_habits(tmp_path):
    path = tmp_path / "forecast.csv"
    path.write_bytes("\ufeffTime;Wind kmh;Wind from deg;Gust kmh;;\r\n9:00;12,5;sw;36;;\r\n"
                     "10:00;15,5;W;;;\r\n;;;;;\r\n".encode())
    weather = read_forecast(path, NINE, Conditions())
    assert 3.6 * weather.wind_speed[:, 0] == pytest.approx([12.5, 15.5])
    assert weather.gust[:, 0] == pytest.approx([10.0, 0.0])


def test_air_of_the_start_and_its_change(tmp_path):
    path = table(tmp_path, "08:00,10,0,10,80,1013.25", "10:00,10,0,20,60,1009.25",
                 head="time,wind_kmh,wind_from_deg,temperature_c,humidity_percent,"
                      "sea_level_pressure_hpa")
    weather = read_forecast(path, NINE, Conditions(reference_elevation=500.0))
    assert weather.temperature == pytest.approx(288.15)
    assert weather.temperature_change[:, 0].tolist() == [-5.0, 5.0]
    assert weather.humidity == pytest.approx(0.7)
    # 500 m take away about 58 hPa: 12 Pa a metre at sea level, a little less above it.
    assert weather.pressure == pytest.approx(101_125.0 - 5830.0, abs=150.0)


def test_station_pressure_is_taken_as_it_is(tmp_path):
    path = table(tmp_path, "09:00,10,0,950", head="time,wind_kmh,wind_from_deg,pressure_hpa")
    weather = read_forecast(path, NINE, Conditions(reference_elevation=500.0))
    assert weather.pressure == pytest.approx(95_000.0)


@pytest.mark.parametrize(("rows", "problem", "where"), [
    (["09:00,0,10,0", "09:00,0,12,0"], "appears twice", "row 3, column time"),
    (["09:00,0,10,0", "10:00,5,12,0"], "no row for", ""),
    (["noon,0,10,0"], "not a time", "row 2, column time"),
    (["25:00,0,10,0"], "not a time of day", "row 2, column time"),
    (["2030-06-16,0,10,0"], "without an hour", "row 2, column time"),
    (["09:00,0,-5,0"], "out of range", "row 2, column wind_kmh"),
    (["09:00,0,400,0"], "out of range", "row 2, column wind_kmh"),
    (["09:00,0,nan,0"], "not a number", "row 2, column wind_kmh"),
    (["09:00,0,10,370"], "out of range", "row 2, column wind_from_deg"),
    (["09:00,0,10,uphill"], "not a number", "row 2, column wind_from_deg"),
    (["09:00,0,,0"], "needs either", "row 2, column wind_kmh"),
    (["2030-06-20T09:00,0,10,0"], "is not in it", ""),
    (["2030-06-16T09:00Z,0,10,0"], "name their zone", "row 2, column time"),
    ([], "0 rows", "")])
def test_refusals(tmp_path, rows, problem, where):
    with pytest.raises(InputError, match=problem) as caught:
        read_forecast(table(tmp_path, *rows), NINE, Conditions())
    assert caught.value.where == where


def test_hours_without_a_day_need_the_day_of_the_start(tmp_path):
    with pytest.raises(InputError, match="names no day"):
        read_forecast(table(tmp_path, "09:00,0,10,0"), None, Conditions())


def test_times_with_a_zone_and_a_start_with_one(tmp_path):
    path = table(tmp_path, "2030-06-16T09:00+02:00,0,10,0", "2030-06-16T10:00+02:00,0,20,0")
    weather = read_forecast(path, datetime(2030, 6, 16, 7, 30, tzinfo=UTC), Conditions())
    assert weather.wind_time.tolist() == [-1800.0, 1800.0]


# --- members ----------------------------------------------------------------------------

MEMBERS = "member,time,place_km,wind_mps,wind_from_deg,temperature_c"


def test_members_are_an_ensemble_about_their_mean(tmp_path):
    path = table(tmp_path, "b,10:00,0,8,270,20", "a,09:00,0,4,270,10", "a,10:00,0,4,270,14",
                 "b,09:00,0,6,270,12", head=MEMBERS)
    weather = read_forecast(path, NINE, Conditions())
    assert weather.wind_east[:, 0] == pytest.approx([5.0, 6.0])
    assert weather.members.east[:, :, 0] == pytest.approx(np.array([[1.0, 2.0], [-1.0, -2.0]]))
    assert weather.temperature == pytest.approx(284.15)
    assert weather.members.temperature[:, :, 0] == pytest.approx(
        np.array([[1.0, 3.0], [-1.0, -3.0]]))


@pytest.mark.parametrize(("rows", "problem"), [
    (["a,09:00,0,4,270,10", ",09:00,0,4,270,10"], "every row names its member"),
    (["a,09:00,0,4,270,10", "b,10:00,0,4,270,10", "a,10:00,0,4,270,10"],
     "no row for 09:00 at 0 km of member b"),
    (["a,09:00,0,4,270,10", "b,09:00,0,4,270,10", "a,09:00,0,5,270,10"], "appears twice")])
def test_members_with_holes_are_refused(tmp_path, rows, problem):
    with pytest.raises(InputError, match=problem):
        read_forecast(table(tmp_path, *rows, head=MEMBERS), NINE, Conditions())


def test_one_member_alone_is_a_single_forecast(tmp_path):
    weather = read_forecast(table(tmp_path, "a,09:00,0,4,270,10", head=MEMBERS), NINE,
                            Conditions())
    assert weather.members is None
