"""Recorded rides from CSV and GPX, and what is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from optimizer.errors import InputError
from optimizer.scenario.ride_file import read_ride

SHARED = Path(__file__).parents[3] / "shared" / "rides"


def _csv(tmp_path, head, rows, name="ride.csv"):
    path = tmp_path / name
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def _steady(n=60):
    return [f"{k},{10 * k},10.0,{200 + k % 3},{100 + 0.01 * k:.2f}" for k in range(n)]


HEAD = "elapsed_s,distance_m,speed_mps,power_w,elevation_m"


def test_a_plain_csv(tmp_path):
    ride = read_ride(_csv(tmp_path, HEAD, _steady()))
    assert ride.length == pytest.approx(590.0)
    assert ride.duration == 59.0
    assert ride.has_power
    assert ride.has_elevation
    assert not ride.has_position


def test_kilometres_an_hour_and_decimal_commas(tmp_path):
    rows = [f"{k};36,0;200" for k in range(60)]
    ride = read_ride(_csv(tmp_path, "elapsed_s;speed_kmh;power_w", rows))
    assert np.allclose(ride.speed, 10.0)
    assert ride.length == pytest.approx(590.0)
    assert any(c.what == "distance" and "speed" in c.effect for c in ride.corrections)


def test_times_of_day_with_zones(tmp_path):
    rows = [f"2024-05-01T09:00:{k:02d}+02:00,10,200" for k in range(60)]
    ride = read_ride(_csv(tmp_path, "time,speed_mps,power_w", rows))
    assert ride.duration == 59.0
    assert ride.start.utcoffset().total_seconds() == 7200.0


def test_missing_power_stays_missing_and_a_missing_height_is_bridged(tmp_path):
    rows = _steady()
    rows[20] = "20,200,10.0,,"
    ride = read_ride(_csv(tmp_path, HEAD, rows))
    assert np.isnan(ride.power[20])
    assert np.isfinite(ride.power[19])
    assert ride.elevation[20] == pytest.approx(100.2, abs=0.011)


def test_doubled_samples_are_left_out_and_counted(tmp_path):
    rows = _steady()
    ride = read_ride(_csv(tmp_path, HEAD, [*rows[:30], rows[29], *rows[30:]]))
    assert len(ride.time) == 60
    assert any("time of the one before" in c.what and c.count == 1 for c in ride.corrections)


@pytest.mark.parametrize(("change", "where"), [
    (lambda rows: [*rows[:30], rows[10], *rows[30:]], "row 32"),
    (lambda rows: [*rows[:30], "30,300,99.0,200,100", *rows[31:]], "row 32, column speed_mps"),
    (lambda rows: [*rows[:30], "30,300,10.0,nan,100", *rows[31:]], "row 32, column power_w"),
    (lambda rows: [*rows[:30], ",300,10.0,200,100", *rows[31:]], "row 32, column elapsed_s"),
    (lambda rows: [*rows[:30], "30,100,10.0,200,100", *rows[31:]], "sample 31"),
    (lambda rows: rows[:5], "")])
def test_what_cannot_be_a_ride_is_refused_with_its_place(tmp_path, change, where):
    with pytest.raises(InputError) as caught:
        read_ride(_csv(tmp_path, HEAD, change(_steady())))
    assert caught.value.where == where


def _gpx(tmp_path, body, name="ride.gpx", head=""):
    path = tmp_path / name
    path.write_text(f'<?xml version="1.0"?>{head}<gpx version="1.1" creator="x" '
                    'xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
                    f"{body}</trkseg></trk></gpx>", encoding="utf-8")
    return path


def _point(k, power="200"):
    extensions = f"<extensions><power>{power}</power></extensions>" if power else ""
    return (f'<trkpt lat="{47 + 1e-4 * k:.6f}" lon="8"><ele>100</ele>'
            f"<time>2024-05-01T09:{k // 60:02d}:{k % 60:02d}Z</time>{extensions}</trkpt>")


def test_gpx_with_power_in_its_extensions(tmp_path):
    ride = read_ride(_gpx(tmp_path, "".join(_point(k) for k in range(80))))
    assert np.all(ride.power == 200.0)
    # A degree of latitude at 47 degrees is 111.17 km (WGS84, from memory to four digits).
    assert ride.length == pytest.approx(79 * 1e-4 * 111_170, rel=1e-3)


def test_gpx_with_a_document_type_is_refused(tmp_path):
    evil = '<!DOCTYPE gpx [<!ENTITY a "aaaa">]>'
    with pytest.raises(InputError):
        read_ride(_gpx(tmp_path, "".join(_point(k) for k in range(80)), head=evil))


def test_gpx_points_without_time_are_refused(tmp_path):
    body = "".join(f'<trkpt lat="47.{k:04d}" lon="8"/>' for k in range(80))
    with pytest.raises(InputError, match="track point 1"):
        read_ride(_gpx(tmp_path, body))


@pytest.mark.skipif(not SHARED.is_dir(), reason="no shared rides beside the repository")
def test_one_recorded_ride_by_both_files():
    """One recorded ride, test data of python-fitparse (MIT); figures computed from it."""
    by_csv, by_gpx = (read_ride(SHARED / f"road_ride_40km.{kind}") for kind in ("csv", "gpx"))
    assert by_csv.length == pytest.approx(40_127.6, abs=0.1)
    # The points' own length is 40,226.7 m; what they wander while the rider stands is no way.
    wandered = next(c for c in by_gpx.corrections if "wandering" in c.what)
    off = float(wandered.effect.split()[0])
    assert 1.0 < off < 10.0
    assert by_gpx.length + off == pytest.approx(40_226.7, abs=0.6)
    assert np.mean(by_csv.power) == pytest.approx(279.7, abs=0.1)
    assert np.mean(by_csv.power**4)**0.25 == pytest.approx(320.1, abs=5.0)
    assert np.array_equal(by_csv.power, by_gpx.power)
