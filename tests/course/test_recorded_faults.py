"""Faults of courses made from rides, said as large as they are."""

from __future__ import annotations

import re

import numpy as np
import pytest

from optimizer.course import read_course


def _course(tmp_path, x, y, h):
    """Read a track of points at local metres x (east), y (north) with heights."""
    lat, lon = 47.0 + np.asarray(y) / 111_200.0, 8.0 + np.asarray(x) / (
        111_320.0 * np.cos(np.radians(47.0)))
    body = "".join(f'<trkpt lat="{a:.7f}" lon="{b:.7f}"><ele>{c:.2f}</ele></trkpt>'
                   for a, b, c in zip(lat, lon, h, strict=True))
    path = tmp_path / "course.gpx"
    path.write_text('<?xml version="1.0"?><gpx version="1.1" creator="made" '
                    f'xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{body}</trkseg></trk>'
                    "</gpx>", encoding="utf-8")
    return read_course(path)


ALONG = np.arange(0.0, 20_000.0, 10.0)
HILLS = 100.0 + 20.0 * np.sin(2 * np.pi * ALONG / 5000.0)


@pytest.mark.parametrize("size", [60.0, 168.0])
def test_a_wall_is_said_as_high_as_it_is(tmp_path, size):
    found = _course(tmp_path, ALONG, 0 * ALONG, HILLS + size * (ALONG >= 10_000.0))
    (said,) = re.findall(r"jump by (\d+) m", " ".join(found.warnings))
    assert float(said) == pytest.approx(size, abs=4.0)


def test_one_ramp_is_no_staircase(tmp_path):
    """Flat, a ramp of 400 m of way, flat: once steps of 8 m and a jump of 2,814 m."""
    height = 100.0 + np.clip((ALONG - 10_000.0) * 0.05, 0.0, 20.0)
    found = _course(tmp_path, ALONG, 0 * ALONG, height)
    assert not any("steps" in c.what for c in found.corrections)
    assert found.warnings == ()
    rise = found.elevation.max() - found.elevation.min()
    assert rise == pytest.approx(20.0, abs=1.0)


def test_a_steep_ramp_is_said_no_higher_than_it_is(tmp_path):
    height = 100.0 + np.clip((ALONG - 10_000.0) * 0.8, 0.0, 152.0)
    found = _course(tmp_path, ALONG, 0 * ALONG, height)
    (said,) = re.findall(r"jump by (\d+) m", " ".join(found.warnings))
    assert float(said) == pytest.approx(152.0, abs=4.0)
    assert not any("come in steps" in warning for warning in found.warnings)


def test_a_tangle_at_a_stop_is_no_corner(tmp_path):
    """Two turns of 10 m round the place of a stop."""
    turn = np.linspace(0.0, 4.0 * np.pi, 60)
    x = np.concatenate([np.arange(0.0, 3000.0, 8.0), 3000.0 + 10.0 * np.sin(turn),
                        np.arange(3008.0, 6000.0, 8.0)])
    y = np.concatenate([np.zeros(375), 10.0 - 10.0 * np.cos(turn), np.zeros(len(x) - 435)])
    found = _course(tmp_path, x, y, 100.0 + np.sin(x / 300.0) * 10.0)
    assert all(abs(np.degrees(corner.turn)) < 400.0 for corner in found.corners)
    assert any("winds around itself" in warning and "km 3." in warning
               for warning in found.warnings)


def test_one_gap_is_one_gap(tmp_path):
    keep = (ALONG < 8000.0) | (ALONG > 9500.0)
    found = _course(tmp_path, ALONG[keep], 0 * ALONG[keep], HILLS[keep])
    (said,) = [warning for warning in found.warnings if "not known" in warning]
    assert "pairs" not in said
    assert "From km 8.0 on 1.5 km of straight line" in said
