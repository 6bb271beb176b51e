"""Draw the invented terrain of the demo scenarios: the same bytes on every run.

Run `python courses/make_courses.py`. The places lie in the empty South Atlantic; roads, hills
and names are made up, and the noise is that of a barometric altimeter or a terrain model.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

import numpy as np
from geographiclib.geodesic import Geodesic
from scipy.interpolate import PchipInterpolator

from optimizer.files import write_atomic

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

HERE = Path(__file__).parent
STARTER = HERE.parent / "optimizer" / "scenario" / "starter_files"
LANE = 1.8  # m from the middle of the road to the rider's line


@dataclass(frozen=True)
class Road:
    """Middle of a road: metres along it, east and north of its start [m], elevation [m]."""

    along: Array
    east: Array
    north: Array
    elevation: Array


def centre_line(heading_deg: float, pieces: list[tuple[float, float, float]], *,
                spacing: float = 1.0, winding_deg: float = 0.0) -> tuple[Array, Array, Array]:
    """Lay out straights and curves: each piece is (straight [m], turn [deg], radius [m]).

    Curvature is blurred over some metres, as no road goes from straight to arc at a point;
    `winding_deg` lets the straights swing to either side.
    """
    curvature: list[Array] = []
    for straight, turn_deg, radius in pieces:
        curvature.append(np.zeros(round(straight / spacing)))
        turn = np.radians(turn_deg)
        steps = max(round(abs(turn) * radius / spacing), 1)
        curvature.append(np.full(steps, turn / (steps * spacing)))
    curvature = np.concatenate(curvature)
    kernel = np.hanning(13)[1:-1]
    padded = np.pad(curvature, len(kernel) // 2, mode="edge")
    curvature = np.convolve(padded, kernel / kernel.sum(), mode="valid")
    heading = np.radians(heading_deg) + np.cumsum(curvature) * spacing
    at = np.arange(len(heading)) * spacing
    heading += np.radians(winding_deg) * (0.6 * np.sin(2 * np.pi * at / 1130 + 0.5)
                                          + 0.4 * np.sin(2 * np.pi * at / 690 + 2.0))
    east = np.concatenate([[0.0], np.cumsum(np.sin(heading) * spacing)])
    north = np.concatenate([[0.0], np.cumsum(np.cos(heading) * spacing)])
    return np.arange(len(east)) * spacing, east, north


def closed(along: Array, east: Array, north: Array) -> tuple[Array, Array]:
    """Bend a line evenly so that it ends near where it starts, as long as it was."""
    share = along / along[-1]
    east, north = east - share * (east[-1] - 30.0), north - share * north[-1]
    scale = along[-1] / np.hypot(np.diff(east), np.diff(north)).sum()
    return scale * east, scale * north


def heights(along: Array, knots: list[tuple[float, float]],
            waves: list[tuple[float, float, float]]) -> Array:
    """Elevation through (km, m) knots with waves (length [m], amplitude [m], phase) on it."""
    km, metres = np.array(knots).T
    base = PchipInterpolator(km * 1000.0, metres)(np.clip(along, 0.0, km[-1] * 1000.0))
    return np.asarray(base + sum(a * np.sin(2 * np.pi * along / length + phase)
                                 for length, a, phase in waves))


def beside(road: Road, side: float) -> tuple[Array, Array]:
    """Line at `side` metres to the right of the middle."""
    heading = np.arctan2(np.gradient(road.east), np.gradient(road.north))
    return road.east + side * np.cos(heading), road.north - side * np.sin(heading)


def out_and_back(road: Road, turns: list[float]) -> tuple[Array, Array, Array, Array]:
    """Ride from the start to each chainage in `turns` in turn, doubling back on the spot."""
    right, left = beside(road, -LANE), beside(road, LANE)  # they ride on the left
    parts: list[tuple[Array, Array, Array]] = []
    here = 0.0
    for there in turns:
        ahead = there > here
        line = right if ahead else left
        a, b = round(min(here, there)), round(max(here, there))
        order = slice(a, b + 1) if ahead else slice(b, a - 1 if a else None, -1)
        parts.append((line[0][order], line[1][order], road.elevation[order]))
        if there != turns[-1]:
            parts.append(_u_turn(road, round(there), ahead=ahead))
        here = there
    east, north, up = (np.concatenate(component) for component in zip(*parts, strict=True))
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))])
    return along, east, north, up


def _u_turn(road: Road, k: int, *, ahead: bool) -> tuple[Array, Array, Array]:
    """Swing out and around a cone: two quarters of four metres' radius."""
    heading = float(np.arctan2(road.east[min(k + 1, len(road.east) - 1)] - road.east[k - 1],
                               road.north[min(k + 1, len(road.east) - 1)] - road.north[k - 1]))
    angle = np.linspace(-np.pi / 2, np.pi / 2, 9)[1:-1]
    forward, across = LANE * 1.6 * np.cos(angle), LANE * np.sin(angle)
    if not ahead:
        forward, across = -forward, -across
    east = road.east[k] + forward * np.sin(heading) + across * np.cos(heading)
    north = road.north[k] + forward * np.cos(heading) - across * np.sin(heading)
    return east, north, np.full(len(angle), road.elevation[k])


