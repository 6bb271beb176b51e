"""Finish time from bad heights against the known truth: nothing, moving average, ours.

Run `python tests/benchmarks/course_heights.py [seeds]`. Courses of 40 km are made up (flat,
rolling, hilly; a loop, out and back, one way), spoiled in three ways, written as GPX and read
back; a rider at constant power is simulated on truth and on what was read. The table gives the
root mean square and the worst error of the finish time over seeds. "Known but for drift" is
what remains if everything but the drift were known: one way, nothing in the file tells drift
from road.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import gaussian_filter1d, uniform_filter1d

from optimizer.conditions import Conditions
from optimizer.course import MENDING, Cleaning, Course, read_course
from optimizer.course.geodesy import move
from optimizer.pacing import pacing_problem
from optimizer.pacing.simulate import simulate
from optimizer.physics import Setup, lay_road
from optimizer.rider import Position, Rider

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

LENGTH, FINE = 40_000.0, 2.0
POWER = 250.0  # W
STOPPED = 50.0  # %; on walls that are not there the simulated rider comes to a stop
TERRAIN = {"flat": 0.008, "rolling": 0.025, "hilly": 0.05}  # sd of the grade
RIDER = Rider("constant", 75.0, 300.0, 20e3, 900.0, (Position("aero", 0.25),))
BIKE = Setup("bike", 9.0, 0.004)


def main(seeds: int = 5) -> None:
    """Print the table."""
    print(f"{'terrain':9}{'course':14}{'heights':18}{'nothing':>16}{'average 100 m':>16}"
          f"{'average 200 m':>16}{'ours':>16}{'but for drift':>16}")
    for terrain in TERRAIN:
        for form in ("loop", "out and back", "one way"):
            for kind in ("drift + noise", "5 m steps, 10 m", "5 m steps, 40 m", "90 m model"):
                errors = np.array([case(terrain, form, kind, seed) for seed in range(seeds)])
                cells = [f"{np.sqrt(np.mean(e**2)):7.2f}{np.abs(e).max():7.2f} %"
                         if np.abs(e).max() < STOPPED else f"{'rider stops':>16}"
                         for e in errors.T]
                print(f"{terrain:9}{form:14}{kind:18}{''.join(cells)}", flush=True)


def case(terrain: str, form: str, kind: str, seed: int) -> list[float]:
    """Error of the finish time [%]: nothing, averages of 100 and 200 m, ours, but for drift."""
    rng = np.random.default_rng([seed, *map(ord, terrain[:2] + form[:2])])
    s, z, latitude, longitude = truth(terrain, form, rng)
    spacing = 40.0 if kind.endswith("40 m") else 10.0
    at = np.cumsum(spacing * rng.uniform(0.8, 1.2, int(LENGTH / spacing / 0.8)))
    at = np.concatenate([[0.0], at[at < s[-1] - spacing], [s[-1]]])
    road = np.interp(at, s, z)
    heights, known = spoil(kind, road, at, s, z, rng)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "course.gpx"
        write(file, np.interp(at, s, latitude), np.interp(at, s, longitude), heights)
        raw = read_course(file, cleaning=Cleaning(skip=frozenset(MENDING)))
        ours = read_course(file)

    def error(course: Course, elevation: Array | None = None) -> float:
        found = finish(course if elevation is None else replace(course, elevation=elevation))
        right = finish(replace(course, elevation=np.interp(
            course.distance / course.length * s[-1], s, z)))
        return 100.0 * (found / right - 1.0)

    def averaged(width: float) -> Array:
        return uniform_filter1d(raw.elevation, max(round(width / 10.0), 1), mode="nearest")

    drifted = np.interp(raw.distance, at, np.interp(at, s, z) + known)
    return [error(raw), error(raw, averaged(100.0)), error(raw, averaged(200.0)), error(ours),
            error(raw, drifted)]


def truth(terrain: str, form: str, rng: np.random.Generator) -> tuple[Array, Array, Array, Array]:
    """Distance, height, latitude and longitude of a made-up road every 2 m."""
    half = form == "out and back"
    n = round(LENGTH / FINE / (2 if half else 1))
    grade = sum(share * unit(gaussian_filter1d(rng.standard_normal(n), scale / FINE, mode="wrap"))
                for scale, share in ((60, 0.25), (250, 0.5), (1200, 0.85)))
    grade = TERRAIN[terrain] * unit(grade)
    if form == "loop":
        grade -= grade.mean()
    z = 200.0 + np.concatenate([[0.0], np.cumsum(grade * FINE)])
    wind = 0.15 * unit(gaussian_filter1d(rng.standard_normal(n), 400 / FINE, mode="wrap"))
    heading = wind + (2 * np.pi * np.arange(n) / n if form == "loop" else 0.7)
    step = np.stack([np.sin(heading), np.cos(heading)]) * FINE
    if form == "loop":
        step -= step.mean(axis=1, keepdims=True)
    east, north = np.concatenate([np.zeros((2, 1)), np.cumsum(step, axis=1)], axis=1)
    if half:
        east, north, z = (np.concatenate([line, line[-2::-1]]) for line in (east, north, z))
    s = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))])
    # Place by place on the ellipsoid, so that a length on the plane is one on the ground.
    latitude, longitude = np.full(len(east), 46.0), np.full(len(east), 7.0)
    for _ in range(3):
        middle = 0.5 * (latitude + 46.0)
        latitude = move(middle, longitude, 0 * east, north)[0] - middle + 46.0
        longitude = move(latitude, np.full(len(east), 7.0), east, 0 * east)[1]
    return s, z, latitude, longitude


def unit(values: Array) -> Array:
    """Values with standard deviation 1."""
    return values / values.std()


def spoil(kind: str, road: Array, at: Array, s: Array, z: Array,
          rng: np.random.Generator) -> tuple[Array, Array]:
    """Heights as a file would give them, and the part of their error that is drift."""
    none = np.zeros(len(road))
    if kind == "drift + noise":
        keep = np.exp(-np.diff(at) / 5000.0)
        drift = np.empty(len(at))
        drift[0] = rng.standard_normal()
        for k, share in enumerate(keep):
            drift[k + 1] = share * drift[k] + np.sqrt(1 - share**2) * rng.standard_normal()
        return road + 3.0 * drift + rng.standard_normal(len(at)), 3.0 * drift
    if kind == "90 m model":
        cells = np.arange(0.0, s[-1] + 90.0, 90.0)
        model = np.interp(cells, s, z) + 2.0 * rng.standard_normal(len(cells))
        return np.interp(at, cells, model), none
    return 5.0 * np.round(road / 5.0), none


def write(file: Path, latitude: Array, longitude: Array, heights: Array) -> None:
    """Write a GPX track."""
    points = "".join(f'<trkpt lat="{a:.7f}" lon="{b:.7f}"><ele>{e:.2f}</ele></trkpt>'
                     for a, b, e in zip(latitude, longitude, heights, strict=True))
    file.write_text('<gpx version="1.1" creator="benchmark" '
                    'xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
                    f"{points}</trkseg></trk></gpx>")


def finish(course: Course) -> float:
    """Seconds at constant power."""
    free = replace(course, speed_limit=np.full(len(course.distance), np.inf))
    road = lay_road(free, Conditions(), course.distance)
    problem = pacing_problem(road, RIDER, BIKE, start_speed=8.0)
    return float(simulate(problem, np.full(len(road.grade), POWER)).finish_time)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
