"""Efforts from tables and rides."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import openpyxl
import pytest

from optimizer.errors import InputError, InputErrors
from optimizer.scenario.power_file import read_efforts, read_power_files, read_rides

RIDES = Path(__file__).parents[3] / "shared" / "rides"


def _write(tmp_path, text, name="efforts.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_table_in_minutes_or_seconds(tmp_path):
    found = read_power_files([_write(tmp_path, "minutes,seconds,power_w\n20,,300\n,180,390\n")])
    np.testing.assert_allclose(found.duration, [180.0, 1200.0])
    np.testing.assert_allclose(found.power, [390.0, 300.0])
    assert found.source == ("efforts.csv, row 3", "efforts.csv, row 2")
    assert not found.overlapping


def test_a_spreadsheets_habits(tmp_path):
    path = tmp_path / "efforts.csv"
    path.write_bytes("\ufeffMinutes;Power W;Note;;\r\n2,5;410,5;hill;;\r\n;;;;\r\n20;310;;;\r\n"
                     .encode())
    found = read_efforts(path)
    np.testing.assert_allclose(found.duration, [150.0, 1200.0])
    np.testing.assert_allclose(found.power, [410.5, 310.0])


@pytest.mark.parametrize(("text", "words"), [
    ("minutes,power_w\n20,nan\n", "row 2, column power_w"),
    ("minutes,power_w\n20,-300\n", "row 2, column power_w"),
    ("minutes,power_w\n20,300\n20,310\n", "row 3, column minutes"),
    ("minutes,seconds,power_w\n20,1200,300\n", "row 2, column minutes"),
    ("minutes,seconds,power_w\n,,300\n", "row 2, column minutes"),
    ("minutes,power_w\n0,300\n", "row 2, column minutes"),
    ("minutes,powerful\n20,300\n", "powerful"), ("power_w\n300\n", "no column .minutes. or"),
    ("duration,power_w\n20,300\n", "has no unit"), ("minutes,power_w\n5:77,300\n", "not a time"),
    ("minutes,power_w\n", "has no efforts"),
])
def test_what_cannot_be_an_effort_is_refused_with_its_row(tmp_path, text, words):
    with pytest.raises(InputError, match=words):
        read_efforts(_write(tmp_path, text))


def _ride(tmp_path, name="ride.csv", power=250.0, seconds=700, headings="elapsed_s,power_w"):
    rows = "\n".join(f"{k},{power if k % 50 else ''}" for k in range(seconds))
    return _write(tmp_path, f"{headings}\n{rows}\n", name)


def test_time_and_power_alone_are_a_ride(tmp_path):
    """Every fiftieth sample is missing and counts as no power."""
    found = read_power_files([_ride(tmp_path)])
    assert found.overlapping
    at = list(found.duration).index(480.0)
    assert found.power[at] == pytest.approx(250.0 * 0.98, rel=2e-3)


def test_the_better_ride_counts(tmp_path):
    found = read_power_files([_ride(tmp_path, "a.csv", 220.0), _ride(tmp_path, "b.csv", 280.0)])
    assert set(found.source) == {"b.csv"}


def test_a_ride_without_power_is_refused(tmp_path):
    path = _write(tmp_path, "elapsed_s,speed_mps\n" + "\n".join(f"{k},9" for k in range(60)))
    with pytest.raises(InputError, match="has no power"):
        read_rides([path])


def test_a_table_among_rides_is_refused(tmp_path):
    table = _write(tmp_path, "minutes,power_w\n20,300\n")
    with pytest.raises(InputError, match="table of efforts among rides"):
        read_power_files([_ride(tmp_path), table])


@pytest.mark.skipif(not RIDES.exists(), reason="the recorded ride lies beside the repository")
def test_one_recorded_ride_is_the_same_as_csv_and_gpx():
    """One recorded ride, test data of python-fitparse (MIT): regression of its best powers."""
    from_csv = read_rides([RIDES / "road_ride_40km.csv"])
    from_gpx = read_rides([RIDES / "road_ride_40km.gpx"])
    np.testing.assert_allclose(from_csv.power, from_gpx.power, rtol=1e-9)
    best = dict(zip(from_csv.duration, from_csv.power, strict=True))
    assert best[300.0] == pytest.approx(340.56, abs=0.01)
    assert best[3600.0] == pytest.approx(288.71, abs=0.01)
    # the ride's own note: mean 279.7 W over 4,543 s
    assert best[3600.0] > 279.7


def test_durations_as_people_type_them(tmp_path):
    found = read_power_files([_write(tmp_path, (
        "Best efforts 2031\n\nDuration,Power (W),Notes\n5 min,~352 W,hill\n20:00,305,\n"
        "0:08:00,330,\n1 h,281,\n3600.5 s,280,\n"))])
    np.testing.assert_allclose(found.duration, [300.0, 480.0, 1200.0, 3600.0, 3600.5])
    np.testing.assert_allclose(found.power, [352.0, 330.0, 305.0, 281.0, 280.0])
    assert any('"20:00" are read as 20 min' in note for note in found.notes)
    assert any('"~352 W" read without "~"' in note for note in found.notes)
    in_minutes = read_efforts(_write(tmp_path, "minutes,power_w\n5 min,352\n300 s,1\n4,370\n"
                                     .replace("300 s,1\n", "")))
    np.testing.assert_allclose(in_minutes.duration, [240.0, 300.0])


def test_all_that_is_wrong_with_efforts_is_said_at_once(tmp_path):
    with pytest.raises(InputErrors, match="3 mistakes") as caught:
        read_efforts(_write(tmp_path, "minutes,power_w\n5,lots\nlong,300\n20,305\n20,300\n"))
    said = str(caught.value)
    assert "a right row: 20,305" in said
    assert all(f"row {k}" in said for k in (2, 3, 5))


@pytest.mark.parametrize("sheet", ["", "#Clean"])
def test_a_sheet_of_efforts_is_a_table(tmp_path, sheet):
    book = openpyxl.Workbook()
    book.active.title = "Clean"
    for row in (("minutes", "power_w"), (4, 352), (dt.time(0, 20), 305)):
        book.active.append(row)
    book.save(tmp_path / "club.xlsx")
    found = read_power_files([f"{tmp_path / 'club.xlsx'}{sheet}"])
    np.testing.assert_allclose(found.duration, [240.0, 1200.0])