def drift(rng: np.random.Generator, along: Array, sd: float, length: float) -> Array:
    """Slowly wandering error with standard deviation `sd` that forgets itself over `length`."""
    keep = np.exp(-np.diff(along, prepend=along[0]) / length)
    kicks = rng.normal(size=len(along)) * np.sqrt(1 - keep**2)
    out = np.empty(len(along))
    value = rng.normal()
    for k in range(len(along)):
        value = keep[k] * value + kicks[k]
        out[k] = value
    return sd * out


def write_gpx(path: Path, name: str, line: tuple[Array, Array, Array, Array], *, spacing: float,
              seed: int, origin: tuple[float, float], elevation_digits: int,
              altimeter: tuple[float, float] = (0.0, 0.0), position_sd: float = 0.0,
              places: tuple[tuple[str, float], ...] = ()) -> None:
    """Sample a line about every `spacing` metres, add the recorder's noise, write GPX 1.1."""
    rng = np.random.default_rng(seed)
    along, east, north, up = line
    gaps = spacing * rng.uniform(0.8, 1.2, size=int(along[-1] / spacing * 1.3) + 2)
    at = np.cumsum(gaps) - gaps[0]
    at = np.append(at[at < along[-1] - spacing / 2], along[-1])
    east, north, up = (np.interp(at, along, component) for component in (east, north, up))
    if position_sd:
        east = east + drift(rng, at, position_sd, 400.0) + rng.normal(0, 0.05, len(at))
        north = north + drift(rng, at, position_sd, 400.0) + rng.normal(0, 0.05, len(at))
    slow, fast = altimeter
    up = up + (drift(rng, at, slow, 3000.0) if slow else 0.0) + rng.normal(0, 1, len(at)) * fast
    latitude, longitude = _degrees(origin, east, north)
    root = 'version="1.1" creator="make_courses.py" xmlns="http://www.topografix.com/GPX/1/1"'
    out = ['<?xml version="1.0" encoding="UTF-8"?>', f"<gpx {root}>",
           f"<metadata><name>{escape(name)}</name><desc>Invented terrain</desc></metadata>"]
    for place, metres in places:
        k = int(np.searchsorted(at, metres))
        out.append(f'<wpt lat="{latitude[k]:.6f}" lon="{longitude[k]:.6f}">'
                   f"<name>{escape(place)}</name></wpt>")
    out.append(f"<trk><name>{escape(name)}</name><trkseg>")
    out += [f'<trkpt lat="{a:.6f}" lon="{b:.6f}"><ele>{e:.{elevation_digits}f}</ele></trkpt>'
            for a, b, e in zip(latitude, longitude, up, strict=True)]
    out.append("</trkseg></trk></gpx>\n")
    write_atomic(path, "\n".join(out))
    print(f"{path.parent.name}: {at[-1] / 1000:.2f} km, {len(at)} points")


def _degrees(origin: tuple[float, float], east: Array, north: Array) -> tuple[Array, Array]:
    """Latitude and longitude of points on the plane that touches WGS84 at `origin`."""
    rows = [Geodesic.WGS84.Direct(*origin, float(np.degrees(np.arctan2(x, y))),
                                  float(np.hypot(x, y)))
            for x, y in zip(east, north, strict=True)]
    return np.array([row["lat2"] for row in rows]), np.array([row["lon2"] for row in rows])


def petrel_flats() -> None:
    """40 km: ten kilometres out and back, twice, on an open coast road."""
    along, east, north = centre_line(62.0, [
        (900, 18, 400), (1500, -34, 350), (1300, 25, 260), (1700, 14, 600), (800, -42, 180),
        (1100, 30, 300), (900, -22, 500), (1500, 0, 100)], winding_deg=2.0)
    up = heights(along, [(0, 6), (2.2, 9), (4.1, 27), (5.0, 18), (6.8, 11), (8.6, 31), (10.2, 19),
                         (11.0, 19)], [(1150, 0.9, 0.4), (430, 0.25, 1.1)])
    line = out_and_back(Road(along, east, north, up), [10_000, 0, 10_000, 0])
    write_gpx(HERE / "petrel-flats" / "course.gpx", "Petrel Flats 40", line, spacing=10.0, seed=40,
              origin=(-38.20, -21.60), elevation_digits=1, altimeter=(1.0, 0.15), position_sd=0.8)


