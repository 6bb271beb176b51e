"""Drawn roads for tests: a line on a plane, put on the ellipsoid and written as GPX."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from geographiclib.geodesic import Geodesic

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["arc_road", "gpx_text", "on_ellipsoid", "straight", "write_road"]

ORIGIN = (46.0, 7.0)


def straight(length: float, spacing: float = 10.0, heading: float = 0.7):
    """East and north [m] of a straight road."""
    s = np.linspace(0.0, length, round(length / spacing) + 1)
    return s * np.sin(heading), s * np.cos(heading)


def arc_road(radius: float, turn_deg: float, spacing: float = 4.0, lead: float = 200.0):
    """East and north [m] of a straight, an arc to the right (or left), and a straight."""
    turn = np.radians(turn_deg)
    fine = 0.5
    bend = np.concatenate([np.zeros(round(lead / fine)),
                           np.full(round(radius * abs(turn) / fine), np.sign(turn) / radius),
                           np.zeros(round(lead / fine))])
    heading = np.cumsum(bend) * fine
    east = np.concatenate([[0.0], np.cumsum(np.sin(heading) * fine)])
    north = np.concatenate([[0.0], np.cumsum(np.cos(heading) * fine)])
    every = round(spacing / fine)
    return east[::every], north[::every]


def on_ellipsoid(east, north, origin=ORIGIN):
    """Latitude and longitude of points on a plane, by geodesics from its origin."""
    rows = [Geodesic.WGS84.Direct(*origin, float(np.degrees(np.arctan2(x, y))),
                                  float(np.hypot(x, y)))
            for x, y in zip(east, north, strict=True)]
    return np.array([r["lat2"] for r in rows]), np.array([r["lon2"] for r in rows])


def gpx_text(latitude, longitude, elevation=None, *, times=None, name="Drawn", places=(),
             segments=()) -> str:
    """GPX 1.1; `segments` are indices at which a new one begins, `times` seconds."""
    rows = []
    for k, (a, b) in enumerate(zip(latitude, longitude, strict=True)):
        if k in segments:
            rows.append("</trkseg><trkseg>")
        height = "" if elevation is None or not np.isfinite(elevation[k]) else (
            f"<ele>{elevation[k]:.3f}</ele>")
        when = "" if times is None else (
            f"<time>{np.datetime64(1_600_000_000 + int(times[k]), 's')}Z</time>")
        rows.append(f'<trkpt lat="{a:.9f}" lon="{b:.9f}">{height}{when}</trkpt>')
    points = "".join(f'<wpt lat="{a:.9f}" lon="{b:.9f}"><name>{n}</name></wpt>'
                     for n, a, b in places)
    return ('<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="test" '
            f'xmlns="http://www.topografix.com/GPX/1/1">{points}<trk><name>{name}</name>'
            f'<trkseg>{"".join(rows)}</trkseg></trk></gpx>')


def write_road(path: Path, east, north, elevation=None, **more) -> Path:
    """Write a road drawn on a plane as GPX and give its path."""
    path.write_text(gpx_text(*on_ellipsoid(east, north), elevation, **more), encoding="utf-8")
    return path
