"""When the ride starts, against what the forecast covers."""

from __future__ import annotations

from datetime import datetime

import pytest

from optimizer.errors import InputError
from optimizer.scenario.scenario import read_scenario
from optimizer.scenario.starter import write_starter

HOURS = "time,wind_kmh,wind_from_deg,cloud\n" + "".join(
    f"2030-06-16T{hour:02d}:00,{hour},250,half\n" for hour in range(8, 14))


@pytest.fixture
def race(tmp_path):
    path = write_starter(tmp_path / "race")
    path.with_name("forecast.csv").write_text(HOURS)

    def write(start="", more=""):
        text = path.read_text(encoding="utf-8").split("\n")
        text = [line for line in text
                if not line.startswith(("wind =", "start_time", "extra", "forecast ="))]
        at = text.index("[conditions]") + 1
        new = ['forecast = "forecast.csv"', *([f"start_time = {start}"] if start else []),
               *([more] if more else [])]
        path.write_text("\n".join([*text[:at], *new, *text[at:]]), encoding="utf-8")
        return path

    return write


@pytest.mark.parametrize("start", ["2030-06-16T07:59:00", "2030-06-16T13:01:00",
                                   "2030-06-17T09:00:00"])
def test_a_start_outside_of_the_forecast_is_refused(race, start):
    with pytest.raises(InputError, match="is not in it") as caught:
        read_scenario(race(start))
    assert caught.value.exit_code == 2
    assert "runs from 2030-06-16 08:00 to 2030-06-16 13:00" in str(caught.value)
    assert ("extrapolate = true" in str(caught.value)) == ("-16T" in start)


@pytest.mark.parametrize("start", ["2030-06-16T06:30:00", "2030-06-16T14:30:00"])
def test_it_is_extrapolated_with_a_warning_if_asked(race, start):
    job = read_scenario(race(start, "extrapolate = true"))
    assert job.conditions.start_time == datetime.fromisoformat(start)
    [warning] = [note for note in job.notes if "outside of the forecast" in note]
    assert "08:00 to 13:00" in warning
    assert warning in job.assumptions


def test_another_day_is_refused_even_if_asked(race):
    with pytest.raises(InputError, match="is not in it"):
        read_scenario(race("2030-06-18T09:00:00", "extrapolate = true"))


def test_no_start_with_an_hourly_forecast_is_an_assumption(race):
    job = read_scenario(race())
    assert "a start with the forecast, at 08:00: no start_time is given" in job.assumptions


def test_a_start_within_says_nothing_but_of_an_early_end(race):
    said = read_scenario(race("2030-06-16T09:00:00")).notes
    assert not any("start" in note or "ends" in note for note in said)
    assert any("not used: the column cloud" in note for note in said)
    late = read_scenario(race("2030-06-16T12:59:00")).notes
    assert any("the forecast ends at 13:00, perhaps before the ride" in note for note in late)