def tarn_loop() -> None:
    """90 km of rolling triathlon road in one loop, as an organiser would draw it."""
    along, east, north = centre_line(20.0, [
        (2400, 35, 90), (4100, -28, 220), (3300, 71, 40), (2700, -52, 300), (5200, -21, 150),
        (3600, 88, 18), (2900, -15, 500), (4400, 32, 60), (3800, -33, 200), (4700, 44, 35),
        (2500, 12, 800), (3900, 80, 14), (4200, -56, 120), (3500, 30, 260), (5100, 44, 75),
        (2800, -54, 350), (4300, 57, 50), (3700, 18, 420), (4900, 65, 16), (2600, -37, 180),
        (4300, 29, 90), (3700, 32, 600), (4200, 36, 140), (4200, 0, 100)], winding_deg=7.0)
    east, north = closed(along[:90_001], east[:90_001], north[:90_001])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))])
    up = heights(along, [(0, 42), (6, 68), (11, 55), (17, 140), (21, 118), (25, 96), (31, 214),
                         (35, 330), (39, 262), (45, 150), (50, 176), (55, 120), (61, 205),
                         (66, 160), (71, 232), (76, 140), (82, 88), (87, 60), (90, 42), (92, 42)],
                 [(2600, 7.0, 0.2), (1450, 4.0, 1.3), (760, 1.6, 2.2)])
    write_gpx(HERE / "tarn-loop" / "course.gpx", "Tarn Loop 90", (along, east, north, up),
              spacing=22.5, seed=90, origin=(-37.40, -19.10), elevation_digits=0)


def quern_pass() -> None:
    """20 km over a pass: a climb with hairpins, and a descent that asks for brakes."""
    up_side = [(700, 40, 120), (1100, -65, 60), (900, 170, 16), (650, -165, 14), (800, 172, 15),
               (600, -50, 45), (750, 95, 30), (500, -168, 14), (820, 60, 80)]
    down_side = [(450, -60, 35), (380, 165, 11), (330, -165, 10), (340, 166, 12), (420, -164, 9),
                 (260, 45, 28), (310, 150, 10), (520, -160, 14), (300, 40, 40), (640, -30, 150),
                 (350, 75, 16), (700, -40, 90)]
    run_in = [(1100, 25, 200), (900, -60, 40), (1600, 15, 400), (1300, -20, 300), (2600, 0, 100)]
    along, east, north = centre_line(285.0, up_side + down_side + run_in, winding_deg=3.0)
    up = heights(along, [(0, 310), (1.0, 325), (2.2, 380), (4.0, 505), (5.6, 610), (7.2, 735),
                         (8.2, 788), (8.6, 790), (9.3, 752), (11.0, 640), (12.6, 528), (14.0, 446),
                         (14.8, 425), (16.5, 408), (18.4, 401), (20.0, 396), (21.0, 396)],
                 [(900, 1.3, 0.7), (380, 0.4, 0.1)])
    keep = along <= 20_000
    line = (along[keep], east[keep], north[keep], up[keep])
    write_gpx(HERE / "quern-pass" / "course.gpx", "Quern Pass 20", line, spacing=5.0, seed=20,
              origin=(-39.10, -24.30), elevation_digits=1, altimeter=(1.2, 0.2), position_sd=0.6,
              places=(("Lower Quern bridge", 1000.0), ("First hairpin", 2850.0),
                      ("Quern Pass", 8500.0), ("Slate Mill", 14_800.0)))


def starter() -> None:
    """12 km there and round, for the starter scenario."""
    along, east, north = centre_line(150.0, [
        (1300, 40, 200), (1500, -70, 60), (900, 95, 25), (1200, -30, 150), (1000, 120, 20),
        (1400, 20, 300), (1100, 75, 40), (1600, -25, 200), (2200, 0, 100)], winding_deg=5.0)
    up = heights(along, [(0, 20), (2, 26), (4, 62), (5.2, 41), (7.2, 30), (8.5, 24), (10, 38),
                         (12, 22), (13, 22)], [(1100, 1.4, 0.3)])
    keep = along <= 12_000
    write_gpx(STARTER / "course.gpx", "Windmill and ford", (
        along[keep], east[keep], north[keep], up[keep]), spacing=15.0, seed=12,
        origin=(-37.9, -22.7), elevation_digits=1, altimeter=(0.8, 0.15), position_sd=0.6)


if __name__ == "__main__":
    starter()
    petrel_flats()
    tarn_loop()
    quern_pass()
